-- +goose NO TRANSACTION
-- +goose Up
-- Made anew. Servers of before 2020 drop views as tables.
DROP TABLE IF EXISTS tests;

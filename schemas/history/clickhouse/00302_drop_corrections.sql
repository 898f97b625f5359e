-- +goose NO TRANSACTION
-- +goose Up
-- Made anew with the new columns. Servers of before 2020 drop views as tables.
DROP TABLE IF EXISTS corrections;

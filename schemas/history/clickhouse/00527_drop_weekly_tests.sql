-- +goose NO TRANSACTION
-- +goose Up
-- Made anew below: each test is read once, and no join.
DROP TABLE IF EXISTS weekly_tests;

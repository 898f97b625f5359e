-- +goose NO TRANSACTION
-- +goose Up
-- Its rows are in stored_file_writes.
DROP TABLE IF EXISTS stored_files;

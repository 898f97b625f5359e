-- +goose NO TRANSACTION
-- +goose Up
-- Corrections of whole files: dropped, put through again, or whose it is. Their
-- test_id is ''; action is drop, retry, athlete or restore.
ALTER TABLE stored_corrections
    ADD COLUMN file_part String, -- for athlete: the trace of the file that is meant; '' for the only one in question
    ADD COLUMN given_athlete String; -- for athlete: the club's id of whose it is; '' for other actions

-- +goose Up
-- Corrections of whole files: dropped, put through again, or whose it is. Their
-- test_id is ''; action is drop, retry, athlete or restore.
ALTER TABLE corrections ADD COLUMN file_part TEXT NOT NULL DEFAULT ''; -- for athlete: the trace of the file that is meant; '' for the only one in question
ALTER TABLE corrections ADD COLUMN given_athlete TEXT NOT NULL DEFAULT ''; -- for athlete: the club's id of whose it is; '' for other actions

-- +goose Up
-- The audit: one row per manual change, added and never changed.
CREATE TABLE IF NOT EXISTS corrections (
    correction_id TEXT    NOT NULL PRIMARY KEY, -- unique; sorts by time of making
    test_id       TEXT    NOT NULL, -- the test it is about; tests.test_id; '' when it is about the whole file
    file_id       TEXT    NOT NULL, -- the file, or that of the test; files.file_id
    action        TEXT    NOT NULL, -- exclude, accept, restore or start of a test; drop, retry, athlete or restore of a file
    new_start     TEXT,             -- start set by hand; UTC, ISO 8601; NULL for other actions
    new_start_ms  INTEGER,          -- the same; milliseconds since 1970-01-01 UTC
    who           TEXT    NOT NULL, -- who made it
    made          TEXT    NOT NULL, -- when it was made; UTC, ISO 8601
    made_ms       INTEGER NOT NULL, -- the same; milliseconds since 1970-01-01 UTC
    why           TEXT    NOT NULL  -- the reason, in their own words
) STRICT;
CREATE INDEX IF NOT EXISTS corrections_by_file ON corrections (file_id, correction_id);
CREATE INDEX IF NOT EXISTS corrections_by_test ON corrections (test_id, correction_id);

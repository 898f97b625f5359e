-- +goose NO TRANSACTION
-- +goose Up
-- The audit: one row per manual change, added and never changed. A repeated
-- write may leave a second, equal row: read the view corrections.
CREATE TABLE IF NOT EXISTS stored_corrections (
    correction_id String,          -- unique; sorts by time of making
    test_id       String,          -- the test it is about; tests.test_id; '' when it is about the whole file
    file_id       String,          -- the file, or that of the test; files.file_id
    action        String,          -- exclude, accept, restore or start of a test; drop, retry, athlete or restore of a file
    new_start_ms  Nullable(Int64), -- start set by hand; milliseconds since 1970-01-01 UTC; NULL for other actions
    who           String,          -- who made it
    made_ms       Int64,           -- when it was made; milliseconds since 1970-01-01 UTC
    why           String           -- the reason, in their own words
) ENGINE = ReplacingMergeTree ORDER BY correction_id SETTINGS index_granularity = 256;

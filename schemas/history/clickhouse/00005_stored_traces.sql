-- +goose NO TRANSACTION
-- +goose Up
-- The trace window of each test, lead-in and recovery with it, as arrays of
-- equal length: a test's seconds are written, replaced and read together. It
-- also leads from a test to its athlete and file. Read the view trace_seconds.
CREATE TABLE IF NOT EXISTS stored_traces (
    test_id   String,                   -- tests.test_id
    athlete   String,                   -- the club's id of the athlete
    file_id   String,                   -- files.file_id
    second    Array(Int32),             -- since the start of the test; s; negative in the lead-in
    raw_bpm   Array(Nullable(Float64)), -- as the device gave it; bpm; NULL when nothing
    clean_bpm Array(Nullable(Float64)), -- what was used; bpm; NULL when dropped
    dropped   Array(String),            -- why the reading was dropped; '' when it was not
    speed_ms  Array(Nullable(Float64)), -- running speed; m/s
    write_id  UInt64                    -- the write this row belongs to; stored_files.write_id
) ENGINE = ReplacingMergeTree ORDER BY (test_id, write_id) SETTINGS index_granularity = 64;

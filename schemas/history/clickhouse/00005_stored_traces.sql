-- +goose NO TRANSACTION
-- +goose Up
-- The trace window of each test, lead-in and recovery with it, as arrays of
-- equal length: a test's seconds are written, replaced and read together. It
-- also leads from a test to its athlete and file. An absent number is NaN.
-- Read the view trace_seconds.
CREATE TABLE IF NOT EXISTS stored_traces (
    test_id   String, -- tests.test_id
    athlete   String, -- the club's id of the athlete
    file_id   String, -- files.file_id
    trace Nested (
    second    Int32,   -- since the start of the test; s; negative in the lead-in
    raw_bpm   Float64, -- as the device gave it; bpm; absent when nothing
    clean_bpm Float64, -- what was used; bpm; absent when dropped
    dropped   String,  -- why the reading was dropped; '' when it was not
    speed_ms  Float64  -- running speed; m/s
    ),
    write_id  UInt64  -- the write this row belongs to; stored_files.write_id
) ENGINE = ReplacingMergeTree ORDER BY (test_id, write_id) SETTINGS index_granularity = 64;

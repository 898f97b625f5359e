-- +goose NO TRANSACTION
-- +goose Up
-- The replaced writes that a sweep has in hand: their rows go, then their numbers
-- go from stored_hidden. Empty between sweeps.
CREATE TABLE IF NOT EXISTS stored_swept (
    run      UInt64, -- names the sweep
    write_id UInt64  -- a write that was replaced before the sweep began
) ENGINE = MergeTree ORDER BY (run, write_id) SETTINGS index_granularity = 1024;

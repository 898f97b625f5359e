-- +goose NO TRANSACTION
-- +goose Up
-- Marks of scheduled work. Read the view slots.
CREATE TABLE IF NOT EXISTS stored_slots (
    job     String, -- what was to be done
    slot    String, -- the local date or planned time it was for
    done_ms Int64   -- when it was done; milliseconds since 1970-01-01 UTC
) ENGINE = MergeTree ORDER BY (job, slot) SETTINGS index_granularity = 256;

-- +goose NO TRANSACTION
-- +goose Up
-- Which rows of the other tables don't count: those whose write_id has hides
-- above 0 in sum. A number is hidden before rows bear it (+1), shown in one
-- insert with the hiding of what it replaces (-1, and +1 for each of those), and
-- so readers of a view see a file as it was or as it is. What sums to nothing
-- goes with a merge; what stays is few: replaced rows that were not swept yet,
-- and numbers put by for writes to come.
CREATE TABLE IF NOT EXISTS stored_hidden (
    write_id UInt64, -- the write whose rows are meant
    hides    Int64,  -- +1 hides, -1 shows
    replaced Int64   -- +1 when a newer write took its place, for good
) ENGINE = SummingMergeTree ORDER BY write_id SETTINGS index_granularity = 1024;

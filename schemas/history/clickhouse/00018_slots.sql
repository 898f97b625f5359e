-- +goose NO TRANSACTION
-- +goose Up
-- Scheduled work that was done, so that a restart or a clock change neither
-- repeats nor skips it: the first mark of each. Columns: see stored_slots;
-- done is the same instant in whole seconds, UTC.
CREATE VIEW IF NOT EXISTS slots AS
SELECT job, slot, toDateTime(intDiv(min_ms, 1000), 'UTC') AS done, min_ms AS done_ms
FROM (SELECT job, slot, min(done_ms) AS min_ms FROM stored_slots GROUP BY job, slot);

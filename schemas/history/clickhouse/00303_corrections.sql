-- +goose NO TRANSACTION
-- +goose Up
-- One row per manual change. Columns: see stored_corrections; new_start and
-- made are the same instants in whole seconds, UTC.
CREATE VIEW IF NOT EXISTS corrections AS
SELECT correction_id, test_id, file_id, action,
       toDateTime(intDiv(new_start_ms, 1000), 'UTC') AS new_start, new_start_ms, who,
       toDateTime(intDiv(made_ms, 1000), 'UTC') AS made, made_ms, why, file_part, given_athlete
FROM stored_corrections FINAL;

-- +goose NO TRANSACTION
-- +goose Up
-- One row per note. Columns: see stored_notes; made is the same instant in
-- whole seconds, UTC.
CREATE VIEW IF NOT EXISTS notes AS
SELECT note_id, alert_id, athlete, seen, text, who, toDateTime(intDiv(made_ms, 1000), 'UTC') AS made, made_ms
FROM stored_notes FINAL;

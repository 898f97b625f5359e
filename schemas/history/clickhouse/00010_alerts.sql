-- +goose NO TRANSACTION
-- +goose Up
-- One row per alert: what staff were told, or would have been. Columns: see
-- stored_alerts; about is the same instant in whole seconds, UTC.
CREATE VIEW IF NOT EXISTS alerts AS
SELECT alert_id, rule, urgency, test_id, file_id, athlete, squad, protocol, session,
       toDateTime(intDiv(about_ms, 1000), 'UTC') AS about, about_ms, state, told, text, version
FROM stored_alerts FINAL;

-- +goose NO TRANSACTION
-- +goose Up
-- The outbox: one row per chat message, kept after it was sent. Columns: see
-- stored_messages; created and sent are the same instants in whole seconds, UTC.
CREATE VIEW IF NOT EXISTS messages AS
SELECT message_id, alert_id, channel, thread, text, state, reference, reason,
       toDateTime(intDiv(created_ms, 1000), 'UTC') AS created, created_ms,
       toDateTime(intDiv(sent_ms, 1000), 'UTC') AS sent, sent_ms, attempts, session, says
FROM stored_messages FINAL;

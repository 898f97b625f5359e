-- +goose Up
-- The outbox: one row per chat message, kept after it was sent.
CREATE TABLE IF NOT EXISTS messages (
    message_id TEXT    NOT NULL PRIMARY KEY, -- unique for good; travels in the chat message's metadata
    alert_id   TEXT    NOT NULL, -- alerts.alert_id
    channel    TEXT    NOT NULL, -- chat channel
    thread     TEXT    NOT NULL, -- message_id of the message this one answers; '' for a new one
    text       TEXT    NOT NULL, -- the words
    state      TEXT    NOT NULL, -- pending, sent or failed (refused for good)
    reference  TEXT    NOT NULL, -- the chat's own name of the sent message; '' before
    reason     TEXT    NOT NULL, -- why it failed; '' when it did not
    created    TEXT    NOT NULL, -- when it was put here; UTC, ISO 8601
    created_ms INTEGER NOT NULL, -- the same; milliseconds since 1970-01-01 UTC
    sent       TEXT,             -- when the chat took it; UTC, ISO 8601; NULL before
    sent_ms    INTEGER,          -- the same; milliseconds since 1970-01-01 UTC
    attempts   INTEGER NOT NULL  -- tries so far
) STRICT;
CREATE INDEX IF NOT EXISTS messages_by_state ON messages (state, created_ms);
CREATE INDEX IF NOT EXISTS messages_by_alert ON messages (alert_id);

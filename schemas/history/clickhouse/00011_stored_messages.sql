-- +goose NO TRANSACTION
-- +goose Up
-- One row per change of a chat message's state. Read the view messages.
CREATE TABLE IF NOT EXISTS stored_messages (
    message_id String,          -- unique for good; travels in the chat message's metadata
    alert_id   String,          -- alerts.alert_id
    channel    String,          -- chat channel
    thread     String,          -- message_id of the message this one answers; '' for a new one
    text       String,          -- the words
    state      String,          -- pending, sent or failed (refused for good)
    reference  String,          -- the chat's own name of the sent message; '' before
    reason     String,          -- why it failed; '' when it did not
    created_ms Int64,           -- when it was put here; milliseconds since 1970-01-01 UTC
    sent_ms    Nullable(Int64), -- when the chat took it; milliseconds since 1970-01-01 UTC; NULL before
    attempts   Int64,           -- tries so far
    rank       UInt64           -- order of the states: sent over failed over pending, then attempts
) ENGINE = ReplacingMergeTree(rank) ORDER BY message_id SETTINGS index_granularity = 256;

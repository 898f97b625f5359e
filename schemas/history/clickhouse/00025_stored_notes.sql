-- +goose NO TRANSACTION
-- +goose Up
-- What staff wrote to alerts, added and never changed. A repeated write may
-- leave a second, equal row: read the view notes.
CREATE TABLE IF NOT EXISTS stored_notes (
    note_id  String, -- unique; sorts by time of making
    alert_id String, -- alerts.alert_id
    athlete  String, -- the club's id of the athlete; '' when the alert is about none
    seen     Int64,  -- 1 when it says that the alert has been seen
    text     String, -- the note; '' for seen alone
    who      String, -- who wrote it
    made_ms  Int64   -- when; milliseconds since 1970-01-01 UTC
) ENGINE = ReplacingMergeTree ORDER BY note_id SETTINGS index_granularity = 256;

-- +goose Up
-- What staff wrote to alerts, added and never changed.
CREATE TABLE IF NOT EXISTS notes (
    note_id  TEXT    NOT NULL PRIMARY KEY, -- unique; sorts by time of making
    alert_id TEXT    NOT NULL, -- alerts.alert_id
    athlete  TEXT    NOT NULL, -- the club's id of the athlete; '' when the alert is about none
    seen     INTEGER NOT NULL, -- 1 when it says that the alert has been seen
    text     TEXT    NOT NULL, -- the note; '' for seen alone
    who      TEXT    NOT NULL, -- who wrote it
    made     TEXT    NOT NULL, -- when; UTC, ISO 8601
    made_ms  INTEGER NOT NULL  -- the same; milliseconds since 1970-01-01 UTC
) STRICT;
CREATE INDEX IF NOT EXISTS notes_by_athlete ON notes (athlete, made_ms);
CREATE INDEX IF NOT EXISTS notes_by_alert   ON notes (alert_id, note_id);

-- +goose Up
-- One row per alert: what staff were told, or would have been.
CREATE TABLE IF NOT EXISTS alerts (
    alert_id TEXT    NOT NULL PRIMARY KEY, -- derived from what the alert is about
    rule     TEXT    NOT NULL, -- the rule that fired
    urgency  TEXT    NOT NULL, -- routine, look or look first: orders alerts, says nothing of anybody's health
    test_id  TEXT    NOT NULL, -- tests.test_id; '' when not about a test
    file_id  TEXT    NOT NULL, -- files.file_id; '' when not about a file
    athlete  TEXT    NOT NULL, -- the club's id of the athlete; '' when not about one
    squad    TEXT    NOT NULL, -- squad it is about
    protocol TEXT    NOT NULL, -- protocol of the test; '' when not about one
    session  TEXT    NOT NULL, -- squad/protocol/local date; '' when not about a test
    about    TEXT    NOT NULL, -- time of the test, file or slot it is about; UTC, ISO 8601
    about_ms INTEGER NOT NULL, -- the same; milliseconds since 1970-01-01 UTC
    state    TEXT    NOT NULL, -- open, seen, closed, withdrawn or lapsed
    told     INTEGER NOT NULL, -- 1 when a message went out, 0 when only recorded
    text     TEXT    NOT NULL, -- what was, or would have been, said
    version  INTEGER NOT NULL  -- order of writes, from the broker: the higher is the newer
) STRICT;
CREATE INDEX IF NOT EXISTS alerts_by_squad   ON alerts (squad, about_ms);
CREATE INDEX IF NOT EXISTS alerts_by_athlete ON alerts (athlete, about_ms);
CREATE INDEX IF NOT EXISTS alerts_by_test    ON alerts (test_id);
CREATE INDEX IF NOT EXISTS alerts_by_session ON alerts (session);

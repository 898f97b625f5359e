-- +goose Up
-- One row per alert: what staff were told, or would have been. An alert about
-- missing tests or a squad has no athlete; the text names who.
CREATE TABLE IF NOT EXISTS alerts (
    alert_id TEXT    NOT NULL PRIMARY KEY, -- derived from what the alert is about
    rule     TEXT    NOT NULL, -- the rule that fired (see the end of this page)
    urgency  TEXT    NOT NULL, -- routine, look or look first: orders alerts, says nothing of anybody's health
    test_id  TEXT    NOT NULL, -- tests.test_id; '' when not about a test
    file_id  TEXT    NOT NULL, -- files.file_id; '' when not about a file
    athlete  TEXT    NOT NULL, -- the club's id of the athlete; '' when not about one
    squad    TEXT    NOT NULL, -- squad it is about
    protocol TEXT    NOT NULL, -- protocol of the test; '' when not about one
    session  TEXT    NOT NULL, -- squad/protocol/local date; '' when not about a test
    about    TEXT    NOT NULL, -- time of the test, file or slot it is about; UTC, ISO 8601
    about_ms INTEGER NOT NULL, -- the same; milliseconds since 1970-01-01 UTC
    state    TEXT    NOT NULL, -- open, seen (staff said so), closed (a later test is back inside the usual, or the squad's session was usual again), withdrawn (its test was left out, or no longer says so) or lapsed (nothing came within six weeks)
    told     INTEGER NOT NULL, -- 1 when a message went out, 0 when only recorded
    text     TEXT    NOT NULL, -- what was, or would have been, said
    version  INTEGER NOT NULL  -- order of writes, from the broker: the higher is the newer
) STRICT;
CREATE INDEX IF NOT EXISTS alerts_by_squad   ON alerts (squad, about_ms);
CREATE INDEX IF NOT EXISTS alerts_by_athlete ON alerts (athlete, about_ms);
CREATE INDEX IF NOT EXISTS alerts_by_test    ON alerts (test_id);
CREATE INDEX IF NOT EXISTS alerts_by_session ON alerts (session);

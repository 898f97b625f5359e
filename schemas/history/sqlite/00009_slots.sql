-- +goose Up
-- Scheduled work that was done, so that a restart or a clock change neither
-- repeats nor skips it.
CREATE TABLE IF NOT EXISTS slots (
    job     TEXT    NOT NULL, -- what was to be done: missing-tests, weekly-digest, monthly-digest, lapsed-alerts, and what canter erase did
    slot    TEXT    NOT NULL, -- the local date or planned time it was for
    done    TEXT    NOT NULL, -- when it was first done; UTC, ISO 8601
    done_ms INTEGER NOT NULL, -- the same; milliseconds since 1970-01-01 UTC
    PRIMARY KEY (job, slot)
) STRICT, WITHOUT ROWID;

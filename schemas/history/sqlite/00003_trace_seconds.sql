-- +goose Up
-- The trace window of each test, lead-in and recovery with it, as one row: a
-- test's seconds are written, replaced and read together, and 1,200 rows would
-- cost ten times the space and time of one. Read the view trace_seconds.
CREATE TABLE IF NOT EXISTS stored_traces (
    test_id TEXT    NOT NULL PRIMARY KEY, -- tests.test_id
    seconds TEXT    NOT NULL, -- JSON: [[second, raw, clean, speed, dropped], ...]
    version INTEGER NOT NULL  -- order of writes, from the broker
) STRICT;
-- One row per second of the trace window of each test that stands.
CREATE VIEW IF NOT EXISTS trace_seconds AS
SELECT t.test_id                         AS test_id,   -- tests.test_id
       t.athlete                         AS athlete,   -- the club's id of the athlete
       s.value ->> 0                     AS second,    -- since the start of the test; s; negative in the lead-in
       CAST(s.value ->> 1 AS REAL)       AS raw_bpm,   -- as the device gave it; bpm; NULL when nothing
       CAST(s.value ->> 2 AS REAL)       AS clean_bpm, -- what was used; bpm; NULL when dropped
       coalesce(s.value ->> 4, '')       AS dropped,   -- why the reading was dropped; '' when it was not
       CAST(s.value ->> 3 AS REAL)       AS speed_ms   -- running speed; m/s
FROM stored_tests AS t
JOIN stored_traces AS w ON w.test_id = t.test_id
JOIN json_each(w.seconds) AS s
WHERE t.removed_version IS NULL;

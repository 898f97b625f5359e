-- +goose Up
-- The trace window of each test, lead-in and recovery with it, as one row: a
-- test's seconds are written, replaced and read together, and 1,200 rows would
-- cost ten times the space and time of one. Read the view trace_seconds.
CREATE TABLE IF NOT EXISTS stored_traces (
    test_id TEXT    NOT NULL PRIMARY KEY, -- tests.test_id
    seconds TEXT    NOT NULL, -- JSON: [[second, raw, clean, speed, dropped], ...]
    version INTEGER NOT NULL  -- order of writes, from the broker
) STRICT;
-- One row per second of the trace window of each test that stands and was found on
-- its trace: from 120 s before the start to the end of the recovery, as far as it was
-- recorded (at most 300 s after the test). For seconds without a usable reading count
-- dropped <> ''; devices that record every few seconds have raw_bpm NULL in between
-- and dropped '', as the reading before still holds.
CREATE VIEW IF NOT EXISTS trace_seconds AS
SELECT t.test_id                         AS test_id,   -- tests.test_id
       t.athlete                         AS athlete,   -- the club's id of the athlete
       s.value ->> 0                     AS second,    -- since the start of the test; s; negative in the lead-in
       CAST(s.value ->> 1 AS REAL)       AS raw_bpm,   -- as the device gave it; bpm; NULL in a second without a record
       CAST(s.value ->> 2 AS REAL)       AS clean_bpm, -- what was used, or drawn across a gap of at most 10 s (then dropped says so); bpm; NULL where there is neither
       coalesce(s.value ->> 4, '')       AS dropped,   -- why there is no usable reading, '' when there is one: no reading, gap, outside 30 to 230 bpm, far above HRmax, spike, noise, strap slip, stuck value, half rate, double rate, cadence lock, ectopic beats, duplicate times disagree or time far from the rest; with , bridged for display behind it where clean_bpm was drawn across
       CAST(s.value ->> 3 AS REAL)       AS speed_ms   -- running speed; m/s
FROM stored_tests AS t
JOIN stored_traces AS w ON w.test_id = t.test_id
JOIN json_each(w.seconds) AS s
WHERE t.removed_version IS NULL;

-- +goose Up
-- Made anew: looks for a later test by an index.
DROP VIEW IF EXISTS latest_tests;
-- The latest valid test of each athlete and protocol with its change and z.
CREATE VIEW IF NOT EXISTS latest_tests AS
SELECT t.test_id,           -- tests.test_id
       t.file_id,           -- the file it was found in; files.file_id
       t.athlete,           -- the club's id of the athlete
       t.squad,             -- squad the athlete was in then
       t.protocol,          -- the club's id of the protocol
       t.protocol_version,  -- digest of load, averaging and recovery: only equal ones compare
       t.session,           -- squad/protocol/local date: tests run together
       t.local_date,        -- the session's date in the club's time zone; YYYY-MM-DD
       t.week,              -- Monday of that date's week; YYYY-MM-DD
       t.start,             -- start of the test; UTC
       t.start_ms,          -- the same; milliseconds since 1970-01-01 UTC
       t.quality,           -- good, check or reject
       t.staff,             -- the staff's word: excluded, accepted or ''
       t.reasons,           -- why not good, or remarks; sentences
       t.coverage,          -- valid share of the HRex window; 0 to 1
       t.duration_s,        -- length as run; s
       t.band_s,            -- valid time inside the protocol's intensity band; s
       t.hrmax_source,      -- measured, estimated (211 - 0.64 age, Nes et al. 2013) or unknown
       t.hrex_bpm,          -- HRex; bpm
       t.hrex_pct,          -- HRex; %HRmax
       t.hrex_unit,         -- what hrex changes are in: % points of HRmax, or bpm; '' before it was assessed
       t.hrex_state,        -- HRex against the baseline, without what the whole squad shares (see assessments.state): building, inside, higher, lower or no value; '' before it was assessed
       t.hrex_prev_change,  -- HRex minus that of the previous valid test; hrex_unit
       t.hrex_change,       -- HRex minus the mean of the baseline; hrex_unit
       t.hrex_change_pct,   -- the same in % of the mean
       t.hrex_z,            -- hrex_change divided by the standard deviation used
       t.hrr60_bpm,         -- HRR60; bpm
       t.hrr60_state,       -- HRR60 against the baseline, as hrex_state
       t.hrr60_prev_change, -- HRR60 minus that of the previous valid test; bpm
       t.hrr60_change,      -- HRR60 minus the mean of the baseline; bpm
       t.hrr60_change_pct,  -- the same in % of the mean
       t.hrr60_z,           -- hrr60_change divided by the standard deviation used
       t.baseline_n,        -- earlier valid tests in the baseline of HRex; 0 before it was assessed
       t.rules,             -- names of the rules that fired, with commas between; '' for none
       t.microcycle_day,    -- as planned, e.g. MD-2; '' when unknown
       t.surface            -- as planned; '' when unknown
FROM session_tests AS t
WHERE t.valid = 1
  AND NOT EXISTS (
      SELECT 1 FROM valid_tests AS o
      WHERE o.athlete = t.athlete AND o.protocol = t.protocol
        AND o.start_ms >= t.start_ms AND (o.start_ms > t.start_ms OR o.test_id > t.test_id)
  );

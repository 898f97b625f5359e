-- +goose NO TRANSACTION
-- +goose Up
-- The latest valid test of each athlete and protocol with its change and z. In
-- ClickHouse it is worked out for all athletes before a condition narrows it.
CREATE VIEW IF NOT EXISTS latest_tests AS
SELECT test_id,           -- tests.test_id
       file_id,           -- the file it was found in; files.file_id
       athlete,           -- the club's id of the athlete
       squad,             -- squad the athlete was in then
       protocol,          -- the club's id of the protocol
       protocol_version,  -- digest of load, averaging and recovery: only equal ones compare
       session,           -- squad/protocol/local date: tests run together
       local_date,        -- the session's date in the club's time zone; YYYY-MM-DD
       week,              -- Monday of that date's week; YYYY-MM-DD
       start,             -- start of the test; UTC
       start_ms,          -- the same; milliseconds since 1970-01-01 UTC
       quality,           -- good, check or reject
       staff,             -- the staff's word: excluded, accepted or ''
       reasons,           -- why not good, or remarks; sentences
       coverage,          -- valid share of the HRex window; 0 to 1
       duration_s,        -- length as run; s
       band_s,            -- valid time inside the protocol's intensity band; s
       hrmax_source,      -- measured, estimated (211 - 0.64 age, Nes et al. 2013) or unknown
       hrex_bpm,          -- HRex; bpm
       hrex_pct,          -- HRex; %HRmax
       hrex_unit,         -- what hrex changes are in: % points of HRmax, or bpm; '' before it was assessed
       hrex_state,        -- HRex against the baseline: building, inside, higher, lower or no value; '' before it was assessed
       hrex_prev_change,  -- HRex minus that of the previous valid test; hrex_unit
       hrex_change,       -- HRex minus the mean of the baseline; hrex_unit
       hrex_change_pct,   -- the same in % of the mean
       hrex_z,            -- hrex_change divided by the standard deviation used
       hrr60_bpm,         -- HRR60; bpm
       hrr60_state,       -- HRR60 against the baseline, as hrex_state
       hrr60_prev_change, -- HRR60 minus that of the previous valid test; bpm
       hrr60_change,      -- HRR60 minus the mean of the baseline; bpm
       hrr60_change_pct,  -- the same in % of the mean
       hrr60_z,           -- hrr60_change divided by the standard deviation used
       baseline_n,        -- earlier valid tests in the baseline of HRex; 0 before it was assessed
       rules,             -- names of the rules that fired, with commas between; '' for none
       microcycle_day,    -- as planned, e.g. MD-2; '' when unknown
       surface            -- as planned; '' when unknown
FROM session_tests
WHERE valid = 1 AND test_id IN (
    SELECT substring(max(concat(toString(start_ms + 100000000000000), test_id)), 16) FROM valid_tests GROUP BY athlete, protocol
);

-- +goose Up
-- The tests of a session with what they mean, one row a test that stands, valid
-- or not: ask for one session, or for a squad and a local_date.
CREATE VIEW IF NOT EXISTS session_tests AS
SELECT t.test_id,                                                   -- tests.test_id
       t.file_id,                                                   -- the file it was found in; files.file_id
       t.athlete,                                                   -- the club's id of the athlete
       t.squad,                                                     -- squad the athlete was in then
       t.protocol,                                                  -- the club's id of the protocol
       t.protocol_version,                                          -- digest of load, averaging and recovery: only equal ones compare
       t.session,                                                   -- squad/protocol/local date: tests run together
       CASE WHEN t.session GLOB '*[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]' THEN substr(t.session, -10) ELSE '' END AS local_date, -- the session's date in the club's time zone; YYYY-MM-DD
       coalesce(date(substr(t.session, -10), '-6 days', 'weekday 1'), '') AS week, -- Monday of that date's week; YYYY-MM-DD
       t.start,                                                     -- start of the test; UTC
       t.start_ms,                                                  -- the same; milliseconds since 1970-01-01 UTC
       CASE WHEN (t.quality = 'good' AND t.staff = '') OR (t.quality <> 'reject' AND t.staff = 'accepted' AND t.hrex_bpm IS NOT NULL) THEN 1 ELSE 0 END AS valid, -- 1 when the test counts (see valid_tests), else 0
       t.quality,                                                   -- good, check or reject
       t.staff,                                                     -- the staff's word: excluded, accepted or ''
       t.reasons,                                                   -- why not good, or remarks; sentences
       t.coverage,                                                  -- valid share of the HRex window; 0 to 1
       t.duration_s,                                                -- length as run; s
       t.band_s,                                                    -- valid time inside the protocol's intensity band; s
       t.hrmax_source,                                              -- measured, estimated (211 - 0.64 age, Nes et al. 2013) or unknown
       t.hrex_bpm,                                                  -- HRex; bpm
       t.hrex_pct,                                                  -- HRex; %HRmax
       coalesce(h.unit, '') AS hrex_unit,                           -- what hrex changes are in: % points of HRmax, or bpm; '' before it was assessed
       coalesce(h.state, '') AS hrex_state,                         -- HRex against the baseline, without what the whole squad shares (see assessments.state): building, inside, higher, lower or no value; '' before it was assessed
       h.prev_change AS hrex_prev_change,                           -- HRex minus that of the previous valid test; hrex_unit
       h.change AS hrex_change,                                     -- HRex minus the mean of the baseline; hrex_unit
       h.change_pct AS hrex_change_pct,                             -- the same in % of the mean
       h.z AS hrex_z,                                               -- hrex_change divided by the standard deviation used
       t.hrr60_bpm,                                                 -- HRR60; bpm
       coalesce(r.state, '') AS hrr60_state,                        -- HRR60 against the baseline, as hrex_state
       r.prev_change AS hrr60_prev_change,                          -- HRR60 minus that of the previous valid test; bpm
       r.change AS hrr60_change,                                    -- HRR60 minus the mean of the baseline; bpm
       r.change_pct AS hrr60_change_pct,                            -- the same in % of the mean
       r.z AS hrr60_z,                                              -- hrr60_change divided by the standard deviation used
       coalesce(h.baseline_n, 0) AS baseline_n,                     -- earlier valid tests in the baseline of HRex; 0 before it was assessed
       coalesce(a.rules, '') AS rules,                              -- names of the rules that fired, with commas between; '' for none
       t.microcycle_day,                                            -- as planned, e.g. MD-2; '' when unknown
       t.surface                                                    -- as planned; '' when unknown
FROM tests AS t
LEFT JOIN stored_assessments AS a ON a.test_id = t.test_id
LEFT JOIN stored_comparisons AS h ON h.test_id = t.test_id AND h.measure = 'hrex'
LEFT JOIN stored_comparisons AS r ON r.test_id = t.test_id AND r.measure = 'hrr' AND r.seconds = 60;

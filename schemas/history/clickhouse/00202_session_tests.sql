-- +goose NO TRANSACTION
-- +goose Up
-- The tests of a session with what they mean, one row a test that stands, valid
-- or not: ask for one session, or for a squad and a local_date.
CREATE VIEW IF NOT EXISTS session_tests AS
SELECT test_id,                                                     -- tests.test_id
       file_id,                                                     -- the file it was found in; files.file_id
       athlete,                                                     -- the club's id of the athlete
       squad,                                                       -- squad the athlete was in then
       protocol,                                                    -- the club's id of the protocol
       protocol_version,                                            -- digest of load, averaging and recovery: only equal ones compare
       session,                                                     -- squad/protocol/local date: tests run together
       if(match(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), substring(session, length(session) - 9, 10), '') AS local_date, -- the session's date in the club's time zone; YYYY-MM-DD
       if(match(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), toString(toMonday(toDateOrZero(substring(session, length(session) - 9, 10)))), '') AS week, -- Monday of that date's week; YYYY-MM-DD
       start,                                                       -- start of the test; UTC
       start_ms,                                                    -- the same; milliseconds since 1970-01-01 UTC
       toInt64(((quality = 'good' AND staff = '') OR (quality <> 'reject' AND staff = 'accepted' AND hrex_bpm IS NOT NULL))) AS valid, -- 1 when the test counts (see valid_tests), else 0
       quality,                                                     -- good, check or reject
       staff,                                                       -- the staff's word: excluded, accepted or ''
       reasons,                                                     -- why not good, or remarks; sentences
       coverage,                                                    -- valid share of the HRex window; 0 to 1
       duration_s,                                                  -- length as run; s
       band_s,                                                      -- valid time inside the protocol's intensity band; s
       hrmax_source,                                                -- measured, estimated (211 - 0.64 age, Nes et al. 2013) or unknown
       hrex_bpm,                                                    -- HRex; bpm
       hrex_pct,                                                    -- HRex; %HRmax
       hrex_unit,                                                   -- what hrex changes are in: % points of HRmax, or bpm; '' before it was assessed
       hrex_state,                                                  -- HRex against the baseline: building, inside, higher, lower or no value; '' before it was assessed
       hrex_prev_change,                                            -- HRex minus that of the previous valid test; hrex_unit
       hrex_change,                                                 -- HRex minus the mean of the baseline; hrex_unit
       hrex_change_pct,                                             -- the same in % of the mean
       hrex_z,                                                      -- hrex_change divided by the standard deviation used
       hrr60_bpm,                                                   -- HRR60; bpm
       hrr60_state,                                                 -- HRR60 against the baseline, as hrex_state
       hrr60_prev_change,                                           -- HRR60 minus that of the previous valid test; bpm
       hrr60_change,                                                -- HRR60 minus the mean of the baseline; bpm
       hrr60_change_pct,                                            -- the same in % of the mean
       hrr60_z,                                                     -- hrr60_change divided by the standard deviation used
       baseline_n,                                                  -- earlier valid tests in the baseline of HRex; 0 before it was assessed
       rules,                                                       -- names of the rules that fired, with commas between; '' for none
       microcycle_day,                                              -- as planned, e.g. MD-2; '' when unknown
       surface                                                      -- as planned; '' when unknown
FROM tests AS t
ALL LEFT JOIN (
    SELECT test_id,
           maxIf(unit, measure = 'hrex') AS hrex_unit,
           maxIf(baseline_n, measure = 'hrex') AS baseline_n,
           maxIf(state, measure = 'hrex') AS hrex_state,
           max(if(measure = 'hrex', prev_change, NULL)) AS hrex_prev_change,
           max(if(measure = 'hrex', change, NULL)) AS hrex_change,
           max(if(measure = 'hrex', change_pct, NULL)) AS hrex_change_pct,
           max(if(measure = 'hrex', z, NULL)) AS hrex_z,
           maxIf(state, measure = 'hrr' AND seconds = 60) AS hrr60_state,
           max(if(measure = 'hrr' AND seconds = 60, prev_change, NULL)) AS hrr60_prev_change,
           max(if(measure = 'hrr' AND seconds = 60, change, NULL)) AS hrr60_change,
           max(if(measure = 'hrr' AND seconds = 60, change_pct, NULL)) AS hrr60_change_pct,
           max(if(measure = 'hrr' AND seconds = 60, z, NULL)) AS hrr60_z,
           max(rules) AS rules
    FROM assessments
    GROUP BY test_id
) AS c USING (test_id);

-- +goose NO TRANSACTION
-- +goose Up
-- The tests of a session with what they mean, one row a test that stands, valid
-- or not: ask for a squad and a local_date, or for a squad and a session. A test
-- and its assessment come together by grouping, not by a join: so the condition
-- narrows what is read of both. One SELECT over the two tables: old servers work
-- each level of a statement out several times before they run it.
CREATE VIEW IF NOT EXISTS session_tests AS
SELECT test_id, -- tests.test_id
       argMax(t_file_id, is_test) AS file_id, -- the file it was found in; files.file_id
       athlete, -- the club's id of the athlete
       squad, -- squad the athlete was in then
       protocol, -- the club's id of the protocol
       argMax(t_protocol_version, is_test) AS protocol_version, -- digest of load, averaging and recovery: only equal ones compare
       session, -- squad/protocol/local date: tests run together
       local_date, -- the session's date in the club's time zone; YYYY-MM-DD
       if(local_date != '', toString(toMonday(toDateOrZero(local_date))), '') AS week, -- Monday of that date's week; YYYY-MM-DD
       toDateTime(intDiv(argMax(t_start_ms, is_test), 1000), 'UTC') AS start, -- start of the test; UTC
       argMax(t_start_ms, is_test) AS start_ms, -- the same; milliseconds since 1970-01-01 UTC
       toInt64((argMax(t_quality, is_test) = 'good' AND argMax(t_staff, is_test) = '') OR (argMax(t_quality, is_test) <> 'reject' AND argMax(t_staff, is_test) = 'accepted' AND NOT isNaN(argMax(t_hrex_bpm, is_test)))) AS valid, -- 1 when the test counts (see valid_tests), else 0
       argMax(t_quality, is_test) AS quality, -- good, check or reject
       argMax(t_staff, is_test) AS staff, -- the staff's word: excluded, accepted or ''
       argMax(t_reasons, is_test) AS reasons, -- why not good, or remarks; sentences
       argMax(t_coverage, is_test) AS coverage, -- valid share of the HRex window; 0 to 1
       argMax(t_duration_s, is_test) AS duration_s, -- length as run; s
       if(isNaN(argMax(t_band_s, is_test)), NULL, argMax(t_band_s, is_test)) AS band_s, -- valid time inside the protocol's intensity band; s
       argMax(t_hrmax_source, is_test) AS hrmax_source, -- measured, estimated (211 - 0.64 age, Nes et al. 2013) or unknown
       if(isNaN(argMax(t_hrex_bpm, is_test)), NULL, argMax(t_hrex_bpm, is_test)) AS hrex_bpm, -- HRex; bpm
       if(isNaN(argMax(t_hrex_pct, is_test)), NULL, argMax(t_hrex_pct, is_test)) AS hrex_pct, -- HRex; %HRmax
       if(indexOf(argMin(a_measure, is_test), 'hrex') = 0, '', argMin(a_unit, is_test)[indexOf(argMin(a_measure, is_test), 'hrex')]) AS hrex_unit, -- what hrex changes are in: % points of HRmax, or bpm; '' before it was assessed
       if(indexOf(argMin(a_measure, is_test), 'hrex') = 0, '', argMin(a_state, is_test)[indexOf(argMin(a_measure, is_test), 'hrex')]) AS hrex_state, -- HRex against the baseline: building, inside, higher, lower or no value; '' before it was assessed
       if(indexOf(argMin(a_measure, is_test), 'hrex') = 0 OR isNaN(argMin(a_prev_change, is_test)[indexOf(argMin(a_measure, is_test), 'hrex')]), NULL, argMin(a_prev_change, is_test)[indexOf(argMin(a_measure, is_test), 'hrex')]) AS hrex_prev_change, -- HRex minus that of the previous valid test; hrex_unit
       if(indexOf(argMin(a_measure, is_test), 'hrex') = 0 OR isNaN(argMin(a_change, is_test)[indexOf(argMin(a_measure, is_test), 'hrex')]), NULL, argMin(a_change, is_test)[indexOf(argMin(a_measure, is_test), 'hrex')]) AS hrex_change, -- HRex minus the mean of the baseline; hrex_unit
       if(indexOf(argMin(a_measure, is_test), 'hrex') = 0 OR isNaN(argMin(a_change_pct, is_test)[indexOf(argMin(a_measure, is_test), 'hrex')]), NULL, argMin(a_change_pct, is_test)[indexOf(argMin(a_measure, is_test), 'hrex')]) AS hrex_change_pct, -- the same in % of the mean
       if(indexOf(argMin(a_measure, is_test), 'hrex') = 0 OR isNaN(argMin(a_z, is_test)[indexOf(argMin(a_measure, is_test), 'hrex')]), NULL, argMin(a_z, is_test)[indexOf(argMin(a_measure, is_test), 'hrex')]) AS hrex_z, -- hrex_change divided by the standard deviation used
       if(isNaN(argMax(t_hrr60_bpm, is_test)), NULL, argMax(t_hrr60_bpm, is_test)) AS hrr60_bpm, -- HRR60; bpm
       if(arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test)) = 0, '', argMin(a_state, is_test)[arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test))]) AS hrr60_state, -- HRR60 against the baseline, as hrex_state
       if(arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test)) = 0 OR isNaN(argMin(a_prev_change, is_test)[arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test))]), NULL, argMin(a_prev_change, is_test)[arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test))]) AS hrr60_prev_change, -- HRR60 minus that of the previous valid test; bpm
       if(arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test)) = 0 OR isNaN(argMin(a_change, is_test)[arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test))]), NULL, argMin(a_change, is_test)[arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test))]) AS hrr60_change, -- HRR60 minus the mean of the baseline; bpm
       if(arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test)) = 0 OR isNaN(argMin(a_change_pct, is_test)[arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test))]), NULL, argMin(a_change_pct, is_test)[arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test))]) AS hrr60_change_pct, -- the same in % of the mean
       if(arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test)) = 0 OR isNaN(argMin(a_z, is_test)[arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test))]), NULL, argMin(a_z, is_test)[arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, argMin(a_measure, is_test), argMin(a_seconds, is_test))]) AS hrr60_z, -- hrr60_change divided by the standard deviation used
       if(indexOf(argMin(a_measure, is_test), 'hrex') = 0, toInt64(0), argMin(a_baseline_n, is_test)[indexOf(argMin(a_measure, is_test), 'hrex')]) AS baseline_n, -- earlier valid tests in the baseline of HRex; 0 before it was assessed
       argMin(a_rules, is_test) AS rules, -- names of the rules that fired, with commas between; '' for none
       argMax(t_microcycle_day, is_test) AS microcycle_day, -- as planned, e.g. MD-2; '' when unknown
       argMax(t_surface, is_test) AS surface -- as planned; '' when unknown
FROM (
    SELECT squad, session, local_date, protocol, athlete, test_id, toUInt8(1) AS is_test,
           file_id AS t_file_id, protocol_version AS t_protocol_version, start_ms AS t_start_ms,
           duration_s AS t_duration_s, band_s AS t_band_s, hrmax_source AS t_hrmax_source,
           hrex_bpm AS t_hrex_bpm, hrex_pct AS t_hrex_pct, hrr60_bpm AS t_hrr60_bpm, coverage AS t_coverage,
           quality AS t_quality, staff AS t_staff, reasons AS t_reasons, microcycle_day AS t_microcycle_day,
           surface AS t_surface, '' AS a_rules, emptyArrayString() AS a_measure, emptyArrayInt64() AS a_seconds,
           emptyArrayString() AS a_unit, emptyArrayInt64() AS a_baseline_n, emptyArrayString() AS a_state,
           emptyArrayFloat64() AS a_prev_change, emptyArrayFloat64() AS a_change,
           emptyArrayFloat64() AS a_change_pct, emptyArrayFloat64() AS a_z
    FROM stored_session_tests
    WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
    UNION ALL
    SELECT squad, session, local_date, protocol, athlete, test_id, toUInt8(0) AS is_test,
           '' AS t_file_id, '' AS t_protocol_version, toInt64(0) AS t_start_ms, nan AS t_duration_s,
           nan AS t_band_s, '' AS t_hrmax_source, nan AS t_hrex_bpm, nan AS t_hrex_pct, nan AS t_hrr60_bpm,
           nan AS t_coverage, '' AS t_quality, '' AS t_staff, '' AS t_reasons, '' AS t_microcycle_day,
           '' AS t_surface, rules AS a_rules, comparison.measure AS a_measure, comparison.seconds AS a_seconds,
           comparison.unit AS a_unit, comparison.baseline_n AS a_baseline_n, comparison.state AS a_state,
           comparison.prev_change AS a_prev_change, comparison.change AS a_change,
           comparison.change_pct AS a_change_pct, comparison.z AS a_z
    FROM stored_session_assessments
    WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
)
GROUP BY squad, session, local_date, protocol, athlete, test_id
HAVING max(is_test) = 1;

-- +goose NO TRANSACTION
-- +goose Up
-- The latest valid test of each athlete and protocol with its change and z. A
-- condition on athlete narrows what is read; one on squad is looked at last.
CREATE VIEW IF NOT EXISTS latest_tests AS
SELECT g_test_id AS test_id,                                            -- tests.test_id
       g_file_id AS file_id,                                            -- the file it was found in; files.file_id
       athlete,                                                         -- the club's id of the athlete
       g_squad AS squad,                                                -- squad the athlete was in then
       protocol,                                                        -- the club's id of the protocol
       g_protocol_version AS protocol_version,                          -- digest of load, averaging and recovery: only equal ones compare
       g_session AS session,                                            -- squad/protocol/local date: tests run together
       if(match(g_session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), substring(g_session, length(g_session) - 9, 10), '') AS local_date, -- the session's date in the club's time zone; YYYY-MM-DD
       if(match(g_session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), toString(toMonday(toDateOrZero(substring(g_session, length(g_session) - 9, 10)))), '') AS week, -- Monday of that date's week; YYYY-MM-DD
       toDateTime(intDiv(g_start_ms, 1000), 'UTC') AS start,            -- start of the test; UTC
       g_start_ms AS start_ms,                                          -- the same; milliseconds since 1970-01-01 UTC
       g_quality AS quality,                                            -- good, check or reject
       g_staff AS staff,                                                -- the staff's word: excluded, accepted or ''
       g_reasons AS reasons,                                            -- why not good, or remarks; sentences
       g_coverage AS coverage,                                          -- valid share of the HRex window; 0 to 1
       g_duration_s AS duration_s,                                      -- length as run; s
       if(isNaN(g_band_s), NULL, g_band_s) AS band_s,                   -- valid time inside the protocol's intensity band; s
       g_hrmax_source AS hrmax_source,                                  -- measured, estimated (211 - 0.64 age, Nes et al. 2013) or unknown
       if(isNaN(g_hrex_bpm), NULL, g_hrex_bpm) AS hrex_bpm,             -- HRex; bpm
       if(isNaN(g_hrex_pct), NULL, g_hrex_pct) AS hrex_pct,             -- HRex; %HRmax
       if(at_hrex = 0, '', g_unit[at_test][at_hrex]) AS hrex_unit,      -- what hrex changes are in: % points of HRmax, or bpm; '' before it was assessed
       if(at_hrex = 0, '', g_state[at_test][at_hrex]) AS hrex_state,    -- HRex against the baseline: building, inside, higher, lower or no value; '' before it was assessed
       if(at_hrex = 0 OR isNaN(g_prev_change[at_test][at_hrex]), NULL, g_prev_change[at_test][at_hrex]) AS hrex_prev_change, -- HRex minus that of the previous valid test; hrex_unit
       if(at_hrex = 0 OR isNaN(g_change[at_test][at_hrex]), NULL, g_change[at_test][at_hrex]) AS hrex_change, -- HRex minus the mean of the baseline; hrex_unit
       if(at_hrex = 0 OR isNaN(g_change_pct[at_test][at_hrex]), NULL, g_change_pct[at_test][at_hrex]) AS hrex_change_pct, -- the same in % of the mean
       if(at_hrex = 0 OR isNaN(g_z[at_test][at_hrex]), NULL, g_z[at_test][at_hrex]) AS hrex_z, -- hrex_change divided by the standard deviation used
       if(isNaN(g_hrr60_bpm), NULL, g_hrr60_bpm) AS hrr60_bpm,          -- HRR60; bpm
       if(at_hrr60 = 0, '', g_state[at_test][at_hrr60]) AS hrr60_state, -- HRR60 against the baseline, as hrex_state
       if(at_hrr60 = 0 OR isNaN(g_prev_change[at_test][at_hrr60]), NULL, g_prev_change[at_test][at_hrr60]) AS hrr60_prev_change, -- HRR60 minus that of the previous valid test; bpm
       if(at_hrr60 = 0 OR isNaN(g_change[at_test][at_hrr60]), NULL, g_change[at_test][at_hrr60]) AS hrr60_change, -- HRR60 minus the mean of the baseline; bpm
       if(at_hrr60 = 0 OR isNaN(g_change_pct[at_test][at_hrr60]), NULL, g_change_pct[at_test][at_hrr60]) AS hrr60_change_pct, -- the same in % of the mean
       if(at_hrr60 = 0 OR isNaN(g_z[at_test][at_hrr60]), NULL, g_z[at_test][at_hrr60]) AS hrr60_z, -- hrr60_change divided by the standard deviation used
       if(at_hrex = 0, toInt64(0), g_baseline_n[at_test][at_hrex]) AS baseline_n, -- earlier valid tests in the baseline of HRex; 0 before it was assessed
       if(at_test = 0, '', g_rules[at_test]) AS rules,                  -- names of the rules that fired, with commas between; '' for none
       g_microcycle_day AS microcycle_day,                              -- as planned, e.g. MD-2; '' when unknown
       g_surface AS surface                                             -- as planned; '' when unknown
FROM (
    SELECT athlete, protocol,
           argMax(t_test_id, latest) AS g_test_id, argMax(t_file_id, latest) AS g_file_id,
           argMax(t_squad, latest) AS g_squad, argMax(t_protocol_version, latest) AS g_protocol_version,
           argMax(t_session, latest) AS g_session, argMax(t_start_ms, latest) AS g_start_ms,
           argMax(t_quality, latest) AS g_quality, argMax(t_staff, latest) AS g_staff,
           argMax(t_reasons, latest) AS g_reasons, argMax(t_coverage, latest) AS g_coverage,
           argMax(t_duration_s, latest) AS g_duration_s, argMax(t_band_s, latest) AS g_band_s,
           argMax(t_hrmax_source, latest) AS g_hrmax_source, argMax(t_hrex_bpm, latest) AS g_hrex_bpm,
           argMax(t_hrex_pct, latest) AS g_hrex_pct, argMax(t_hrr60_bpm, latest) AS g_hrr60_bpm,
           argMax(t_microcycle_day, latest) AS g_microcycle_day, argMax(t_surface, latest) AS g_surface,
           max(latest) AS g_latest, groupArrayIf(a_test_id, a_test_id != '') AS g_tests,
           groupArrayIf(a_rules, a_test_id != '') AS g_rules, groupArrayIf(a_measure, a_test_id != '') AS g_measure,
           groupArrayIf(a_seconds, a_test_id != '') AS g_seconds, groupArrayIf(a_unit, a_test_id != '') AS g_unit,
           groupArrayIf(a_baseline_n, a_test_id != '') AS g_baseline_n,
           groupArrayIf(a_state, a_test_id != '') AS g_state,
           groupArrayIf(a_prev_change, a_test_id != '') AS g_prev_change,
           groupArrayIf(a_change, a_test_id != '') AS g_change,
           groupArrayIf(a_change_pct, a_test_id != '') AS g_change_pct, groupArrayIf(a_z, a_test_id != '') AS g_z,
           indexOf(g_tests, g_test_id) AS at_test,
           if(at_test = 0, 0, indexOf(g_measure[at_test], 'hrex')) AS at_hrex,
           if(at_test = 0, 0, arrayFirstIndex((m, s) -> m = 'hrr' AND s = 60, g_measure[at_test], g_seconds[at_test])) AS at_hrr60
    FROM (
        SELECT athlete, protocol, concat(toString(start_ms + 100000000000000), test_id) AS latest,
               test_id AS t_test_id, file_id AS t_file_id, squad AS t_squad, protocol_version AS t_protocol_version,
               session AS t_session, start_ms AS t_start_ms, quality AS t_quality, staff AS t_staff,
               reasons AS t_reasons, coverage AS t_coverage, duration_s AS t_duration_s, band_s AS t_band_s,
               hrmax_source AS t_hrmax_source, hrex_bpm AS t_hrex_bpm, hrex_pct AS t_hrex_pct,
               hrr60_bpm AS t_hrr60_bpm, microcycle_day AS t_microcycle_day, surface AS t_surface, '' AS a_test_id,
               '' AS a_rules, emptyArrayString() AS a_measure, emptyArrayInt64() AS a_seconds,
               emptyArrayString() AS a_unit, emptyArrayInt64() AS a_baseline_n, emptyArrayString() AS a_state,
               emptyArrayFloat64() AS a_prev_change, emptyArrayFloat64() AS a_change,
               emptyArrayFloat64() AS a_change_pct, emptyArrayFloat64() AS a_z
        FROM stored_tests
        WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
          AND ((quality = 'good' AND staff = '') OR (quality <> 'reject' AND staff = 'accepted' AND NOT isNaN(hrex_bpm)))
        UNION ALL
        SELECT athlete, protocol, '' AS latest, '' AS t_test_id, '' AS t_file_id, '' AS t_squad,
               '' AS t_protocol_version, '' AS t_session, toInt64(0) AS t_start_ms, '' AS t_quality, '' AS t_staff,
               '' AS t_reasons, nan AS t_coverage, nan AS t_duration_s, nan AS t_band_s, '' AS t_hrmax_source,
               nan AS t_hrex_bpm, nan AS t_hrex_pct, nan AS t_hrr60_bpm, '' AS t_microcycle_day, '' AS t_surface,
               test_id AS a_test_id, rules AS a_rules, comparison.measure AS a_measure,
               comparison.seconds AS a_seconds, comparison.unit AS a_unit, comparison.baseline_n AS a_baseline_n,
               comparison.state AS a_state, comparison.prev_change AS a_prev_change, comparison.change AS a_change,
               comparison.change_pct AS a_change_pct, comparison.z AS a_z
        FROM stored_athlete_assessments
        WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
    )
    GROUP BY athlete, protocol
)
WHERE g_latest != '';

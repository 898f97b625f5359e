-- +goose NO TRANSACTION
-- +goose Up
-- The tests that stand now, one row each. Columns: see stored_tests; start is
-- the same instant in whole seconds, UTC. Where a question needs no column
-- (count(*)), an old server reads that of the smallest type: n_tests, for which it
-- need not look into the table.
CREATE VIEW IF NOT EXISTS tests AS
SELECT test_id, file_id, part, athlete, squad, protocol, protocol_version, session,
       toDateTime(intDiv(start_ms, 1000), 'UTC') AS start, start_ms, start_source, start_confidence, duration_s,
       if(isNaN(hrex_bpm), NULL, hrex_bpm) AS hrex_bpm,
       if(isNaN(hrex_pct), NULL, hrex_pct) AS hrex_pct,
       if(isNaN(hrex_se_bpm), NULL, hrex_se_bpm) AS hrex_se_bpm,
       if(isNaN(hrmax_bpm), NULL, hrmax_bpm) AS hrmax_bpm,
       hrmax_source,
       if(isNaN(hrmax_see_bpm), NULL, hrmax_see_bpm) AS hrmax_see_bpm,
       if(isNaN(peak_bpm), NULL, peak_bpm) AS peak_bpm,
       if(isNaN(end_hr_bpm), NULL, end_hr_bpm) AS end_hr_bpm,
       if(isNaN(hrr60_bpm), NULL, hrr60_bpm) AS hrr60_bpm,
       if(isNaN(hrr60_pct_end), NULL, hrr60_pct_end) AS hrr60_pct_end,
       if(isNaN(hrr60_se_bpm), NULL, hrr60_se_bpm) AS hrr60_se_bpm,
       recoveries,
       stages,
       if(isNaN(recovery_tau_s), NULL, recovery_tau_s) AS recovery_tau_s,
       if(isNaN(recovery_tau_se_s), NULL, recovery_tau_se_s) AS recovery_tau_se_s,
       if(isNaN(band_s), NULL, band_s) AS band_s,
       if(isNaN(speed_kmh), NULL, speed_kmh) AS speed_kmh,
       if(isNaN(speed_cv_pct), NULL, speed_cv_pct) AS speed_cv_pct,
       coverage,
       quality,
       reasons,
       reasons_json,
       microcycle_day,
       surface,
       staff,
       scorer_version,
       version,
       toInt8(1) AS n_tests -- 1: how many tests the row stands for
FROM stored_tests
WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0);

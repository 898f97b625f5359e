-- +goose Up
-- Made anew, with n_tests: see the same view in ClickHouse.
DROP VIEW IF EXISTS tests;
-- The tests that stand now, one row each.
CREATE VIEW IF NOT EXISTS tests AS
SELECT test_id, file_id, part, athlete, squad, protocol, protocol_version, session,
       start, start_ms, start_source, start_confidence, duration_s,
       hrex_bpm, hrex_pct, hrex_se_bpm, hrmax_bpm, hrmax_source, hrmax_see_bpm, peak_bpm, end_hr_bpm,
       hrr60_bpm, hrr60_pct_end, hrr60_se_bpm, recoveries, stages, recovery_tau_s, recovery_tau_se_s,
       band_s, speed_kmh, speed_cv_pct, coverage, quality, reasons, reasons_json,
       microcycle_day, surface, staff, scorer_version, version,
       1 AS n_tests -- 1: how many tests the row stands for
FROM stored_tests
WHERE removed_version IS NULL;

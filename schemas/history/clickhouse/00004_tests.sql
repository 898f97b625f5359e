-- +goose NO TRANSACTION
-- +goose Up
-- The tests that stand now, one row each. Columns: see stored_tests; start is
-- the same instant in whole seconds, UTC.
CREATE VIEW IF NOT EXISTS tests AS
SELECT test_id, file_id, part, athlete, squad, protocol, protocol_version, session,
       toDateTime(intDiv(start_ms, 1000), 'UTC') AS start, start_ms, start_source, start_confidence, duration_s,
       hrex_bpm, hrex_pct, hrex_se_bpm, hrmax_bpm, hrmax_source, hrmax_see_bpm, peak_bpm, end_hr_bpm,
       hrr60_bpm, hrr60_pct_end, hrr60_se_bpm, recoveries, stages, recovery_tau_s, recovery_tau_se_s,
       band_s, speed_kmh, speed_cv_pct, coverage, quality, reasons, reasons_json,
       microcycle_day, surface, staff, scorer_version, version
FROM stored_tests FINAL
WHERE write_id IN (SELECT write_id FROM stored_files FINAL);

-- +goose NO TRANSACTION
-- +goose Up
-- One row per compared number (test, measure, seconds) of each test that
-- stands. Columns: see stored_assessments; start, previous_time, baseline_from
-- and baseline_to are the same instants in whole seconds, UTC.
CREATE VIEW IF NOT EXISTS assessments AS
SELECT test_id, athlete, squad, protocol, session,
       toDateTime(intDiv(start_ms, 1000), 'UTC') AS start, start_ms,
       measure, seconds, unit, value, state,
       previous, prev_change, prev_pct,
       toDateTime(intDiv(previous_time_ms, 1000), 'UTC') AS previous_time, previous_time_ms,
       baseline_n, baseline_min_n,
       toDateTime(intDiv(baseline_from_ms, 1000), 'UTC') AS baseline_from, baseline_from_ms,
       toDateTime(intDiv(baseline_to_ms, 1000), 'UTC') AS baseline_to, baseline_to_ms,
       baseline_mean, baseline_sd, sd_used, sd_method, change, change_pct, z,
       pred_low, pred_high, te, swc, mdc, prob_change,
       rules, fired, version
FROM (
    SELECT *
    FROM stored_assessments FINAL
    WHERE test_id IN (SELECT test_id FROM stored_tests WHERE write_id IN (SELECT write_id FROM stored_files FINAL))
)
ARRAY JOIN measure, seconds, unit, value, state, previous, prev_change, prev_pct, previous_time_ms,
           baseline_n, baseline_min_n, baseline_from_ms, baseline_to_ms, baseline_mean, baseline_sd, sd_used, sd_method,
           change, change_pct, z, pred_low, pred_high, te, swc, mdc, prob_change;

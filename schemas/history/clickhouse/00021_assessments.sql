-- +goose NO TRANSACTION
-- +goose Up
-- One row per compared number (test, measure, seconds) of each test that
-- stands. Columns: see stored_assessments; start, previous_time, baseline_from
-- and baseline_to are the same instants in whole seconds, UTC.
CREATE VIEW IF NOT EXISTS assessments AS
SELECT test_id, athlete, squad, protocol, session,
       toDateTime(intDiv(start_ms, 1000), 'UTC') AS start, start_ms,
       comparison.measure AS measure,
       comparison.seconds AS seconds,
       comparison.unit AS unit,
       if(isNaN(comparison.value), NULL, comparison.value) AS value,
       comparison.state AS state,
       if(isNaN(comparison.previous), NULL, comparison.previous) AS previous,
       if(isNaN(comparison.prev_change), NULL, comparison.prev_change) AS prev_change,
       if(isNaN(comparison.prev_pct), NULL, comparison.prev_pct) AS prev_pct,
       if(comparison.previous_time_ms = -62135596800000, NULL, toDateTime(intDiv(comparison.previous_time_ms, 1000), 'UTC')) AS previous_time,
       if(comparison.previous_time_ms = -62135596800000, NULL, comparison.previous_time_ms) AS previous_time_ms,
       comparison.baseline_n AS baseline_n,
       comparison.baseline_min_n AS baseline_min_n,
       if(comparison.baseline_from_ms = -62135596800000, NULL, toDateTime(intDiv(comparison.baseline_from_ms, 1000), 'UTC')) AS baseline_from,
       if(comparison.baseline_from_ms = -62135596800000, NULL, comparison.baseline_from_ms) AS baseline_from_ms,
       if(comparison.baseline_to_ms = -62135596800000, NULL, toDateTime(intDiv(comparison.baseline_to_ms, 1000), 'UTC')) AS baseline_to,
       if(comparison.baseline_to_ms = -62135596800000, NULL, comparison.baseline_to_ms) AS baseline_to_ms,
       if(isNaN(comparison.baseline_mean), NULL, comparison.baseline_mean) AS baseline_mean,
       if(isNaN(comparison.baseline_sd), NULL, comparison.baseline_sd) AS baseline_sd,
       if(isNaN(comparison.sd_used), NULL, comparison.sd_used) AS sd_used,
       comparison.sd_method AS sd_method,
       if(isNaN(comparison.change), NULL, comparison.change) AS change,
       if(isNaN(comparison.change_pct), NULL, comparison.change_pct) AS change_pct,
       if(isNaN(comparison.z), NULL, comparison.z) AS z,
       if(isNaN(comparison.pred_low), NULL, comparison.pred_low) AS pred_low,
       if(isNaN(comparison.pred_high), NULL, comparison.pred_high) AS pred_high,
       if(isNaN(comparison.te), NULL, comparison.te) AS te,
       if(isNaN(comparison.swc), NULL, comparison.swc) AS swc,
       if(isNaN(comparison.mdc), NULL, comparison.mdc) AS mdc,
       if(isNaN(comparison.prob_change), NULL, comparison.prob_change) AS prob_change,
       comparison.basis AS basis,
       comparison.squad_state AS squad_state,
       if(isNaN(comparison.squad_shift), NULL, comparison.squad_shift) AS squad_shift,
       if(isNaN(comparison.squad_se), NULL, comparison.squad_se) AS squad_se,
       comparison.squad_n AS squad_n,
       comparison.squad_material AS squad_material,
       if(isNaN(comparison.deviation), NULL, comparison.deviation) AS deviation,
       if(isNaN(comparison.deviation_z), NULL, comparison.deviation_z) AS deviation_z,
       comparison.drift_n AS drift_n,
       if(isNaN(comparison.drift_ewma), NULL, comparison.drift_ewma) AS drift_ewma,
       if(isNaN(comparison.drift_ewma_limit), NULL, comparison.drift_ewma_limit) AS drift_ewma_limit,
       if(isNaN(comparison.cusum_high), NULL, comparison.cusum_high) AS cusum_high,
       if(isNaN(comparison.cusum_low), NULL, comparison.cusum_low) AS cusum_low,
       if(isNaN(comparison.cusum_limit), NULL, comparison.cusum_limit) AS cusum_limit,
       comparison.drift_side AS drift_side,
       if(comparison.drift_since_ms = -62135596800000, NULL, toDateTime(intDiv(comparison.drift_since_ms, 1000), 'UTC')) AS drift_since,
       if(comparison.drift_since_ms = -62135596800000, NULL, comparison.drift_since_ms) AS drift_since_ms,
       rules, fired, version
FROM (
    SELECT test_id, athlete, squad, protocol, session, start_ms, rules, fired, version, comparison.measure,
           comparison.seconds, comparison.unit, comparison.value, comparison.state, comparison.previous,
           comparison.prev_change, comparison.prev_pct, comparison.previous_time_ms, comparison.baseline_n,
           comparison.baseline_min_n, comparison.baseline_from_ms, comparison.baseline_to_ms,
           comparison.baseline_mean, comparison.baseline_sd, comparison.sd_used, comparison.sd_method,
           comparison.change, comparison.change_pct, comparison.z, comparison.pred_low, comparison.pred_high,
           comparison.te, comparison.swc, comparison.mdc, comparison.prob_change, comparison.basis, comparison.squad_state, comparison.squad_shift, comparison.squad_se, comparison.squad_n, comparison.squad_material, comparison.deviation, comparison.deviation_z, comparison.drift_n, comparison.drift_ewma, comparison.drift_ewma_limit, comparison.cusum_high, comparison.cusum_low, comparison.cusum_limit, comparison.drift_side, comparison.drift_since_ms
    FROM stored_assessments FINAL
    WHERE test_id IN (SELECT test_id FROM stored_tests WHERE write_id IN (SELECT write_id FROM stored_files FINAL))
)
ARRAY JOIN comparison;

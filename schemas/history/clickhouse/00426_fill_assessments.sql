-- +goose NO TRANSACTION
-- +goose Up
-- For histories of older versions: the rows that are there, under numbers made of
-- the test's. Does nothing in a new history, and adds what is missing when it is
-- done again.
INSERT INTO stored_athlete_assessments (test_id, athlete, squad, protocol, session, start_ms, rules, fired, comparison.measure, comparison.seconds,
       comparison.unit, comparison.value, comparison.state, comparison.previous, comparison.prev_change,
       comparison.prev_pct, comparison.previous_time_ms, comparison.baseline_n, comparison.baseline_min_n,
       comparison.baseline_from_ms, comparison.baseline_to_ms, comparison.baseline_mean, comparison.baseline_sd,
       comparison.sd_used, comparison.sd_method, comparison.change, comparison.change_pct, comparison.z,
       comparison.pred_low, comparison.pred_high, comparison.te, comparison.swc, comparison.mdc, comparison.prob_change,
       comparison.basis, comparison.squad_state, comparison.squad_shift, comparison.squad_se, comparison.squad_n,
       comparison.squad_material, comparison.deviation, comparison.deviation_z, comparison.drift_n,
       comparison.drift_ewma, comparison.drift_ewma_limit, comparison.cusum_high, comparison.cusum_low,
       comparison.cusum_limit, comparison.drift_side, comparison.drift_since_ms, version, write_id)
SELECT test_id, athlete, squad, protocol, session, start_ms, rules, fired, comparison.measure, comparison.seconds,
       comparison.unit, comparison.value, comparison.state, comparison.previous, comparison.prev_change,
       comparison.prev_pct, comparison.previous_time_ms, comparison.baseline_n, comparison.baseline_min_n,
       comparison.baseline_from_ms, comparison.baseline_to_ms, comparison.baseline_mean, comparison.baseline_sd,
       comparison.sd_used, comparison.sd_method, comparison.change, comparison.change_pct, comparison.z,
       comparison.pred_low, comparison.pred_high, comparison.te, comparison.swc, comparison.mdc, comparison.prob_change,
       comparison.basis, comparison.squad_state, comparison.squad_shift, comparison.squad_se, comparison.squad_n,
       comparison.squad_material, comparison.deviation, comparison.deviation_z, comparison.drift_n,
       comparison.drift_ewma, comparison.drift_ewma_limit, comparison.cusum_high, comparison.cusum_low,
       comparison.cusum_limit, comparison.drift_side, comparison.drift_since_ms, version,
       sipHash64(test_id) AS write_id
FROM stored_assessments FINAL
WHERE test_id NOT IN (SELECT test_id FROM stored_assessment_keys);

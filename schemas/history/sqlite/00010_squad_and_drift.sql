-- +goose Up
-- What the squad shares, the deviation from it, and slow drift.
ALTER TABLE stored_comparisons ADD COLUMN basis TEXT NOT NULL DEFAULT ''; -- what the baseline is made of: rolling (the last tests), reference block, or since return (from a day that the club file marks, returns:)
ALTER TABLE stored_comparisons ADD COLUMN squad_state TEXT NOT NULL DEFAULT ''; -- estimated, or why the squad effect of the session is not: too few athletes, or no earlier session in common
ALTER TABLE stored_comparisons ADD COLUMN squad_shift REAL; -- what the whole session shares: its distance from the squad's usual session; unit; median of two-way fit
ALTER TABLE stored_comparisons ADD COLUMN squad_se REAL; -- standard error of squad_shift; unit
ALTER TABLE stored_comparisons ADD COLUMN squad_n INTEGER NOT NULL DEFAULT 0; -- athletes behind squad_shift
ALTER TABLE stored_comparisons ADD COLUMN squad_material INTEGER NOT NULL DEFAULT 0; -- 1 when the whole interval of squad_shift is beyond the club's trifle, else 0
ALTER TABLE stored_comparisons ADD COLUMN deviation REAL; -- change with the material squad shifts of this and earlier sessions taken off; unit
ALTER TABLE stored_comparisons ADD COLUMN deviation_z REAL; -- deviation divided by the spread of such values; state is judged by it
ALTER TABLE stored_comparisons ADD COLUMN drift_n INTEGER NOT NULL DEFAULT 0; -- tests on the drift charts, this one included
ALTER TABLE stored_comparisons ADD COLUMN drift_ewma REAL; -- EWMA of the standardised deviations; SD (NIST 6.3.2.4)
ALTER TABLE stored_comparisons ADD COLUMN drift_ewma_limit REAL; -- half-width of its limits; SD
ALTER TABLE stored_comparisons ADD COLUMN cusum_high REAL; -- upward sum of the CUSUM; SD (NIST 6.3.2.3)
ALTER TABLE stored_comparisons ADD COLUMN cusum_low REAL; -- downward sum; SD
ALTER TABLE stored_comparisons ADD COLUMN cusum_limit REAL; -- h that either sum has to pass; SD
ALTER TABLE stored_comparisons ADD COLUMN drift_side TEXT NOT NULL DEFAULT ''; -- up or down while a sum is beyond its limit, else ''
ALTER TABLE stored_comparisons ADD COLUMN drift_since TEXT; -- first test of the climb that passed the limit; UTC, ISO 8601
ALTER TABLE stored_comparisons ADD COLUMN drift_since_ms INTEGER; -- the same; milliseconds since 1970-01-01 UTC
DROP VIEW assessments;
-- One row per compared number (test, measure, seconds) of each test that stands.
CREATE VIEW IF NOT EXISTS assessments AS
SELECT a.test_id, a.athlete, a.squad, a.protocol, a.session, a.start, a.start_ms,
       c.measure, c.seconds, c.unit, c.value, c.state,
       c.previous, c.prev_change, c.prev_pct, c.previous_time, c.previous_time_ms,
       c.baseline_n, c.baseline_min_n, c.baseline_from, c.baseline_from_ms, c.baseline_to, c.baseline_to_ms,
       c.baseline_mean, c.baseline_sd, c.sd_used, c.sd_method, c.change, c.change_pct, c.z,
       c.pred_low, c.pred_high, c.te, c.swc, c.mdc, c.prob_change,
       c.basis, c.squad_state, c.squad_shift, c.squad_se, c.squad_n, c.squad_material, c.deviation, c.deviation_z, c.drift_n, c.drift_ewma, c.drift_ewma_limit, c.cusum_high, c.cusum_low, c.cusum_limit, c.drift_side,
       c.drift_since, c.drift_since_ms,
       a.rules, a.fired, a.version
FROM stored_assessments AS a
JOIN stored_comparisons AS c ON c.test_id = a.test_id
JOIN stored_tests AS t ON t.test_id = a.test_id AND t.removed_version IS NULL;

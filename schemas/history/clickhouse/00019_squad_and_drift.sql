-- +goose NO TRANSACTION
-- +goose Up
-- What the squad shares, the deviation from it, and slow drift.
ALTER TABLE stored_assessments
    ADD COLUMN comparison.basis Array(String), -- what the baseline is made of: rolling, reference block or since return
    ADD COLUMN comparison.squad_state Array(String), -- estimated, or why the squad effect of the session is not
    ADD COLUMN comparison.squad_shift Array(Float64), -- what the whole session shares: its distance from the squad's usual session; unit; median of two-way fit
    ADD COLUMN comparison.squad_se Array(Float64), -- standard error of squad_shift; unit
    ADD COLUMN comparison.squad_n Array(Int64), -- athletes behind squad_shift
    ADD COLUMN comparison.squad_material Array(Int64), -- 1 when the whole interval of squad_shift is beyond the club's trifle, else 0
    ADD COLUMN comparison.deviation Array(Float64), -- change with the material squad shifts of this and earlier sessions taken off; unit
    ADD COLUMN comparison.deviation_z Array(Float64), -- deviation divided by the spread of such values; state is judged by it
    ADD COLUMN comparison.drift_n Array(Int64), -- tests on the drift charts, this one included
    ADD COLUMN comparison.drift_ewma Array(Float64), -- EWMA of the standardised deviations; SD (NIST 6.3.2.4)
    ADD COLUMN comparison.drift_ewma_limit Array(Float64), -- half-width of its limits; SD
    ADD COLUMN comparison.cusum_high Array(Float64), -- upward sum of the CUSUM; SD (NIST 6.3.2.3)
    ADD COLUMN comparison.cusum_low Array(Float64), -- downward sum; SD
    ADD COLUMN comparison.cusum_limit Array(Float64), -- h that either sum has to pass; SD
    ADD COLUMN comparison.drift_side Array(String), -- up or down while a sum is beyond its limit, else ''
    ADD COLUMN comparison.drift_since_ms Array(Int64); -- first test of the climb that passed the limit; milliseconds since 1970-01-01 UTC

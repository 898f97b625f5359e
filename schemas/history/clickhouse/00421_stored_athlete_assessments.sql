-- +goose NO TRANSACTION
-- +goose Up
-- One row per write of a test's assessment, ordered for an athlete's history; its
-- comparisons are arrays of equal length, so that they change together. An absent
-- number is NaN, an absent time the milliseconds of 0001-01-01: a Nullable column
-- costs each part a file more. Read the view assessments, where they are NULL.
CREATE TABLE IF NOT EXISTS stored_athlete_assessments (
    test_id  String, -- tests.test_id
    athlete  String, -- the club's id of the athlete
    squad    String, -- squad the athlete was in then
    protocol String, -- the club's id of the protocol
    session  String, -- squad/protocol/local date
    start_ms Int64,  -- start of the test; milliseconds since 1970-01-01 UTC
    rules    String, -- names of the rules that fired, with commas between; '' for none
    fired    String, -- the same with what was compared, JSON: [{rule, reason}]
    comparison Nested (
    measure          String,  -- hrex or hrr
    seconds          Int64,   -- delay of an HRR; s; 0 for hrex
    unit             String,  -- what value and changes are in: % points of HRmax, or bpm
    value            Float64, -- the test's own number; unit
    state            String,  -- building, inside, higher, lower or no value
    previous         Float64, -- value of the previous valid test; unit
    prev_change      Float64, -- value minus previous; unit
    prev_pct         Float64, -- the same in % of previous
    previous_time_ms Int64,   -- when the previous test was; milliseconds since 1970-01-01 UTC
    baseline_n       Int64,   -- earlier valid tests in the baseline; the test itself is never one
    baseline_min_n   Int64,   -- how many a verdict needs
    baseline_from_ms Int64,   -- first test of the baseline; milliseconds since 1970-01-01 UTC
    baseline_to_ms   Int64,   -- last test of the baseline; milliseconds since 1970-01-01 UTC
    baseline_mean    Float64, -- mean of the baseline; unit
    baseline_sd      Float64, -- the baseline's own standard deviation; unit
    sd_used          Float64, -- standard deviation that z was made with; unit
    sd_method        String,  -- how sd_used was made
    change           Float64, -- value minus baseline_mean; unit
    change_pct       Float64, -- the same in % of baseline_mean
    z                Float64, -- change divided by sd_used
    pred_low         Float64, -- lower end of the t prediction interval for an unchanged athlete; unit
    pred_high        Float64, -- upper end; unit
    te               Float64, -- typical error; unit
    swc              Float64, -- smallest worthwhile change; unit
    mdc              Float64, -- minimal detectable change; unit
    prob_change      Float64, -- probability that the true change is beyond swc in the direction seen; 0 to 1
    basis            String,  -- what the baseline is made of: rolling, reference block or since return
    squad_state      String,  -- estimated, or why the squad effect of the session is not
    squad_shift      Float64, -- what the whole session shares: its distance from the squad's usual session; unit; median of two-way fit
    squad_se         Float64, -- standard error of squad_shift; unit
    squad_n          Int64,   -- athletes behind squad_shift
    squad_material   Int64,   -- 1 when the whole interval of squad_shift is beyond the club's trifle, else 0
    deviation        Float64, -- change with the material squad shifts of this and earlier sessions taken off; unit
    deviation_z      Float64, -- deviation divided by the spread of such values; state is judged by it
    drift_n          Int64,   -- tests on the drift charts, this one included
    drift_ewma       Float64, -- EWMA of the standardised deviations; SD (NIST 6.3.2.4)
    drift_ewma_limit Float64, -- half-width of its limits; SD
    cusum_high       Float64, -- upward sum of the CUSUM; SD (NIST 6.3.2.3)
    cusum_low        Float64, -- downward sum; SD
    cusum_limit      Float64, -- h that either sum has to pass; SD
    drift_side       String,  -- up or down while a sum is beyond its limit, else ''
    drift_since_ms   Int64    -- first test of the climb that passed the limit; milliseconds since 1970-01-01 UTC
    ),
    version  UInt64, -- version of the event that caused the assessment
    again    UInt64, -- among writes of one version the later one stands; microseconds since 1970-01-01 UTC
    write_id UInt64  -- names this row; see stored_hidden
) ENGINE = ReplacingMergeTree ORDER BY (athlete, test_id, write_id) SETTINGS index_granularity = 512;

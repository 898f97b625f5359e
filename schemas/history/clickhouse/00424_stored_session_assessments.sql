-- +goose NO TRANSACTION
-- +goose Up
-- What is asked for of assessments by session, ordered for a squad's session. Read
-- the views session_tests and session_changes.
CREATE TABLE IF NOT EXISTS stored_session_assessments (
    squad      String, -- squad the athlete was in then
    session    String, -- squad/protocol/local date
    local_date String, -- the session's date in the club's time zone; YYYY-MM-DD; '' when its name has none
    protocol   String, -- the club's id of the protocol
    athlete    String, -- the club's id of the athlete
    test_id    String, -- tests.test_id
    start_ms   Int64,  -- start of the test; milliseconds since 1970-01-01 UTC
    rules      String, -- names of the rules that fired, with commas between; '' for none
    comparison Nested (
    measure     String,  -- hrex or hrr
    seconds     Int64,   -- delay of an HRR; s; 0 for hrex
    unit        String,  -- what value and changes are in: % points of HRmax, or bpm
    baseline_n  Int64,   -- earlier valid tests in the baseline; the test itself is never one
    state       String,  -- building, inside, higher, lower or no value
    prev_change Float64, -- value minus previous; unit
    change      Float64, -- value minus baseline_mean; unit
    change_pct  Float64, -- the same in % of baseline_mean
    z           Float64  -- change divided by sd_used
    ),
    write_id UInt64 -- names the row; see stored_hidden
) ENGINE = ReplacingMergeTree ORDER BY (squad, session, test_id, write_id) SETTINGS index_granularity = 256;

-- +goose NO TRANSACTION
-- +goose Up
-- Leads from a test to its assessments.
CREATE TABLE IF NOT EXISTS stored_assessment_keys (
    test_id  String, -- tests.test_id
    athlete  String, -- the club's id of the athlete, as the assessment has it
    start_ms Int64,  -- start of the test; milliseconds since 1970-01-01 UTC
    version  UInt64, -- version of the event that caused the assessment
    again    UInt64, -- among writes of one version the later one stands; microseconds since 1970-01-01 UTC
    write_id UInt64  -- names the row; see stored_hidden
) ENGINE = ReplacingMergeTree ORDER BY (test_id, write_id) SETTINGS index_granularity = 256;

-- +goose NO TRANSACTION
-- +goose Up
-- One row per write of an alert. Read the view alerts.
CREATE TABLE IF NOT EXISTS stored_alerts (
    alert_id String, -- derived from what the alert is about
    rule     String, -- the rule that fired
    urgency  String, -- routine, look or look first: orders alerts, says nothing of anybody's health
    test_id  String, -- tests.test_id; '' when not about a test
    file_id  String, -- files.file_id; '' when not about a file
    athlete  String, -- the club's id of the athlete; '' when not about one
    squad    String, -- squad it is about
    protocol String, -- protocol of the test; '' when not about one
    session  String, -- squad/protocol/local date; '' when not about a test
    about_ms Int64,  -- time of the test, file or slot it is about; milliseconds since 1970-01-01 UTC
    state    String, -- open, seen, closed, withdrawn or lapsed
    told     Int64,  -- 1 when a message went out, 0 when only recorded
    text     String, -- what was, or would have been, said
    version  UInt64  -- order of writes, from the broker: the higher is the newer
) ENGINE = ReplacingMergeTree(version) ORDER BY alert_id SETTINGS index_granularity = 256;

-- +goose NO TRANSACTION
-- +goose Up
-- The columns of stored_tests that are asked for by session, ordered for a
-- squad's session: the server has one order a table. A row comes here with that
-- of stored_tests, in the same insert. Read the view session_tests.
CREATE TABLE IF NOT EXISTS stored_session_tests (
    squad            String,  -- squad the athlete was in then
    session          String,  -- squad/protocol/local date: tests run together
    local_date       String,  -- the session's date in the club's time zone; YYYY-MM-DD; '' when its name has none
    protocol         String,  -- the club's id of the protocol
    athlete          String,  -- the club's id of the athlete
    test_id          String,  -- tests.test_id
    file_id          String,  -- the file it was found in; files.file_id
    protocol_version String,  -- digest of load, averaging and recovery: only equal ones compare
    start_ms         Int64,   -- start of the test; milliseconds since 1970-01-01 UTC
    duration_s       Float64, -- length as run; s
    band_s           Float64, -- valid time inside the protocol's intensity band; s; NaN when absent
    hrmax_source     String,  -- measured, estimated (211 - 0.64 age, Nes et al. 2013) or unknown
    hrex_bpm         Float64, -- HRex; bpm; NaN when absent
    hrex_pct         Float64, -- HRex; %HRmax; NaN when absent
    hrr60_bpm        Float64, -- HRR60; bpm; NaN when absent
    coverage         Float64, -- valid share of the HRex window; 0 to 1
    quality          String,  -- good, check or reject
    staff            String,  -- the staff's word: excluded, accepted or ''
    reasons          String,  -- why not good, or remarks; sentences
    microcycle_day   String,  -- as planned, e.g. MD-2; '' when unknown
    surface          String,  -- as planned; '' when unknown
    write_id         UInt64   -- the write this row belongs to; see stored_hidden
) ENGINE = ReplacingMergeTree ORDER BY (squad, session, test_id, write_id) SETTINGS index_granularity = 256;

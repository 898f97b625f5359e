-- +goose NO TRANSACTION
-- +goose Up
-- One row per test and write of its file, ordered for an athlete's history.
-- Rows of writes that were replaced stay: see stored_files. An absent number is
-- NaN, as a Nullable column costs each part a file more. Read the view tests,
-- where it is NULL.
CREATE TABLE IF NOT EXISTS stored_tests (
    test_id           String,  -- name of the test for good: survives rescoring and a moved start
    file_id           String,  -- the file it was found in; files.file_id
    part              String,  -- part of the file (column, athlete cell, ZIP member); '' in a file of one athlete
    athlete           String,  -- the club's id of the athlete
    squad             String,  -- squad the athlete was in then
    protocol          String,  -- the club's id of the protocol
    protocol_version  String,  -- digest of load, averaging and recovery: only equal ones compare
    session           String,  -- squad/protocol/local date: tests run together
    start_ms          Int64,   -- start of the test; milliseconds since 1970-01-01 UTC
    start_source      String,  -- how the start was found: by hand, lap mark, planned time, ...
    start_confidence  Float64, -- probability that it is within 5 s of the true start; 0 to 1
    duration_s        Float64, -- length as run; s
    hrex_bpm          Float64, -- exercise heart rate by the protocol's averaging; bpm
    hrex_pct          Float64, -- the same in %HRmax
    hrex_se_bpm       Float64, -- standard error of hrex_bpm from the trace; bpm
    hrmax_bpm         Float64, -- HRmax that hrex_pct was computed with; bpm
    hrmax_source      String,  -- measured, estimated (211 - 0.64 age, Nes et al. 2013) or unknown
    hrmax_see_bpm     Float64, -- standard error of an estimated HRmax; bpm
    peak_bpm          Float64, -- highest valid heart rate inside the test; bpm
    end_hr_bpm        Float64, -- mean of the last seconds (end window) of the test; bpm
    hrr60_bpm         Float64, -- HRR60: end heart rate minus that 60 s later; bpm
    hrr60_pct_end     Float64, -- HRR60 in % of end_hr_bpm
    hrr60_se_bpm      Float64, -- standard error of hrr60_bpm; bpm
    recoveries        String,  -- HRR at every delay, JSON: [{seconds, bpm, pct_end, se, coverage}]
    stages            String,  -- heart rate of each stage, JSON: [{stage, bpm, pct, coverage}]
    recovery_tau_s    Float64, -- time constant of the recovery; s; needs 3 min of recovery
    recovery_tau_se_s Float64, -- its standard error; s
    band_s            Float64, -- valid time inside the protocol's intensity band; s
    speed_kmh         Float64, -- mean speed of the work, when recorded; km/h
    speed_cv_pct      Float64, -- coefficient of variation of the speed; %
    coverage          Float64, -- valid share of the HRex window; 0 to 1
    quality           String,  -- good, check or reject
    reasons           String,  -- why not good, or remarks; sentences
    reasons_json      String,  -- the same with stable codes, JSON: [{code, text}]
    microcycle_day    String,  -- as planned, e.g. MD-2; '' when unknown
    surface           String,  -- as planned; '' when unknown
    staff             String,  -- the staff's word: excluded, accepted or ''
    scorer_version    Int64,   -- raised when scoring can change a number
    version           UInt64,  -- order of writes, from the broker: the higher is the newer
    write_id          UInt64   -- the write this row belongs to; stored_files.write_id
) ENGINE = ReplacingMergeTree ORDER BY (athlete, test_id, write_id) SETTINGS index_granularity = 1024;

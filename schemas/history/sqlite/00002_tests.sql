-- +goose Up
-- One row per test ever scored. Read the view tests: it leaves out those that
-- a later scoring of the same file no longer found.
CREATE TABLE IF NOT EXISTS stored_tests (
    test_id           TEXT    NOT NULL PRIMARY KEY, -- name of the test for good: survives rescoring and a moved start
    file_id           TEXT    NOT NULL, -- the file it was found in; files.file_id
    part              TEXT    NOT NULL, -- part of the file (column, athlete cell, ZIP member); '' in a file of one athlete
    athlete           TEXT    NOT NULL, -- the club's id of the athlete
    squad             TEXT    NOT NULL, -- squad the athlete was in then
    protocol          TEXT    NOT NULL, -- the club's id of the protocol
    protocol_version  TEXT    NOT NULL, -- digest of load, averaging and recovery: only equal ones compare
    session           TEXT    NOT NULL, -- squad/protocol/local date: tests run together
    start             TEXT    NOT NULL, -- start of the test; UTC, ISO 8601
    start_ms          INTEGER NOT NULL, -- the same; milliseconds since 1970-01-01 UTC
    start_source      TEXT    NOT NULL, -- how the start was found: by hand, lap mark, planned time, team-mates' start or found on the trace
    start_confidence  REAL    NOT NULL, -- probability that it is within 5 s of the true start; 0 to 1
    duration_s        REAL    NOT NULL, -- length as run; s
    hrex_bpm          REAL,             -- exercise heart rate by the protocol's averaging; bpm
    hrex_pct          REAL,             -- the same in %HRmax
    hrex_se_bpm       REAL,             -- standard error of hrex_bpm from the trace; bpm
    hrmax_bpm         REAL,             -- HRmax that hrex_pct was computed with; bpm
    hrmax_source      TEXT    NOT NULL, -- measured, estimated (211 - 0.64 age, Nes et al. 2013) or unknown
    hrmax_see_bpm     REAL,             -- standard error of an estimated HRmax; bpm
    peak_bpm          REAL,             -- highest valid heart rate inside the test; bpm
    end_hr_bpm        REAL,             -- mean of the last seconds (end window) of the test; bpm
    hrr60_bpm         REAL,             -- HRR60: end heart rate minus that 60 s later; bpm
    hrr60_pct_end     REAL,             -- HRR60 in % of end_hr_bpm
    hrr60_se_bpm      REAL,             -- standard error of hrr60_bpm; bpm
    recoveries        TEXT    NOT NULL, -- HRR at every delay, JSON: [{seconds, bpm, pct_end, se, coverage}]
    stages            TEXT    NOT NULL, -- heart rate of each stage, JSON: [{stage, bpm, pct, coverage}]
    recovery_tau_s    REAL,             -- time constant of the recovery; s; needs 3 min of recovery
    recovery_tau_se_s REAL,             -- its standard error; s
    band_s            REAL,             -- valid time inside the protocol's intensity band (75 to 85 %HRmax unless the club file says otherwise), of the whole test: the rise at its beginning is never inside; s
    speed_kmh         REAL,             -- mean speed of the work, when recorded; km/h
    speed_cv_pct      REAL,             -- coefficient of variation of the speed; %
    coverage          REAL    NOT NULL, -- valid share of the HRex window; 0 to 1
    quality           TEXT    NOT NULL, -- good, check or reject
    reasons           TEXT    NOT NULL, -- why not good, and remarks, which good tests have, too; sentences
    reasons_json      TEXT    NOT NULL, -- the same with stable codes (see the end of this page), JSON: [{code, text}]
    microcycle_day    TEXT    NOT NULL, -- as planned, e.g. MD-2; '' when unknown
    surface           TEXT    NOT NULL, -- as planned; '' when unknown
    staff             TEXT    NOT NULL, -- the staff's word: excluded, accepted or ''
    scorer_version    INTEGER NOT NULL, -- raised when scoring can change a number
    version           INTEGER NOT NULL, -- order of writes, from the broker: the higher is the newer
    removed_version   INTEGER           -- the write that no longer found this test; NULL while it stands
) STRICT;
CREATE INDEX IF NOT EXISTS stored_tests_by_athlete ON stored_tests (athlete, start_ms);
CREATE INDEX IF NOT EXISTS stored_tests_by_squad   ON stored_tests (squad, start_ms);
CREATE INDEX IF NOT EXISTS stored_tests_by_session ON stored_tests (session);
CREATE INDEX IF NOT EXISTS stored_tests_by_file    ON stored_tests (file_id);
-- The tests that stand now, one row each.
CREATE VIEW IF NOT EXISTS tests AS
SELECT test_id, file_id, part, athlete, squad, protocol, protocol_version, session,
       start, start_ms, start_source, start_confidence, duration_s,
       hrex_bpm, hrex_pct, hrex_se_bpm, hrmax_bpm, hrmax_source, hrmax_see_bpm, peak_bpm, end_hr_bpm,
       hrr60_bpm, hrr60_pct_end, hrr60_se_bpm, recoveries, stages, recovery_tau_s, recovery_tau_se_s,
       band_s, speed_kmh, speed_cv_pct, coverage, quality, reasons, reasons_json,
       microcycle_day, surface, staff, scorer_version, version
FROM stored_tests
WHERE removed_version IS NULL;

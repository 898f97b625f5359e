-- +goose Up
-- The newest assessment of each test; its comparisons stand in
-- stored_comparisons. Read the view assessments.
CREATE TABLE IF NOT EXISTS stored_assessments (
    test_id  TEXT    NOT NULL PRIMARY KEY, -- tests.test_id
    athlete  TEXT    NOT NULL, -- the club's id of the athlete
    squad    TEXT    NOT NULL, -- squad the athlete was in then
    protocol TEXT    NOT NULL, -- the club's id of the protocol
    session  TEXT    NOT NULL, -- squad/protocol/local date
    start    TEXT    NOT NULL, -- start of the test; UTC, ISO 8601
    start_ms INTEGER NOT NULL, -- the same; milliseconds since 1970-01-01 UTC
    rules    TEXT    NOT NULL, -- names of the rules that fired on the test, the same in each of its rows, with commas between; '' for none. Not every one makes an alert: see alerts
    fired    TEXT    NOT NULL, -- the same with what was compared and the limits, JSON: [{rule, reason}]
    version  INTEGER NOT NULL  -- version of the event that caused the assessment
) STRICT;
CREATE INDEX IF NOT EXISTS stored_assessments_by_athlete ON stored_assessments (athlete, start_ms);
CREATE INDEX IF NOT EXISTS stored_assessments_by_session ON stored_assessments (session);
CREATE TABLE IF NOT EXISTS stored_comparisons (
    test_id          TEXT    NOT NULL, -- stored_assessments.test_id
    position         INTEGER NOT NULL, -- order within the assessment, from 0
    measure          TEXT    NOT NULL, -- hrex or hrr
    seconds          INTEGER NOT NULL, -- delay of an HRR; s; 0 for hrex
    unit             TEXT    NOT NULL, -- what value and changes are in: % points of HRmax, or bpm
    value            REAL,             -- the test's own number; unit
    state            TEXT    NOT NULL, -- building (too few earlier tests), inside, higher, lower or no value: higher and lower when deviation and deviation_z, both without what the whole squad shares that day, are beyond the club's thresholds (by default 2.8 points or 5.3 bpm of HRex, 7.9 bpm of HRR, and z 2.9, more with a short baseline)
    previous         REAL,             -- value of the previous valid test; unit
    prev_change      REAL,             -- value minus previous; unit
    prev_pct         REAL,             -- the same in % of previous
    previous_time    TEXT,             -- when the previous test was; UTC, ISO 8601
    previous_time_ms INTEGER,          -- the same; milliseconds since 1970-01-01 UTC
    baseline_n       INTEGER NOT NULL, -- earlier valid tests in the baseline; the test itself is never one
    baseline_min_n   INTEGER NOT NULL, -- how many a verdict needs
    baseline_from    TEXT,             -- first test of the baseline; UTC, ISO 8601
    baseline_from_ms INTEGER,          -- the same; milliseconds since 1970-01-01 UTC
    baseline_to      TEXT,             -- last test of the baseline; UTC, ISO 8601
    baseline_to_ms   INTEGER,          -- the same; milliseconds since 1970-01-01 UTC
    baseline_mean    REAL,             -- mean of the baseline; unit
    baseline_sd      REAL,             -- the baseline's own standard deviation; unit
    sd_used          REAL,             -- standard deviation that z was made with; unit
    sd_method        TEXT    NOT NULL, -- how sd_used was made
    change           REAL,             -- value minus baseline_mean; unit
    change_pct       REAL,             -- the same in % of baseline_mean
    z                REAL,             -- change divided by sd_used
    pred_low         REAL,             -- lower end of the 95 % t prediction interval: where the next test of an unchanged athlete falls; unit
    pred_high        REAL,             -- upper end; unit
    te               REAL,             -- typical error by the club file, by default as published (1.2 points, 3.4 bpm; Scott et al. 2018), not that of this squad: RECIPES.md works that out; unit
    swc              REAL,             -- smallest worthwhile change: 0.2 of the standard deviation between the squad's athletes, with too few of them 1 % of the athlete's HRex or 7 % of the HRR (Buchheit 2014); unit
    mdc              REAL,             -- minimal detectable change between two tests: te x sqrt 2 x 1.96; unit
    prob_change      REAL,             -- probability that the true change is beyond swc in the direction seen; of change, so with what the squad shares in it; 0 to 1
    PRIMARY KEY (test_id, position)
) STRICT, WITHOUT ROWID;
-- One row per compared number (test, measure, seconds) of each test that stands.
CREATE VIEW IF NOT EXISTS assessments AS
SELECT a.test_id, a.athlete, a.squad, a.protocol, a.session, a.start, a.start_ms,
       c.measure, c.seconds, c.unit, c.value, c.state,
       c.previous, c.prev_change, c.prev_pct, c.previous_time, c.previous_time_ms,
       c.baseline_n, c.baseline_min_n, c.baseline_from, c.baseline_from_ms, c.baseline_to, c.baseline_to_ms,
       c.baseline_mean, c.baseline_sd, c.sd_used, c.sd_method, c.change, c.change_pct, c.z,
       c.pred_low, c.pred_high, c.te, c.swc, c.mdc, c.prob_change,
       a.rules, a.fired, a.version
FROM stored_assessments AS a
JOIN stored_comparisons AS c ON c.test_id = a.test_id
JOIN stored_tests AS t ON t.test_id = a.test_id AND t.removed_version IS NULL;

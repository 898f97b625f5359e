-- +goose Up
-- One row per test that stands, with the load recorded in the 3 and 7 local
-- dates before its own (Scott et al. 2022, J Sports Sci 40(8), tie HRex to the
-- TRIMP of three days). Context, no verdict: what was not recorded is not in
-- it, so read it with sessions and coverage: where straps are worn to the weekly
-- test alone, the 7 days hold last week's test and nothing else, and session RPE in
-- daily_series says more. NULL when nothing was recorded, or when one of the
-- sessions has no such number.
CREATE VIEW IF NOT EXISTS tests_with_load AS
SELECT t.test_id, t.athlete,
       t.squad, -- squad the athlete was in then
       t.protocol, t.session, t.start, t.start_ms, t.local_date,
       t.hrex_bpm, t.hrex_pct, t.hrr60_bpm, t.quality, t.staff,
       count(CASE WHEN l.local_date >= date(t.local_date, '-3 days') THEN 1 END) AS sessions_3d, -- recordings that count, of the 3 local dates before the test's
       sum(CASE WHEN l.local_date >= date(t.local_date, '-3 days') THEN l.minutes END) AS minutes_3d, -- time with valid heart rate; min
       sum(CASE WHEN l.local_date >= date(t.local_date, '-3 days') THEN l.minutes END)
           / sum(CASE WHEN l.local_date >= date(t.local_date, '-3 days') THEN l.duration_s / 60.0 END) AS coverage_3d, -- share of the recorded time; 0 to 1
       CASE WHEN count(CASE WHEN l.local_date >= date(t.local_date, '-3 days') AND l.trimp IS NULL THEN 1 END) = 0
            THEN sum(CASE WHEN l.local_date >= date(t.local_date, '-3 days') THEN l.trimp END) END AS trimp_3d, -- Banister 1991
       CASE WHEN count(CASE WHEN l.local_date >= date(t.local_date, '-3 days') AND l.edwards IS NULL THEN 1 END) = 0
            THEN sum(CASE WHEN l.local_date >= date(t.local_date, '-3 days') THEN l.edwards END) END AS edwards_3d, -- Edwards 1993
       count(l.file_id)                        AS sessions_7d, -- recordings that count, of the 7 local dates before the test's
       sum(l.minutes)                          AS minutes_7d, -- time with valid heart rate; min
       sum(l.minutes) / sum(l.duration_s / 60.0) AS coverage_7d, -- share of the recorded time; 0 to 1
       CASE WHEN count(l.trimp) = count(l.file_id) THEN sum(l.trimp) END     AS trimp_7d, -- Banister 1991; arbitrary units
       CASE WHEN count(l.edwards) = count(l.file_id) THEN sum(l.edwards) END AS edwards_7d -- Edwards 1993; arbitrary units
FROM (
    SELECT *, CASE WHEN session GLOB '*[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]' THEN substr(session, -10) ELSE '' END AS local_date
    FROM tests
) AS t
LEFT JOIN loads AS l
       ON l.athlete = t.athlete AND l.counts = 1
      AND l.local_date < t.local_date
      AND l.local_date >= date(t.local_date, '-7 days')
-- All but the first so that a condition on them is asked before the loads are looked up.
GROUP BY t.test_id, t.athlete, t.squad, t.protocol, t.session, t.start_ms, t.quality;

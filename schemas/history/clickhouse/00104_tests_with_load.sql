-- +goose NO TRANSACTION
-- +goose Up
-- One row per test that stands, with the load recorded in the 3 and 7 local
-- dates before its own (Scott et al. 2022, J Sports Sci 40(8), tie HRex to the
-- TRIMP of three days). Context, no verdict: what was not recorded is not in
-- it, so read it with sessions and coverage. NULL when nothing was recorded,
-- or when one of the sessions has no such number. Each recording is counted on
-- the seven dates after its own, and the tests look up theirs.
CREATE VIEW IF NOT EXISTS tests_with_load AS
SELECT test_id, athlete, squad, protocol, session, start, start_ms, local_date,
       hrex_bpm, hrex_pct, hrr60_bpm, quality, staff,
       toInt64(n_3d) AS sessions_3d, -- recordings that count
       if(n_3d = 0, NULL, m_3d) AS minutes_3d, -- time with valid heart rate; min
       if(n_3d = 0, NULL, m_3d / d_3d) AS coverage_3d, -- share of the recorded time; 0 to 1
       if(n_3d = 0 OR isNaN(t_3d), NULL, t_3d) AS trimp_3d, -- Banister 1991
       if(n_3d = 0 OR isNaN(e_3d), NULL, e_3d) AS edwards_3d, -- Edwards 1993
       toInt64(n_7d) AS sessions_7d,
       if(n_7d = 0, NULL, m_7d) AS minutes_7d,
       if(n_7d = 0, NULL, m_7d / d_7d) AS coverage_7d,
       if(n_7d = 0 OR isNaN(t_7d), NULL, t_7d) AS trimp_7d,
       if(n_7d = 0 OR isNaN(e_7d), NULL, e_7d) AS edwards_7d
FROM (
    SELECT test_id, athlete, squad, protocol, session, start, start_ms,
           extract(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$') AS local_date,
           hrex_bpm, hrex_pct, hrr60_bpm, quality, staff
    FROM tests
) AS t ANY LEFT JOIN (
    SELECT athlete, toString(toDate(load_date) + days) AS local_date,
           countIf(days <= 3) AS n_3d, sumIf(minutes, days <= 3) AS m_3d, sumIf(duration_s, days <= 3) / 60. AS d_3d,
           sumIf(t, days <= 3) AS t_3d, sumIf(e, days <= 3) AS e_3d,
           count() AS n_7d, sum(minutes) AS m_7d, sum(duration_s) / 60. AS d_7d, sum(t) AS t_7d, sum(e) AS e_7d
    FROM (
        SELECT athlete, local_date AS load_date, minutes, duration_s,
               ifNull(trimp, nan) AS t, ifNull(edwards, nan) AS e, arrayJoin([1, 2, 3, 4, 5, 6, 7]) AS days
        FROM loads
        WHERE counts = 1
    )
    GROUP BY athlete, local_date
) AS d USING (athlete, local_date);

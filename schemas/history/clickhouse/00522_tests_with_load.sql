-- +goose NO TRANSACTION
-- +goose Up
-- One row per test that stands, with the load recorded in the 3 and 7 local
-- dates before its own (Scott et al. 2022, J Sports Sci 40(8), tie HRex to the
-- TRIMP of three days). Context, no verdict: what was not recorded is not in
-- it, so read it with sessions and coverage. NULL when nothing was recorded,
-- or when one of the sessions has no such number. Each recording is counted on
-- the seven dates after its own, and meets the tests of its athlete there by
-- grouping, not by a join: so a condition on athlete narrows what is read.
CREATE VIEW IF NOT EXISTS tests_with_load AS
SELECT l_test_id AS test_id, athlete, l_squad AS squad, l_protocol AS protocol, l_session AS session,
       toDateTime(intDiv(l_start_ms, 1000), 'UTC') AS start, l_start_ms AS start_ms, local_date,
       if(isNaN(l_hrex_bpm), NULL, l_hrex_bpm) AS hrex_bpm, if(isNaN(l_hrex_pct), NULL, l_hrex_pct) AS hrex_pct,
       if(isNaN(l_hrr60_bpm), NULL, l_hrr60_bpm) AS hrr60_bpm, l_quality AS quality, l_staff AS staff,
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
    SELECT athlete, local_date,
           groupArrayIf(t_test_id, days = 0) AS a_test_id, groupArrayIf(t_squad, days = 0) AS a_squad,
           groupArrayIf(t_protocol, days = 0) AS a_protocol, groupArrayIf(t_session, days = 0) AS a_session,
           groupArrayIf(t_start_ms, days = 0) AS a_start_ms, groupArrayIf(t_hrex_bpm, days = 0) AS a_hrex_bpm,
           groupArrayIf(t_hrex_pct, days = 0) AS a_hrex_pct, groupArrayIf(t_hrr60_bpm, days = 0) AS a_hrr60_bpm,
           groupArrayIf(t_quality, days = 0) AS a_quality, groupArrayIf(t_staff, days = 0) AS a_staff,
           countIf(days BETWEEN 1 AND 3) AS n_3d, sumIf(minutes, days BETWEEN 1 AND 3) AS m_3d, sumIf(duration_s, days BETWEEN 1 AND 3) / 60. AS d_3d,
           sumIf(t, days BETWEEN 1 AND 3) AS t_3d, sumIf(e, days BETWEEN 1 AND 3) AS e_3d,
           countIf(days > 0) AS n_7d, sum(minutes) AS m_7d, sum(duration_s) / 60. AS d_7d, sum(t) AS t_7d, sum(e) AS e_7d
    FROM (
        SELECT athlete, extract(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$') AS local_date, toUInt8(0) AS days,
               test_id AS t_test_id, squad AS t_squad, protocol AS t_protocol, session AS t_session,
               start_ms AS t_start_ms, hrex_bpm AS t_hrex_bpm, hrex_pct AS t_hrex_pct, hrr60_bpm AS t_hrr60_bpm,
               quality AS t_quality, staff AS t_staff,
               0. AS minutes, 0. AS duration_s, 0. AS t, 0. AS e
        FROM stored_tests
        WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
        UNION ALL
        SELECT athlete, toString(toDate(load_date) + days) AS local_date, days,
               '' AS t_test_id, '' AS t_squad, '' AS t_protocol, '' AS t_session, toInt64(0) AS t_start_ms,
               nan AS t_hrex_bpm, nan AS t_hrex_pct, nan AS t_hrr60_bpm, '' AS t_quality, '' AS t_staff,
               minutes, duration_s, t, e
        FROM (
            SELECT athlete, local_date AS load_date, minutes, duration_s,
                   ifNull(trimp, nan) AS t, ifNull(edwards, nan) AS e, arrayJoin([1, 2, 3, 4, 5, 6, 7]) AS days
            FROM loads
            WHERE counts = 1
        )
    )
    GROUP BY athlete, local_date
)
ARRAY JOIN a_test_id AS l_test_id, a_squad AS l_squad, a_protocol AS l_protocol, a_session AS l_session,
           a_start_ms AS l_start_ms, a_hrex_bpm AS l_hrex_bpm, a_hrex_pct AS l_hrex_pct, a_hrr60_bpm AS l_hrr60_bpm,
           a_quality AS l_quality, a_staff AS l_staff;

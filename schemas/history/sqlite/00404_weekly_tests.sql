-- +goose Up
-- Made anew: each test is looked at once, without its assessment.
DROP VIEW IF EXISTS weekly_tests;
-- Who was due and who tested, one row per week, squad, protocol and member: in a
-- week in which the squad had a session (a test, or a notice that tests are
-- missing), everybody who was a member at the first of them was due.
CREATE VIEW IF NOT EXISTS weekly_tests AS
SELECT d.week,                                                      -- Monday of the week; YYYY-MM-DD
       d.squad,                                                     -- the squad
       d.protocol,                                                  -- the club's id of the protocol
       d.athlete,                                                   -- the club's id of the athlete
       coalesce(n.tests, 0) AS tests,                               -- tests found in that week
       coalesce(n.valid, 0) AS valid,                               -- those that count (see valid_tests)
       CASE WHEN n.valid > 0 THEN 'valid' WHEN n.tests > 0 THEN 'none valid' ELSE 'no test' END AS state -- valid, none valid or no test
FROM (
    SELECT s.week, s.squad, s.protocol, m.athlete
    FROM (
        SELECT week, squad, protocol, min(at_ms) AS at_ms
        FROM (
            SELECT coalesce(date(substr(session, -10), '-6 days', 'weekday 1'), '') AS week, squad, protocol, at_ms
            FROM (SELECT session, squad, protocol, min(start_ms) AS at_ms FROM tests GROUP BY session, squad, protocol)
            UNION ALL
            SELECT coalesce(date(substr(session, -10), '-6 days', 'weekday 1'), ''), squad, protocol, about_ms FROM alerts WHERE session <> ''
        )
        WHERE week <> ''
        GROUP BY week, squad, protocol
    ) AS s
    JOIN squad_members AS m ON m.squad = s.squad
    WHERE coalesce(m.since_ms <= s.at_ms, 1) AND coalesce(m.until_ms > s.at_ms, 1)
    GROUP BY s.week, s.squad, s.protocol, m.athlete
) AS d
LEFT JOIN (
    SELECT week, protocol, athlete, count(*) AS tests, sum(valid) AS valid
    FROM (
        SELECT coalesce(date(substr(session, -10), '-6 days', 'weekday 1'), '') AS week, protocol, athlete,
               (quality = 'good' AND staff = '') OR (quality <> 'reject' AND staff = 'accepted' AND hrex_bpm IS NOT NULL) AS valid
        FROM tests
    )
    GROUP BY week, protocol, athlete
) AS n ON n.week = d.week AND n.protocol = d.protocol AND n.athlete = d.athlete;

-- +goose NO TRANSACTION
-- +goose Up
-- Who was due and who tested, one row per week, squad, protocol and member: in a
-- week in which the squad had a session (a test, or a notice that tests are
-- missing), everybody who was a member at the first of them was due.
CREATE VIEW IF NOT EXISTS weekly_tests AS
SELECT week,                                                        -- Monday of the week; YYYY-MM-DD
       squad,                                                       -- the squad
       protocol,                                                    -- the club's id of the protocol
       athlete,                                                     -- the club's id of the athlete
       tests,                                                       -- tests found in that week
       valid,                                                       -- those that count (see valid_tests)
       multiIf(valid > 0, 'valid', tests > 0, 'none valid', 'no test') AS state -- valid, none valid or no test
FROM (
    SELECT week, squad, protocol, athlete
    FROM (
        SELECT week, squad, protocol, min(at_ms) AS at_ms
        FROM (
            SELECT if(match(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), toString(toMonday(toDateOrZero(substring(session, length(session) - 9, 10)))), '') AS week, squad, protocol, start_ms AS at_ms FROM tests
            UNION ALL
            SELECT if(match(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), toString(toMonday(toDateOrZero(substring(session, length(session) - 9, 10)))), '') AS week, squad, protocol, about_ms AS at_ms FROM alerts WHERE session != ''
        )
        WHERE week != ''
        GROUP BY week, squad, protocol
    ) AS s
    ALL INNER JOIN (SELECT squad, athlete, since_ms, until_ms FROM squad_members) AS m USING (squad)
    WHERE (isNull(since_ms) OR since_ms <= at_ms) AND (isNull(until_ms) OR until_ms > at_ms)
    GROUP BY week, squad, protocol, athlete
) AS d
ALL LEFT JOIN (
    SELECT week, protocol, athlete, toInt64(count()) AS tests, toInt64(sum(counts)) AS valid
    FROM (
        SELECT if(match(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), toString(toMonday(toDateOrZero(substring(session, length(session) - 9, 10)))), '') AS week, protocol, athlete, ((quality = 'good' AND staff = '') OR (quality <> 'reject' AND staff = 'accepted' AND hrex_bpm IS NOT NULL)) AS counts FROM tests
    )
    GROUP BY week, protocol, athlete
) AS n USING (week, protocol, athlete);

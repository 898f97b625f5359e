-- +goose NO TRANSACTION
-- +goose Up
-- Who was due and who tested, one row per week, squad, protocol and member: in a
-- week in which the squad had a session (a test, or a notice that tests are
-- missing), everybody who was a member at the first of them was due. Those who
-- were due and the tests come together by grouping: a join of all tests takes
-- several times as long. Weeks are dates until the end, 2 bytes instead of 10.
CREATE VIEW IF NOT EXISTS weekly_tests AS
SELECT toString(monday) AS week,                                    -- Monday of the week; YYYY-MM-DD
       d_squad AS squad,                                            -- the squad
       protocol,                                                    -- the club's id of the protocol
       athlete,                                                     -- the club's id of the athlete
       found AS tests,                                              -- tests found in that week
       counting AS valid,                                           -- those that count (see valid_tests)
       multiIf(counting > 0, 'valid', found > 0, 'none valid', 'no test') AS state -- valid, none valid or no test
FROM (
    SELECT monday, protocol, athlete, groupUniqArrayIf(squad, due = 1) AS squads,
           toInt64(sum(due = 0)) AS found, toInt64(sum(counts)) AS counting
    FROM (
        SELECT monday, protocol, athlete, squad, toUInt8(1) AS due, toUInt8(0) AS counts
        FROM (
            SELECT monday, squad, protocol, min(at_ms) AS first_ms
            FROM (
                SELECT toMonday(toDateOrZero(local_date)) AS monday, squad, protocol, min(start_ms) AS at_ms
                FROM stored_session_tests
                WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0) AND local_date != ''
                GROUP BY local_date, squad, protocol
                UNION ALL
                SELECT toMonday(toDateOrZero(substring(session, length(session) - 9, 10))) AS monday, squad, protocol, about_ms AS at_ms
                FROM alerts
                WHERE match(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$')
            )
            GROUP BY monday, squad, protocol
        ) AS s
        ALL INNER JOIN (SELECT squad, athlete, since_ms, until_ms FROM squad_members) AS m USING (squad)
        WHERE (isNull(since_ms) OR since_ms <= first_ms) AND (isNull(until_ms) OR until_ms > first_ms)
        UNION ALL
        SELECT toMonday(toDateOrZero(local_date)) AS monday, protocol, athlete, '' AS squad, toUInt8(0) AS due,
               toUInt8((quality = 'good' AND staff = '') OR (quality <> 'reject' AND staff = 'accepted' AND NOT isNaN(hrex_bpm))) AS counts
        FROM stored_session_tests
        WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0) AND local_date != ''
    )
    GROUP BY monday, protocol, athlete
)
ARRAY JOIN squads AS d_squad;

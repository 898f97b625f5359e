-- +goose NO TRANSACTION
-- +goose Up
-- Alerts with what became of them: whether and when staff were told, and what
-- staff did with the test. A withdrawn alert was taken back, mostly because its
-- test was left out.
CREATE VIEW IF NOT EXISTS alert_outcomes AS
SELECT alert_id,                                                    -- alerts.alert_id
       rule,                                                        -- the rule that fired
       urgency,                                                     -- routine, look or look first: orders alerts, says nothing of anybody's health
       state,                                                       -- open, seen, closed, withdrawn or lapsed
       told,                                                        -- 1 when a message went out, 0 when only recorded
       athlete,                                                     -- the club's id of the athlete; '' when not about one
       squad,                                                       -- squad it is about
       protocol,                                                    -- protocol of the test; '' when not about one
       session,                                                     -- squad/protocol/local date; '' when not about a test
       if(match(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), substring(session, length(session) - 9, 10), '') AS local_date, -- the session's date in the club's time zone; YYYY-MM-DD; '' without a session
       test_id,                                                     -- tests.test_id; '' when not about a test
       about,                                                       -- time of the test, file or slot it is about; UTC
       about_ms,                                                    -- the same; milliseconds since 1970-01-01 UTC
       messages,                                                    -- chat messages sent about it
       first_sent,                                                  -- when the chat took the first; UTC; NULL when none was sent
       first_sent_ms,                                               -- the same; milliseconds since 1970-01-01 UTC
       test_quality,                                                -- quality of the test now: good, check or reject; '' without a test that stands
       test_staff,                                                  -- the staff's word on the test now: excluded, accepted or ''
       corrections,                                                 -- manual changes of the test so far
       last_action,                                                 -- the last of them: exclude, accept, restore or start; '' for none
       last_who,                                                    -- who made it
       last_why,                                                    -- the reason, in their own words
       last_made,                                                   -- when; UTC; NULL when there is none
       last_made_ms                                                 -- the same; milliseconds since 1970-01-01 UTC
FROM (
    SELECT alert_id, rule, urgency, state, told, athlete, squad, protocol, session, test_id, about, about_ms,
           messages, first_sent, first_sent_ms, test_quality, test_staff
    FROM (
        SELECT alert_id, rule, urgency, state, told, athlete, squad, protocol, session, test_id, about, about_ms,
               messages, first_sent, first_sent_ms
        FROM alerts AS a
        ALL LEFT JOIN (
            SELECT alert_id, toInt64(count()) AS messages, min(sent) AS first_sent, min(sent_ms) AS first_sent_ms
            FROM messages WHERE state = 'sent' GROUP BY alert_id
        ) AS m USING (alert_id)
    ) AS told
    ALL LEFT JOIN (
        SELECT test_id, quality AS test_quality, staff AS test_staff
        FROM tests
        WHERE athlete IN (SELECT athlete FROM stored_alerts) AND test_id IN (SELECT test_id FROM stored_alerts)
    ) AS t USING (test_id)
) AS seen
ALL LEFT JOIN (
    SELECT test_id, toInt64(count()) AS corrections, argMax(action, correction_id) AS last_action,
           argMax(who, correction_id) AS last_who, argMax(why, correction_id) AS last_why,
           toDateTime(intDiv(last_made_ms, 1000), 'UTC') AS last_made, max(toNullable(made_ms)) AS last_made_ms
    FROM (SELECT test_id, correction_id, action, who, why, made_ms FROM corrections)
    GROUP BY test_id
) AS c USING (test_id);

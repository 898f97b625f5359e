-- +goose Up
-- Alerts with what became of them: whether and when staff were told, and what
-- staff did with the test. A withdrawn alert was taken back, mostly because its
-- test was left out.
CREATE VIEW IF NOT EXISTS alert_outcomes AS
SELECT a.alert_id,                                                  -- alerts.alert_id
       a.rule,                                                      -- the rule that fired
       a.urgency,                                                   -- routine, look or look first: orders alerts, says nothing of anybody's health
       a.state,                                                     -- open, seen, closed, withdrawn or lapsed
       a.told,                                                      -- 1 when a message went out, 0 when only recorded
       a.athlete,                                                   -- the club's id of the athlete; '' when not about one
       a.squad,                                                     -- squad it is about
       a.protocol,                                                  -- protocol of the test; '' when not about one
       a.session,                                                   -- squad/protocol/local date; '' when not about a test
       CASE WHEN a.session GLOB '*[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]' THEN substr(a.session, -10) ELSE '' END AS local_date, -- the session's date in the club's time zone; YYYY-MM-DD; '' without a session
       a.test_id,                                                   -- tests.test_id; '' when not about a test
       a.about,                                                     -- time of the test, file or slot it is about; UTC
       a.about_ms,                                                  -- the same; milliseconds since 1970-01-01 UTC
       coalesce(m.messages, 0) AS messages,                         -- chat messages sent about it
       m.first_sent,                                                -- when the chat took the first; UTC; NULL when none was sent
       m.first_sent_ms,                                             -- the same; milliseconds since 1970-01-01 UTC
       coalesce(t.quality, '') AS test_quality,                     -- quality of the test now: good, check or reject; '' without a test that stands
       coalesce(t.staff, '') AS test_staff,                         -- the staff's word on the test now: excluded, accepted or ''
       coalesce(c.corrections, 0) AS corrections,                   -- manual changes of the test so far
       coalesce(c.last_action, '') AS last_action,                  -- the last of them: exclude, accept, restore or start; '' for none
       coalesce(c.last_who, '') AS last_who,                        -- who made it
       coalesce(c.last_why, '') AS last_why,                        -- the reason, in their own words
       c.last_made,                                                 -- when; UTC; NULL when there is none
       c.last_made_ms                                               -- the same; milliseconds since 1970-01-01 UTC
FROM alerts AS a
LEFT JOIN (
    SELECT alert_id, count(*) AS messages, min(sent) AS first_sent, min(sent_ms) AS first_sent_ms
    FROM messages WHERE state = 'sent' GROUP BY alert_id
) AS m ON m.alert_id = a.alert_id
LEFT JOIN tests AS t ON t.test_id = a.test_id
LEFT JOIN (
    SELECT o.test_id, n.corrections, o.action AS last_action, o.who AS last_who, o.why AS last_why, o.made AS last_made, o.made_ms AS last_made_ms
    FROM corrections AS o
    JOIN (SELECT test_id, max(correction_id) AS last, count(*) AS corrections FROM corrections GROUP BY test_id) AS n ON n.last = o.correction_id
) AS c ON c.test_id = a.test_id;

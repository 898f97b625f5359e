-- +goose Up
-- Everything about an athlete in order: tests, alerts, corrections, notes, one row
-- each. Order by at_ms, then kind descending: a test comes before what it led to.
CREATE VIEW IF NOT EXISTS athlete_timeline AS
SELECT athlete,           -- the club's id of the athlete
       'test' AS kind,    -- test, alert, correction or note
       start AS at,       -- time of the test; of the test an alert is about; when a correction or note was made; UTC
       start_ms AS at_ms, -- the same; milliseconds since 1970-01-01 UTC
       test_id,           -- tests.test_id; '' for an alert without a test
       test_id AS id,     -- tests.test_id, alerts.alert_id, corrections.correction_id or notes.note_id
       quality AS what,   -- quality of a test, rule of an alert, action of a correction, note or seen
       staff AS state,    -- the staff's word on a test, state of an alert; '' for a correction
       hrex_pct,          -- HRex of a test; %HRmax; NULL for others
       hrr60_bpm,         -- HRR60 of a test; bpm; NULL for others
       '' AS who,         -- who made a correction or note; '' for others
       reasons AS detail  -- reasons of a test, words of an alert, why of a correction, words of a note
FROM tests
UNION ALL
SELECT athlete, 'alert', about, about_ms, test_id, alert_id, rule, state, NULL, NULL, '', text
FROM alerts
WHERE athlete <> ''
UNION ALL
SELECT t.athlete, 'correction', c.made, c.made_ms, c.test_id, c.correction_id, c.action, '', NULL, NULL, c.who, c.why
FROM corrections AS c
JOIN tests AS t ON t.test_id = c.test_id
UNION ALL
SELECT n.athlete, 'note', n.made, n.made_ms, coalesce(a.test_id, ''), n.note_id, CASE WHEN n.text = '' THEN 'seen' ELSE 'note' END, '', NULL, NULL, n.who, n.text
FROM notes AS n
LEFT JOIN alerts AS a ON a.alert_id = n.alert_id
WHERE n.athlete <> '';

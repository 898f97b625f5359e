-- +goose Up
-- Everything about an athlete in order: tests, alerts, corrections, one row
-- each. Order by at_ms, then kind descending: a test comes before what it led to.
CREATE VIEW IF NOT EXISTS athlete_timeline AS
SELECT athlete,           -- the club's id of the athlete
       'test' AS kind,    -- test, alert or correction
       start AS at,       -- time of the test; of the test an alert is about; when a correction was made; UTC
       start_ms AS at_ms, -- the same; milliseconds since 1970-01-01 UTC
       test_id,           -- tests.test_id; '' for an alert without a test
       test_id AS id,     -- tests.test_id, alerts.alert_id or corrections.correction_id
       quality AS what,   -- quality of a test, rule of an alert, action of a correction
       staff AS state,    -- the staff's word on a test, state of an alert; '' for a correction
       hrex_pct,          -- HRex of a test; %HRmax; NULL for others
       hrr60_bpm,         -- HRR60 of a test; bpm; NULL for others
       '' AS who,         -- who made a correction; '' for others
       reasons AS detail  -- reasons of a test, words of an alert, why of a correction
FROM tests
UNION ALL
SELECT athlete, 'alert', about, about_ms, test_id, alert_id, rule, state, NULL, NULL, '', text
FROM alerts
WHERE athlete <> ''
UNION ALL
SELECT t.athlete, 'correction', c.made, c.made_ms, c.test_id, c.correction_id, c.action, '', NULL, NULL, c.who, c.why
FROM corrections AS c
JOIN tests AS t ON t.test_id = c.test_id;

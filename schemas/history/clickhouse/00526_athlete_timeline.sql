-- +goose NO TRANSACTION
-- +goose Up
-- Everything about an athlete in order: tests, alerts, corrections, notes, one row
-- each. Order by at_ms, then kind descending: a test comes before what it led to.
CREATE VIEW IF NOT EXISTS athlete_timeline AS
SELECT athlete,                            -- the club's id of the athlete
       'test' AS kind,                     -- test, alert, correction or note
       start AS at,                        -- time of the test; of the test an alert is about; when a correction or note was made; UTC
       start_ms AS at_ms,                  -- the same; milliseconds since 1970-01-01 UTC
       test_id,                            -- tests.test_id; '' for an alert without a test
       test_id AS id,                      -- tests.test_id, alerts.alert_id, corrections.correction_id or notes.note_id
       quality AS what,                    -- quality of a test, rule of an alert, action of a correction, note or seen
       staff AS state,                     -- the staff's word on a test, state of an alert; '' for a correction
       toNullable(hrex_pct) AS hrex_pct,   -- HRex of a test; %HRmax; NULL for others
       toNullable(hrr60_bpm) AS hrr60_bpm, -- HRR60 of a test; bpm; NULL for others
       '' AS who,                          -- who made a correction or note; '' for others
       reasons AS detail                   -- reasons of a test, words of an alert, why of a correction, words of a note
FROM tests
UNION ALL
SELECT athlete, 'alert' AS kind, about AS at, about_ms AS at_ms, test_id, alert_id AS id, rule AS what, state,
       CAST(NULL AS Nullable(Float64)) AS hrex_pct, CAST(NULL AS Nullable(Float64)) AS hrr60_bpm, '' AS who, text AS detail
FROM alerts
WHERE athlete != ''
UNION ALL
SELECT athlete, 'correction' AS kind, made AS at, made_ms AS at_ms, test_id, correction_id AS id, action AS what, '' AS state,
       CAST(NULL AS Nullable(Float64)) AS hrex_pct, CAST(NULL AS Nullable(Float64)) AS hrr60_bpm, who, why AS detail
FROM corrections AS c
ALL INNER JOIN (
    SELECT test_id, athlete
    FROM stored_traces
    WHERE test_id IN (SELECT test_id FROM stored_corrections) AND write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
) AS t USING (test_id)
UNION ALL
SELECT athlete, 'note' AS kind, made AS at, made_ms AS at_ms, test_id, note_id AS id, if(text = '', 'seen', 'note') AS what, '' AS state,
       CAST(NULL AS Nullable(Float64)) AS hrex_pct, CAST(NULL AS Nullable(Float64)) AS hrr60_bpm, who, text AS detail
FROM (SELECT alert_id, athlete, made, made_ms, note_id, text, who FROM notes WHERE athlete != '') AS n
ALL LEFT JOIN (SELECT alert_id, test_id FROM alerts) AS a USING (alert_id);

-- +goose NO TRANSACTION
-- +goose Up
-- Copies each row as it is inserted.
CREATE MATERIALIZED VIEW IF NOT EXISTS stored_to_session_assessments TO stored_session_assessments AS
SELECT squad, session,
       if(match(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), substring(session, length(session) - 9, 10), '') AS local_date,
       protocol, athlete, test_id, start_ms, rules, comparison.measure, comparison.seconds, comparison.unit,
       comparison.baseline_n, comparison.state, comparison.prev_change, comparison.change, comparison.change_pct,
       comparison.z, write_id
FROM stored_athlete_assessments;

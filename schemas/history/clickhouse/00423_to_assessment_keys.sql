-- +goose NO TRANSACTION
-- +goose Up
-- Copies each row as it is inserted.
CREATE MATERIALIZED VIEW IF NOT EXISTS stored_to_assessment_keys TO stored_assessment_keys AS
SELECT test_id, athlete, start_ms, version, again, write_id
FROM stored_athlete_assessments;

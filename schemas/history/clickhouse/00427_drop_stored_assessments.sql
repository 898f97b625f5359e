-- +goose NO TRANSACTION
-- +goose Up
-- Its rows are in stored_athlete_assessments.
DROP TABLE IF EXISTS stored_assessments;

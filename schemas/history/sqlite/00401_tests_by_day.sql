-- +goose Up
-- For a squad's session on a day: the date as session_tests and valid_tests have it.
CREATE INDEX IF NOT EXISTS stored_tests_by_day ON stored_tests (squad, CASE WHEN session GLOB '*[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]' THEN substr(session, -10) ELSE '' END);

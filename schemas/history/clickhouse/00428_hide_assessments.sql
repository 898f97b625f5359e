-- +goose NO TRANSACTION
-- +goose Up
-- For histories of older versions: assessments of tests that are no longer there
-- are hidden. Does nothing in a new history.
INSERT INTO stored_hidden (write_id, hides, replaced)
SELECT write_id, toInt64(1) AS hides, toInt64(1) AS replaced
FROM stored_assessment_keys
WHERE again = 0 AND test_id NOT IN (
    SELECT test_id
    FROM stored_tests
    WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
);

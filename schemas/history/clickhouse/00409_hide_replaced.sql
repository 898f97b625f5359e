-- +goose NO TRANSACTION
-- +goose Up
-- For histories of older versions: rows of writes that were replaced, or that
-- came to no end, are hidden. Does nothing in a new history.
INSERT INTO stored_hidden (write_id, hides, replaced)
SELECT write_id, toInt64(1) AS hides, toInt64(1) AS replaced
FROM (
    SELECT write_id FROM stored_tests UNION ALL
    SELECT write_id FROM stored_traces UNION ALL
    SELECT write_id FROM stored_loads UNION ALL
    SELECT write_id FROM stored_series
)
WHERE write_id NOT IN (SELECT write_id FROM stored_file_writes)
GROUP BY write_id;

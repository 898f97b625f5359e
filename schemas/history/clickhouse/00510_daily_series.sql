-- +goose NO TRANSACTION
-- +goose Up
-- One row per athlete (or squad), local date and series: the value of the file
-- that was noticed last, however often and in whatever order files are scored.
-- Columns: see stored_series. Grouped by its key, so that a condition on one of
-- these columns narrows what is read.
CREATE VIEW IF NOT EXISTS daily_series AS
SELECT athlete, squad, local_date, series, newest_value AS value, newest_unit AS unit, newest_file AS file_id, newest_version AS version
FROM (
    SELECT athlete, squad, local_date, series,
           argMax(value, noticed) AS newest_value, argMax(unit, noticed) AS newest_unit,
           argMax(file_id, noticed) AS newest_file, argMax(version, noticed) AS newest_version
    FROM (
        SELECT athlete, squad, local_date, series, value, unit, file_id, version,
               concat(toString(seen_ms + 100000000000000), file_id) AS noticed
        FROM stored_series
        WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
    )
    GROUP BY athlete, squad, local_date, series
);

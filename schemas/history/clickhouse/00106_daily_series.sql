-- +goose NO TRANSACTION
-- +goose Up
-- One row per athlete (or squad), local date and series: the value of the file
-- that was noticed last, however often and in whatever order files are scored.
-- Columns: see stored_series.
CREATE VIEW IF NOT EXISTS daily_series AS
SELECT athlete, squad, local_date, series, value, unit, file_id, version
FROM (
    SELECT athlete, squad, local_date, series, value, unit, file_id, version, seen_ms
    FROM stored_series FINAL
    WHERE write_id IN (SELECT write_id FROM stored_files FINAL)
    ORDER BY seen_ms DESC, file_id DESC
    LIMIT 1 BY athlete, squad, local_date, series
);

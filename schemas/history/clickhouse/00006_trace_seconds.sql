-- +goose NO TRANSACTION
-- +goose Up
-- One row per second of the trace window of each test that stands. Columns:
-- see stored_traces.
CREATE VIEW IF NOT EXISTS trace_seconds AS
SELECT test_id, athlete, second, raw_bpm, clean_bpm, dropped, speed_ms
FROM (
    SELECT test_id, athlete, second, raw_bpm, clean_bpm, dropped, speed_ms
    FROM stored_traces FINAL
    WHERE write_id IN (SELECT write_id FROM stored_files FINAL)
)
ARRAY JOIN second, raw_bpm, clean_bpm, dropped, speed_ms;

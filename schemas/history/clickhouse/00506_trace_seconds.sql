-- +goose NO TRANSACTION
-- +goose Up
-- One row per second of the trace window of each test that stands. Columns:
-- see stored_traces.
CREATE VIEW IF NOT EXISTS trace_seconds AS
SELECT test_id, athlete, trace.second AS second,
       if(isNaN(trace.raw_bpm), NULL, trace.raw_bpm) AS raw_bpm,
       if(isNaN(trace.clean_bpm), NULL, trace.clean_bpm) AS clean_bpm,
       trace.dropped AS dropped,
       if(isNaN(trace.speed_ms), NULL, trace.speed_ms) AS speed_ms
FROM (
    SELECT test_id, athlete, trace.second, trace.raw_bpm, trace.clean_bpm, trace.dropped, trace.speed_ms
    FROM stored_traces
    WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
)
ARRAY JOIN trace;

-- +goose NO TRANSACTION
-- +goose Up
-- One row per second of the trace window of each test that stands. Columns:
-- see stored_traces.
CREATE VIEW IF NOT EXISTS trace_seconds AS
SELECT test_id, athlete, c_second AS second,
       if(isNaN(c_raw_bpm), NULL, c_raw_bpm) AS raw_bpm,
       if(isNaN(c_clean_bpm), NULL, c_clean_bpm) AS clean_bpm,
       c_dropped AS dropped,
       if(isNaN(c_speed_ms), NULL, c_speed_ms) AS speed_ms
FROM (
    SELECT test_id, athlete, trace.second, trace.raw_bpm, trace.clean_bpm, trace.dropped, trace.speed_ms
    FROM stored_traces
    WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
)
ARRAY JOIN trace.second AS c_second, trace.raw_bpm AS c_raw_bpm, trace.clean_bpm AS c_clean_bpm, trace.dropped AS c_dropped, trace.speed_ms AS c_speed_ms;

-- +goose NO TRANSACTION
-- +goose Up
-- Copies each row of stored_tests as it is inserted.
CREATE MATERIALIZED VIEW IF NOT EXISTS stored_to_session_tests TO stored_session_tests AS
SELECT squad, session,
       if(match(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), substring(session, length(session) - 9, 10), '') AS local_date,
       protocol, athlete, test_id, file_id, protocol_version, start_ms, duration_s, band_s, hrmax_source, hrex_bpm,
       hrex_pct, hrr60_bpm, coverage, quality, staff, reasons, microcycle_day, surface, write_id
FROM stored_tests;

-- +goose NO TRANSACTION
-- +goose Up
-- For histories of older versions: the rows that are there. Does nothing in a
-- new history, and adds what is missing when it is done again.
INSERT INTO stored_session_tests (squad, session, local_date, protocol, athlete, test_id, file_id, protocol_version, start_ms, duration_s, band_s,
       hrmax_source, hrex_bpm, hrex_pct, hrr60_bpm, coverage, quality, staff, reasons, microcycle_day, surface,
       write_id)
SELECT squad, session,
       if(match(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), substring(session, length(session) - 9, 10), '') AS local_date,
       protocol, athlete, test_id, file_id, protocol_version, start_ms, duration_s, band_s, hrmax_source, hrex_bpm,
       hrex_pct, hrr60_bpm, coverage, quality, staff, reasons, microcycle_day, surface, write_id
FROM stored_tests
WHERE write_id NOT IN (SELECT write_id FROM stored_session_tests);

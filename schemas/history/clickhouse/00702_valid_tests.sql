-- +goose NO TRANSACTION
-- +goose Up
-- The tests that count, one row each: good ones that staff did not leave out,
-- and others, short of reject, that staff accepted. Only these enter baselines.
-- Of the stored table, not of the view tests: an old server looks at a condition on
-- the inner of two views only when it has read all columns.
CREATE VIEW IF NOT EXISTS valid_tests AS
SELECT test_id, -- tests.test_id
       file_id, -- the file it was found in; files.file_id
       athlete, -- the club's id of the athlete
       squad, -- squad the athlete was in then
       protocol, -- the club's id of the protocol
       protocol_version, -- digest of load, averaging and recovery: only equal ones compare
       session, -- squad/protocol/local date: tests run together
       if(match(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), substring(session, length(session) - 9, 10), '') AS local_date, -- the session's date in the club's time zone; YYYY-MM-DD
       if(match(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), toString(toMonday(toDateOrZero(substring(session, length(session) - 9, 10)))), '') AS week, -- Monday of that date's week; YYYY-MM-DD
       toDateTime(intDiv(start_ms, 1000), 'UTC') AS start, -- start of the test; UTC
       start_ms, -- the same; milliseconds since 1970-01-01 UTC
       duration_s, -- length as run; s
       if(isNaN(hrex_bpm), NULL, hrex_bpm) AS hrex_bpm, -- HRex: exercise heart rate by the protocol's averaging; bpm
       if(isNaN(hrex_pct), NULL, hrex_pct) AS hrex_pct, -- the same in %HRmax
       if(isNaN(hrex_se_bpm), NULL, hrex_se_bpm) AS hrex_se_bpm, -- standard error of hrex_bpm from the trace; bpm
       hrmax_source, -- measured, estimated (211 - 0.64 age, Nes et al. 2013) or unknown
       if(isNaN(end_hr_bpm), NULL, end_hr_bpm) AS end_hr_bpm, -- mean of the last seconds (end window) of the test; bpm
       if(isNaN(hrr60_bpm), NULL, hrr60_bpm) AS hrr60_bpm, -- HRR60: end heart rate minus that 60 s later; bpm
       if(isNaN(hrr60_pct_end), NULL, hrr60_pct_end) AS hrr60_pct_end, -- HRR60 in % of end_hr_bpm
       if(isNaN(hrr60_se_bpm), NULL, hrr60_se_bpm) AS hrr60_se_bpm, -- standard error of hrr60_bpm; bpm
       if(isNaN(band_s), NULL, band_s) AS band_s, -- valid time inside the protocol's intensity band; s
       if(isNaN(speed_kmh), NULL, speed_kmh) AS speed_kmh, -- mean speed of the work, when recorded; km/h
       coverage, -- valid share of the HRex window; 0 to 1
       quality, -- good, check or reject
       staff, -- the staff's word: excluded, accepted or ''
       microcycle_day, -- as planned, e.g. MD-2; '' when unknown
       surface -- as planned; '' when unknown
FROM stored_tests
WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
  AND ((quality = 'good' AND staff = '') OR (quality <> 'reject' AND staff = 'accepted' AND NOT isNaN(hrex_bpm)));

-- +goose Up
-- The tests that count, one row each: good ones that staff did not leave out,
-- and others, short of reject, that staff accepted. Only these enter baselines.
CREATE VIEW IF NOT EXISTS valid_tests AS
SELECT test_id,                                                     -- tests.test_id
       file_id,                                                     -- the file it was found in; files.file_id
       athlete,                                                     -- the club's id of the athlete
       squad,                                                       -- squad the athlete was in then
       protocol,                                                    -- the club's id of the protocol
       protocol_version,                                            -- digest of load, averaging and recovery: only equal ones compare
       session,                                                     -- squad/protocol/local date: tests run together
       CASE WHEN session GLOB '*[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]' THEN substr(session, -10) ELSE '' END AS local_date, -- the session's date in the club's time zone; YYYY-MM-DD
       coalesce(date(substr(session, -10), '-6 days', 'weekday 1'), '') AS week, -- Monday of that date's week; YYYY-MM-DD
       start,                                                       -- start of the test; UTC
       start_ms,                                                    -- the same; milliseconds since 1970-01-01 UTC
       duration_s,                                                  -- length as run; s
       hrex_bpm,                                                    -- HRex: exercise heart rate by the protocol's averaging; bpm
       hrex_pct,                                                    -- the same in %HRmax
       hrex_se_bpm,                                                 -- standard error of hrex_bpm from the trace; bpm
       hrmax_source,                                                -- measured, estimated (211 - 0.64 age, Nes et al. 2013) or unknown
       end_hr_bpm,                                                  -- mean of the last seconds (end window) of the test; bpm
       hrr60_bpm,                                                   -- HRR60: end heart rate minus that 60 s later; bpm
       hrr60_pct_end,                                               -- HRR60 in % of end_hr_bpm
       hrr60_se_bpm,                                                -- standard error of hrr60_bpm; bpm
       band_s,                                                      -- valid time inside the protocol's intensity band; s
       speed_kmh,                                                   -- mean speed of the work, when recorded; km/h
       coverage,                                                    -- valid share of the HRex window; 0 to 1
       quality,                                                     -- good, check or reject
       staff,                                                       -- the staff's word: excluded, accepted or ''
       microcycle_day,                                              -- as planned, e.g. MD-2; '' when unknown
       surface                                                      -- as planned; '' when unknown
FROM tests
WHERE (quality = 'good' AND staff = '') OR (quality <> 'reject' AND staff = 'accepted' AND hrex_bpm IS NOT NULL);

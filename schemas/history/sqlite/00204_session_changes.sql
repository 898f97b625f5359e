-- +goose Up
-- What each session's valid tests did as a whole, one row a session and measure:
-- when everybody moves together, ask about heat, pace or straps first.
CREATE VIEW IF NOT EXISTS session_changes AS
SELECT session,                                                     -- squad/protocol/local date: tests run together
       squad,                                                       -- the squad
       protocol,                                                    -- the club's id of the protocol
       max(CASE WHEN session GLOB '*[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]' THEN substr(session, -10) ELSE '' END) AS local_date, -- the session's date in the club's time zone; YYYY-MM-DD
       measure,                                                     -- hrex or hrr
       seconds,                                                     -- delay of an HRR; s; 0 for hrex
       unit,                                                        -- what changes are in: % points of HRmax, or bpm
       count(change) AS athletes,                                   -- valid tests with a change from their own baseline
       avg(change) AS mean_change,                                  -- mean of the changes; unit
       CASE WHEN count(change) > 1 THEN sqrt(max(0.0, (sum(change * change) - sum(change) * sum(change) / count(change)) / (count(change) - 1))) END AS sd_change, -- standard deviation of the changes; unit; NULL for fewer than two
       sum(state = 'higher') AS higher,                             -- tests beyond the threshold, above the baseline
       sum(state = 'lower') AS lower,                               -- tests beyond the threshold, below the baseline
       sum(state = 'building') AS building                          -- tests whose baseline is being built
FROM assessments
WHERE test_id IN (SELECT test_id FROM valid_tests)
GROUP BY session, squad, protocol, measure, seconds, unit;

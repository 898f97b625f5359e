-- +goose NO TRANSACTION
-- +goose Up
-- What each session's valid tests did as a whole, one row a session and measure:
-- when everybody moves together, ask about heat, pace or straps first.
CREATE VIEW IF NOT EXISTS session_changes AS
SELECT session,                                                     -- squad/protocol/local date: tests run together
       squad,                                                       -- the squad
       protocol,                                                    -- the club's id of the protocol
       max(date_of_session) AS local_date,                          -- the session's date in the club's time zone; YYYY-MM-DD
       measure,                                                     -- hrex or hrr
       seconds,                                                     -- delay of an HRR; s; 0 for hrex
       unit,                                                        -- what changes are in: % points of HRmax, or bpm
       toInt64(count(change)) AS athletes,                          -- valid tests with a change from their own baseline
       avg(change) AS mean_change,                                  -- mean of the changes; unit
       if(count(change) > 1, stddevSamp(change), NULL) AS sd_change, -- standard deviation of the changes; unit; NULL for fewer than two
       toInt64(sum(state = 'higher')) AS higher,                    -- tests beyond the threshold, above the baseline
       toInt64(sum(state = 'lower')) AS lower,                      -- tests beyond the threshold, below the baseline
       toInt64(sum(state = 'building')) AS building                 -- tests whose baseline is being built
FROM (
    SELECT session, squad, protocol, measure, seconds, unit, change, state,
           if(match(session, '[0-9]{4}-[0-9]{2}-[0-9]{2}$'), substring(session, length(session) - 9, 10), '') AS date_of_session
    FROM assessments
    WHERE test_id IN (SELECT test_id FROM valid_tests)
)
GROUP BY session, squad, protocol, measure, seconds, unit;

-- +goose Up
-- Made anew: a squad's day is found by an index, and what is read is only its own.
DROP VIEW IF EXISTS session_changes;
-- What each session's valid tests did as a whole, one row a session and measure:
-- when everybody moves together, ask about heat, pace or straps first.
CREATE VIEW IF NOT EXISTS session_changes AS
SELECT t.session AS session,                                        -- squad/protocol/local date: tests run together
       t.squad AS squad,                                            -- the squad
       t.protocol AS protocol,                                      -- the club's id of the protocol
       t.local_date AS local_date,                                  -- the session's date in the club's time zone; YYYY-MM-DD
       c.measure AS measure,                                        -- hrex or hrr
       c.seconds AS seconds,                                        -- delay of an HRR; s; 0 for hrex
       c.unit AS unit,                                              -- what changes are in: % points of HRmax, or bpm
       count(c.change) AS athletes,                                 -- valid tests with a change from their own baseline
       avg(c.change) AS mean_change,                                -- mean of the changes; unit
       CASE WHEN count(c.change) > 1 THEN sqrt(max(0.0, (sum(c.change * c.change) - sum(c.change) * sum(c.change) / count(c.change)) / (count(c.change) - 1))) END AS sd_change, -- standard deviation of the changes; unit; NULL for fewer than two
       count(CASE WHEN c.change > 0 THEN 1 END) AS above,           -- tests above the mean of their own baseline, by however little
       count(CASE WHEN c.change < 0 THEN 1 END) AS below,           -- tests below it
       sum(c.state = 'higher') AS higher,                           -- tests whose state is higher: beyond the thresholds also without what the whole session shares
       sum(c.state = 'lower') AS lower,                             -- tests whose state is lower
       sum(c.state = 'building') AS building                        -- tests whose baseline is being built
FROM valid_tests AS t
CROSS JOIN stored_assessments AS a ON a.test_id = t.test_id AND a.session = t.session AND a.squad = t.squad AND a.protocol = t.protocol AND a.athlete = t.athlete
CROSS JOIN stored_comparisons AS c ON c.test_id = t.test_id
GROUP BY t.session, t.squad, t.protocol, t.local_date, c.measure, c.seconds, c.unit;

-- +goose Up
-- How complete each week is, one row per week, squad and protocol.
CREATE VIEW IF NOT EXISTS weekly_coverage AS
SELECT week,                                                -- Monday of the week; YYYY-MM-DD
       squad,                                               -- the squad
       protocol,                                            -- the club's id of the protocol
       count(*) AS due,                                     -- athletes who were due (see weekly_tests)
       sum(state = 'valid') AS with_valid,                  -- of them, with a valid test
       sum(state = 'none valid') AS none_valid,             -- of them, with tests of which none is valid
       sum(state = 'no test') AS no_test,                   -- of them, without any test
       1.0 * sum(state = 'valid') / count(*) AS valid_share -- with_valid as a share of due; 0 to 1
FROM weekly_tests
GROUP BY week, squad, protocol;

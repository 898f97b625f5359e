-- +goose NO TRANSACTION
-- +goose Up
-- What each session's valid tests did as a whole, one row a session and measure:
-- when everybody moves together, ask about heat, pace or straps first. As in
-- session_tests, a condition on squad or session narrows what is read.
CREATE VIEW IF NOT EXISTS session_changes AS
SELECT session,                                                     -- squad/protocol/local date: tests run together
       squad,                                                       -- the squad
       protocol,                                                    -- the club's id of the protocol
       local_date,                                                  -- the session's date in the club's time zone; YYYY-MM-DD
       measure,                                                     -- hrex or hrr
       seconds,                                                     -- delay of an HRR; s; 0 for hrex
       unit,                                                        -- what changes are in: % points of HRmax, or bpm
       toInt64(count(change)) AS athletes,                          -- valid tests with a change from their own baseline
       avg(change) AS mean_change,                                  -- mean of the changes; unit
       if(count(change) > 1, stddevSamp(change), NULL) AS sd_change, -- standard deviation of the changes; unit; NULL for fewer than two
       toInt64(count(if(change > 0, 1, NULL))) AS above,            -- tests above the mean of their own baseline, by however little
       toInt64(count(if(change < 0, 1, NULL))) AS below,            -- tests below it
       toInt64(sum(state = 'higher')) AS higher,                    -- tests whose state is higher: beyond the thresholds also without what the whole session shares
       toInt64(sum(state = 'lower')) AS lower,                      -- tests whose state is lower
       toInt64(sum(state = 'building')) AS building                 -- tests whose baseline is being built
FROM (
    SELECT squad, session, local_date, protocol, c_measure AS measure, c_seconds AS seconds, c_unit AS unit, c_state AS state,
           if(isNaN(c_change), NULL, c_change) AS change
    FROM (
        SELECT squad, session, local_date, protocol, athlete, test_id,
               argMax(t_hrex_bpm, is_test) AS g_hrex_bpm, argMax(t_quality, is_test) AS g_quality,
               argMax(t_staff, is_test) AS g_staff, argMin(a_measure, is_test) AS g_measure,
               argMin(a_seconds, is_test) AS g_seconds, argMin(a_unit, is_test) AS g_unit,
               argMin(a_state, is_test) AS g_state, argMin(a_change, is_test) AS g_change,
               max(is_test) AS g_is_test
        FROM (
            SELECT squad, session, local_date, protocol, athlete, test_id, toUInt8(1) AS is_test,
                   hrex_bpm AS t_hrex_bpm, quality AS t_quality, staff AS t_staff, emptyArrayString() AS a_measure,
                   emptyArrayInt64() AS a_seconds, emptyArrayString() AS a_unit, emptyArrayString() AS a_state,
                   emptyArrayFloat64() AS a_change
            FROM stored_session_tests
            WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
            UNION ALL
            SELECT squad, session, local_date, protocol, athlete, test_id, toUInt8(0) AS is_test,
                   nan AS t_hrex_bpm, '' AS t_quality, '' AS t_staff, comparison.measure AS a_measure,
                   comparison.seconds AS a_seconds, comparison.unit AS a_unit, comparison.state AS a_state,
                   comparison.change AS a_change
            FROM stored_session_assessments
            WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
        )
        GROUP BY squad, session, local_date, protocol, athlete, test_id
    )
    ARRAY JOIN g_measure AS c_measure, g_seconds AS c_seconds, g_unit AS c_unit, g_state AS c_state, g_change AS c_change
    WHERE g_is_test = 1
      AND ((g_quality = 'good' AND g_staff = '') OR (g_quality <> 'reject' AND g_staff = 'accepted' AND NOT isNaN(g_hrex_bpm)))
)
GROUP BY session, squad, local_date, protocol, measure, seconds, unit;

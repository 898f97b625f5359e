-- +goose NO TRANSACTION
-- +goose Up
-- One row per athlete and local date with a recording: the day's load, each
-- session once (loads.counts). trimp and edwards are NULL when one of the
-- day's sessions has none: a sum of a part would pass for the whole.
CREATE VIEW IF NOT EXISTS athlete_days AS
SELECT athlete,                                   -- the club's id of the athlete
       local_date,                                -- date in the club's time zone; YYYY-MM-DD
       n AS sessions,                             -- recordings that count
       m AS minutes,                              -- time with valid heart rate; min
       d / 60. AS recorded_min,                   -- time recorded; min
       if(d > 0, 60. * m / d, 0.) AS coverage,    -- share of the two; 0 to 1
       if(isNaN(t), NULL, t) AS trimp,            -- Banister 1991; arbitrary units
       if(isNaN(e), NULL, e) AS edwards           -- Edwards 1993; arbitrary units
FROM (
    SELECT athlete, local_date, count() AS n, sum(minutes) AS m, sum(duration_s) AS d,
           sum(ifNull(trimp, nan)) AS t, sum(ifNull(edwards, nan)) AS e
    FROM loads
    WHERE counts = 1
    GROUP BY athlete, local_date
);

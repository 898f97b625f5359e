-- +goose Up
-- One row per athlete and local date with a recording: the day's load, each
-- session once (loads.counts). trimp and edwards are NULL when one of the
-- day's sessions has none: a sum of a part would pass for the whole.
CREATE VIEW IF NOT EXISTS athlete_days AS
SELECT athlete,                                                        -- the club's id of the athlete
       local_date,                                                     -- date in the club's time zone; YYYY-MM-DD
       count(*)                                          AS sessions,  -- recordings that count
       sum(minutes)                                      AS minutes,   -- time with valid heart rate; min
       sum(duration_s) / 60.0                            AS recorded_min, -- time recorded; min
       CASE WHEN sum(duration_s) > 0 THEN 60.0 * sum(minutes) / sum(duration_s) ELSE 0.0 END AS coverage, -- share of the two; 0 to 1
       CASE WHEN count(trimp) = count(*) THEN sum(trimp) END     AS trimp,   -- Banister 1991; arbitrary units
       CASE WHEN count(edwards) = count(*) THEN sum(edwards) END AS edwards  -- Edwards 1993; arbitrary units
FROM loads
WHERE counts = 1
GROUP BY athlete, local_date;

-- +goose Up
-- One row per trace of a known athlete, with a test or without: the training
-- load of one recording. Context beside a test, no verdict (Scott et al. 2022,
-- J Sports Sci 40(8): HRex against the TRIMP of the three days before, r -0.83).
-- Written, replaced and removed with its file. Read the view loads.
CREATE TABLE IF NOT EXISTS stored_loads (
    file_id       TEXT    NOT NULL, -- the file it was found in; files.file_id
    part          TEXT    NOT NULL, -- part of the file (column, athlete cell, ZIP member); '' in a file of one athlete
    athlete       TEXT    NOT NULL, -- the club's id of the athlete
    squad         TEXT    NOT NULL, -- squad the athlete was in then
    local_date    TEXT    NOT NULL, -- date of the start in the club's time zone; YYYY-MM-DD
    start         TEXT    NOT NULL, -- first sample; UTC, ISO 8601
    start_ms      INTEGER NOT NULL, -- the same; milliseconds since 1970-01-01 UTC
    duration_s    REAL    NOT NULL, -- from the first to the last sample; s
    minutes       REAL    NOT NULL, -- time with valid heart rate: what the load is summed over; min
    coverage      REAL    NOT NULL, -- minutes as a share of the duration; 0 to 1
    mean_bpm      REAL,             -- mean heart rate of the valid time; bpm
    peak_bpm      REAL,             -- highest valid heart rate; bpm
    trimp         REAL,             -- TRIMP with the athlete's constants (Banister 1991, from memory); arbitrary units; NULL without sex, HRrest or HRmax
    trimp_male    REAL,             -- TRIMP with the men's constants, min x dHR x 0.64 exp(1.92 dHR) (Banister 1991, from memory)
    trimp_female  REAL,             -- TRIMP with the women's constants, min x dHR x 0.86 exp(1.67 dHR) (Banister 1991, from memory)
    edwards       REAL,             -- sum of zone minutes times 1 to 5 (Edwards 1993, from memory); arbitrary units; NULL without HRmax
    zone1_min     REAL    NOT NULL, -- valid time at 50 to 60 %HRmax (Edwards 1993); min
    zone2_min     REAL    NOT NULL, -- valid time at 60 to 70 %HRmax; min
    zone3_min     REAL    NOT NULL, -- valid time at 70 to 80 %HRmax; min
    zone4_min     REAL    NOT NULL, -- valid time at 80 to 90 %HRmax; min
    zone5_min     REAL    NOT NULL, -- valid time at 90 %HRmax and above; min
    hrmax_bpm     REAL,             -- HRmax that was used; bpm
    hrmax_source  TEXT    NOT NULL, -- measured, estimated (211 - 0.64 age, Nes et al. 2013) or unknown
    hrmax_see_bpm REAL,             -- standard error of an estimated HRmax; bpm
    reasons       TEXT    NOT NULL, -- why numbers are absent, or remarks; sentences
    reasons_json  TEXT    NOT NULL, -- the same with stable codes, JSON: [{code, text}]
    version       INTEGER NOT NULL, -- order of writes, from the broker: that of the file
    PRIMARY KEY (file_id, part)
) STRICT;
CREATE INDEX IF NOT EXISTS stored_loads_by_athlete ON stored_loads (athlete, local_date);
-- One row per recording, as it stands now. counts is 0 for a recording that
-- another of the same athlete and local date stands for, as when watch and
-- strap recorded one session: of two that share more than half of the shorter
-- one's time, the one with more valid minutes counts.
CREATE VIEW IF NOT EXISTS loads AS
SELECT l.file_id, l.part, l.athlete, l.squad, l.local_date, l.start, l.start_ms, l.duration_s, l.minutes, l.coverage,
       l.mean_bpm, l.peak_bpm, l.trimp, l.trimp_male, l.trimp_female, l.edwards,
       l.zone1_min, l.zone2_min, l.zone3_min, l.zone4_min, l.zone5_min,
       l.hrmax_bpm, l.hrmax_source, l.hrmax_see_bpm, l.reasons, l.reasons_json, l.version,
       NOT EXISTS (
           SELECT 1 FROM stored_loads AS o
           WHERE o.athlete = l.athlete AND o.local_date = l.local_date
             AND min(o.start_ms + 1000.0 * o.duration_s, l.start_ms + 1000.0 * l.duration_s) - max(o.start_ms, l.start_ms)
                 > 500.0 * min(o.duration_s, l.duration_s)
             AND (o.minutes > l.minutes OR o.minutes = l.minutes
                  AND (o.file_id < l.file_id OR o.file_id = l.file_id AND o.part < l.part))
       ) AS counts -- 1 when it counts, 0 when another recording of the same time stands for it
FROM stored_loads AS l;

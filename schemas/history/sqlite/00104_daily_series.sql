-- +goose Up
-- One row per value of a daily series and file that brought it: session RPE,
-- sleep, wellness, temperature and the like, as the club's CSV files name them.
-- Context, no verdict. Written, replaced and removed with its file. Read the
-- view daily_series.
CREATE TABLE IF NOT EXISTS stored_series (
    file_id    TEXT    NOT NULL, -- the file it was found in; files.file_id
    athlete    TEXT    NOT NULL, -- the club's id of the athlete; '' when the value is the whole squad's
    squad      TEXT    NOT NULL, -- squad the athlete was in on that day, or whose the value is; '' when the whole club's
    local_date TEXT    NOT NULL, -- date in the club's time zone; YYYY-MM-DD
    series     TEXT    NOT NULL, -- name of the series, from the column's heading: session-rpe, sleep, temperature, ...
    value      REAL    NOT NULL, -- the value, in unit
    unit       TEXT    NOT NULL, -- what stands in brackets in the column's heading: a unit (h, min, °C), or a scale (4-20); '' when nothing
    seen_ms    INTEGER NOT NULL, -- when the file was noticed: the later file's value stands; milliseconds since 1970-01-01 UTC
    version    INTEGER NOT NULL, -- order of writes, from the broker: that of the file
    PRIMARY KEY (file_id, athlete, squad, local_date, series)
) STRICT;
CREATE INDEX IF NOT EXISTS stored_series_by_athlete ON stored_series (athlete, squad, local_date, series);
-- One row per athlete (or squad), local date and series: the value of the file
-- that was noticed last, however often and in whatever order files are scored.
CREATE VIEW IF NOT EXISTS daily_series AS
SELECT s.athlete, s.squad, s.local_date, s.series, s.value, s.unit, s.file_id, s.version
FROM stored_series AS s
WHERE NOT EXISTS (
    SELECT 1 FROM stored_series AS o
    WHERE o.athlete = s.athlete AND o.squad = s.squad AND o.local_date = s.local_date AND o.series = s.series
      AND (o.seen_ms > s.seen_ms OR o.seen_ms = s.seen_ms AND o.file_id > s.file_id)
);

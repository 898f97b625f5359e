-- +goose NO TRANSACTION
-- +goose Up
-- One row per value of a daily series and write of the file that brought it:
-- session RPE, sleep, wellness, temperature and the like, as the club's CSV
-- files name them. Context, no verdict. Rows of writes that were replaced
-- stay: see stored_files. Read the view daily_series.
CREATE TABLE IF NOT EXISTS stored_series (
    file_id    String,  -- the file it was found in; files.file_id
    athlete    String,  -- the club's id of the athlete; '' when the value is the whole squad's
    squad      String,  -- squad the athlete was in on that day, or whose the value is; '' when the whole club's
    local_date String,  -- date in the club's time zone; YYYY-MM-DD
    series     String,  -- name of the series, from the column's heading: session-rpe, sleep, temperature, ...
    value      Float64, -- the value, in unit
    unit       String,  -- unit, from the column's heading; '' when it has none
    seen_ms    Int64,   -- when the file was noticed: the later file's value stands; milliseconds since 1970-01-01 UTC
    version    UInt64,  -- order of writes, from the broker: that of the file
    write_id   UInt64   -- the write this row belongs to; stored_files.write_id
) ENGINE = ReplacingMergeTree ORDER BY (athlete, squad, local_date, series, file_id, write_id) SETTINGS index_granularity = 1024;

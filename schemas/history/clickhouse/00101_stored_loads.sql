-- +goose NO TRANSACTION
-- +goose Up
-- One row per trace of a known athlete and write of its file, with a test or
-- without: the training load of one recording. Rows of writes that were
-- replaced stay: see stored_files. An absent number is NaN. Read the view
-- loads, where it is NULL.
CREATE TABLE IF NOT EXISTS stored_loads (
    file_id       String,  -- the file it was found in; files.file_id
    part          String,  -- part of the file (column, athlete cell, ZIP member); '' in a file of one athlete
    athlete       String,  -- the club's id of the athlete
    squad         String,  -- squad the athlete was in then
    local_date    String,  -- date of the start in the club's time zone; YYYY-MM-DD
    start_ms      Int64,   -- first sample; milliseconds since 1970-01-01 UTC
    duration_s    Float64, -- from the first to the last sample; s
    minutes       Float64, -- time with valid heart rate: what the load is summed over; min
    coverage      Float64, -- minutes as a share of the duration; 0 to 1
    mean_bpm      Float64, -- mean heart rate of the valid time; bpm
    peak_bpm      Float64, -- highest valid heart rate; bpm
    trimp         Float64, -- TRIMP with the athlete's constants (Banister 1991, from memory); arbitrary units; NaN without sex, HRrest or HRmax
    trimp_male    Float64, -- TRIMP with the men's constants, min x dHR x 0.64 exp(1.92 dHR) (Banister 1991, from memory)
    trimp_female  Float64, -- TRIMP with the women's constants, min x dHR x 0.86 exp(1.67 dHR) (Banister 1991, from memory)
    edwards       Float64, -- sum of zone minutes times 1 to 5 (Edwards 1993, from memory); arbitrary units; NaN without HRmax
    zone1_min     Float64, -- valid time at 50 to 60 %HRmax (Edwards 1993); min
    zone2_min     Float64, -- valid time at 60 to 70 %HRmax; min
    zone3_min     Float64, -- valid time at 70 to 80 %HRmax; min
    zone4_min     Float64, -- valid time at 80 to 90 %HRmax; min
    zone5_min     Float64, -- valid time at 90 %HRmax and above; min
    hrmax_bpm     Float64, -- HRmax that was used; bpm
    hrmax_source  String,  -- measured, estimated (211 - 0.64 age, Nes et al. 2013) or unknown
    hrmax_see_bpm Float64, -- standard error of an estimated HRmax; bpm
    reasons       String,  -- why numbers are absent, or remarks; sentences
    reasons_json  String,  -- the same with stable codes, JSON: [{code, text}]
    version       UInt64,  -- order of writes, from the broker: that of the file
    write_id      UInt64   -- the write this row belongs to; stored_files.write_id
) ENGINE = ReplacingMergeTree ORDER BY (athlete, local_date, file_id, part, write_id) SETTINGS index_granularity = 1024;

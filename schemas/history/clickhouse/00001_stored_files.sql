-- +goose NO TRANSACTION
-- +goose Up
-- One row per write of a heart-rate file. The newest says by its write_id
-- which rows of stored_tests and stored_traces count. Small granules: it is
-- read by single files. Read the view files.
CREATE TABLE IF NOT EXISTS stored_files (
    file_id      String, -- SHA-256 of the file's bytes, hexadecimal
    folder       String, -- watched folder, as the club file names it
    path         String, -- path below the folder, forward slashes
    squad        String, -- squad that owns the folder; '' when the path pattern names it
    modified_ms  Int64,  -- the file's modification time; milliseconds since 1970-01-01 UTC
    seen_ms      Int64,  -- when the finished file was noticed; milliseconds since 1970-01-01 UTC
    size_bytes   Int64,  -- size before compression; bytes
    file_format  String, -- fit, tcx, gpx, csv or zip; '' when not recognised
    state        String, -- scored, training (read, no test inside), series (daily values), parked (could not be handled) or dropped (parked, and let go by staff)
    reason       String, -- why it is parked and what to do, or a remark
    tests_found  Int64,  -- tests found inside
    traces_found Int64,  -- traces (athletes' recordings) found inside
    version      UInt64, -- order of writes, from the broker: the higher is the newer
    write_id     UInt64  -- digest of the file's id, its version and all that was written with it
) ENGINE = ReplacingMergeTree(version) ORDER BY file_id SETTINGS index_granularity = 64;

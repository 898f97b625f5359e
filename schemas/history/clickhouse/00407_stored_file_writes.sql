-- +goose NO TRANSACTION
-- +goose Up
-- One row per write of a heart-rate file, whichever is the newest: what a merge
-- leaves is never for the merge to decide. The newest is that of the highest
-- version, then again, then write_id. Small granules: it is read by single files.
-- Read the view files.
CREATE TABLE IF NOT EXISTS stored_file_writes (
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
    digest       UInt64, -- names the content: the file's id, its version and all that was written with it
    again        UInt64, -- among writes of one version the later one stands; microseconds since 1970-01-01 UTC
    test_ids     Array(String), -- the tests found inside; tests.test_id; empty in rows of older versions
    write_id     UInt64  -- names the write; see stored_hidden
) ENGINE = ReplacingMergeTree ORDER BY (file_id, write_id) SETTINGS index_granularity = 64;

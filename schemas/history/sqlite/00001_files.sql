-- +goose Up
-- One row per heart-rate file, as it stands now.
CREATE TABLE IF NOT EXISTS files (
    file_id      TEXT    NOT NULL PRIMARY KEY, -- SHA-256 of the file's bytes, hexadecimal
    folder       TEXT    NOT NULL, -- watched folder, as the club file names it
    path         TEXT    NOT NULL, -- path below the folder, forward slashes
    squad        TEXT    NOT NULL, -- squad that owns the folder; '' when the path pattern names it
    modified     TEXT    NOT NULL, -- the file's modification time; UTC, ISO 8601
    modified_ms  INTEGER NOT NULL, -- the same; milliseconds since 1970-01-01 UTC
    seen         TEXT    NOT NULL, -- when the finished file was noticed; UTC, ISO 8601
    seen_ms      INTEGER NOT NULL, -- the same; milliseconds since 1970-01-01 UTC
    size_bytes   INTEGER NOT NULL, -- size before compression; bytes
    file_format  TEXT    NOT NULL, -- fit, tcx, gpx, csv or zip; '' when not recognised
    state        TEXT    NOT NULL, -- scored, training (read, no test inside), series (daily values), parked (could not be handled) or dropped (parked, and let go by staff)
    reason       TEXT    NOT NULL, -- why it is parked and what to do, or a remark
    tests_found  INTEGER NOT NULL, -- tests found inside
    traces_found INTEGER NOT NULL, -- traces (athletes' recordings) found inside
    version      INTEGER NOT NULL  -- order of writes, from the broker: the higher is the newer
) STRICT;
CREATE INDEX IF NOT EXISTS files_by_state ON files (state, seen_ms);

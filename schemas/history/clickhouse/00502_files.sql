-- +goose NO TRANSACTION
-- +goose Up
-- One row per heart-rate file, as it stands now. Columns: see stored_file_writes;
-- modified and seen are the same instants in whole seconds, UTC.
CREATE VIEW IF NOT EXISTS files AS
SELECT file_id, folder, path, squad,
       toDateTime(intDiv(modified_ms, 1000), 'UTC') AS modified, modified_ms,
       toDateTime(intDiv(seen_ms, 1000), 'UTC') AS seen, seen_ms,
       size_bytes, file_format, state, reason, tests_found, traces_found, version
FROM stored_file_writes
WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0);

-- +goose NO TRANSACTION
-- +goose Up
-- For histories of older versions: the rows that are there. Does nothing in a
-- new history, and adds what is missing when it is done again.
INSERT INTO stored_file_writes (
    file_id, folder, path, squad, modified_ms, seen_ms, size_bytes, file_format, state, reason, tests_found, traces_found,
    version, digest, write_id)
SELECT
    file_id, folder, path, squad, modified_ms, seen_ms, size_bytes, file_format, state, reason, tests_found, traces_found,
    version, write_id AS digest, write_id
FROM stored_files FINAL
WHERE file_id NOT IN (SELECT file_id FROM stored_file_writes);

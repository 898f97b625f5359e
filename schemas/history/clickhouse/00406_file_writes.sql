-- +goose NO TRANSACTION
-- +goose Up
-- Each write of a file has its row, whatever its version: what a merge leaves is
-- never for the merge to decide. The newest is that of the highest version, then
-- again, then attempt.
ALTER TABLE stored_files
    ADD COLUMN digest UInt64 DEFAULT write_id, -- names the content: the file's id, its version and all that was written with it
    ADD COLUMN again UInt64, -- among writes of one version the later one stands; microseconds since 1970-01-01 UTC
    ADD COLUMN test_ids Array(String), -- the tests found inside; tests.test_id; empty in rows of older versions
    ADD COLUMN attempt UInt64, -- write_id once more, as part of the key; 0 in rows of older versions
    MODIFY ORDER BY (file_id, attempt);

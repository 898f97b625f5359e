-- +goose NO TRANSACTION
-- +goose Up
-- For histories of older versions: rows that were sent twice become one, as the
-- views no longer ask for FINAL. Does nothing in a new history.
OPTIMIZE TABLE stored_loads FINAL;

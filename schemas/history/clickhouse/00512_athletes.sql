-- +goose NO TRANSACTION
-- +goose Up
-- The club's athletes as the club file has them now. What squad an athlete was
-- in at a test stands in tests.squad. Columns: see stored_athletes.
CREATE VIEW IF NOT EXISTS athletes AS
SELECT athlete, name, squad, memberships, birth_year, sex, hrmax_bpm, hrmax_source, hrmax_see_bpm, hrrest_bpm
FROM stored_athletes FINAL
WHERE snapshot IN (SELECT max(snapshot) FROM stored_athletes) AND athlete != '';

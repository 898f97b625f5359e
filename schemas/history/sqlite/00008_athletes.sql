-- +goose Up
-- The club's athletes as the club file has them now. What squad an athlete was
-- in at a test stands in tests.squad.
CREATE TABLE IF NOT EXISTS athletes (
    athlete      TEXT    NOT NULL PRIMARY KEY, -- the club's id
    name         TEXT    NOT NULL, -- name, initials or id, by the privacy setting
    squad        TEXT    NOT NULL, -- squad now; '' when in none
    memberships  TEXT    NOT NULL, -- all squads with their days, JSON: [{squad, from, to}]
    birth_year   INTEGER,          -- year of birth; NULL when unknown or withheld
    sex          TEXT    NOT NULL, -- female or male: picks the TRIMP constants; '' when not given
    hrmax_bpm    REAL,             -- maximal heart rate; bpm
    hrmax_source TEXT    NOT NULL, -- measured, estimated or unknown
    hrmax_see_bpm REAL,            -- standard error of an estimate; bpm
    hrrest_bpm   REAL              -- resting heart rate; bpm
) STRICT;

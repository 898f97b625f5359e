-- +goose NO TRANSACTION
-- +goose Up
-- The club's athletes, a snapshot each time the club file's changed; an empty
-- one has a row without an id. Read the view athletes.
CREATE TABLE IF NOT EXISTS stored_athletes (
    athlete       String,            -- the club's id
    name          String,            -- name, initials or id, by the privacy setting
    squad         String,            -- squad now; '' when in none
    memberships   String,            -- all squads with their days, JSON: [{squad, from, to}]
    birth_year    Nullable(Int64),   -- year of birth; NULL when unknown or withheld
    sex           String,            -- female or male: picks the TRIMP constants; '' when not given
    hrmax_bpm     Nullable(Float64), -- maximal heart rate; bpm
    hrmax_source  String,            -- measured, estimated or unknown
    hrmax_see_bpm Nullable(Float64), -- standard error of an estimate; bpm
    hrrest_bpm    Nullable(Float64), -- resting heart rate; bpm
    snapshot      UInt64             -- number of the snapshot in the upper 32 bits, its digest in the lower
) ENGINE = ReplacingMergeTree ORDER BY (snapshot, athlete) SETTINGS index_granularity = 256;

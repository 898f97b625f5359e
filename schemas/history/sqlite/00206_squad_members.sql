-- +goose Up
-- Who belongs to which squad and since when: athletes.memberships, one row each.
CREATE VIEW IF NOT EXISTS squad_members AS
SELECT a.athlete,                                                   -- the club's id of the athlete
       m.value ->> 'squad' AS squad,                                -- the squad
       strftime('%Y-%m-%dT%H:%M:%fZ', m.value ->> 'from') AS since, -- first day, its midnight in the club's time zone; UTC; NULL when always
       CAST(1000 * unixepoch(m.value ->> 'from') AS INTEGER) AS since_ms, -- the same; milliseconds since 1970-01-01 UTC
       strftime('%Y-%m-%dT%H:%M:%fZ', m.value ->> 'to') AS until,   -- midnight after the last day; UTC; NULL when to this day
       CAST(1000 * unixepoch(m.value ->> 'to') AS INTEGER) AS until_ms -- the same; milliseconds since 1970-01-01 UTC
FROM athletes AS a
JOIN json_each(a.memberships) AS m;

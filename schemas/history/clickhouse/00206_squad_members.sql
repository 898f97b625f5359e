-- +goose NO TRANSACTION
-- +goose Up
-- Who belongs to which squad and since when: athletes.memberships, one row each.
CREATE VIEW IF NOT EXISTS squad_members AS
SELECT athlete,                                                     -- the club's id of the athlete
       visitParamExtractString(membership, 'squad') AS squad,       -- the squad
       if(visitParamHas(membership, 'from'), parseDateTimeBestEffortOrNull(visitParamExtractString(membership, 'from')), NULL) AS since, -- first day, its midnight in the club's time zone; UTC; NULL when always
       1000 * toInt64(if(visitParamHas(membership, 'from'), parseDateTimeBestEffortOrNull(visitParamExtractString(membership, 'from')), NULL)) AS since_ms, -- the same; milliseconds since 1970-01-01 UTC
       if(visitParamHas(membership, 'to'), parseDateTimeBestEffortOrNull(visitParamExtractString(membership, 'to')), NULL) AS until, -- midnight after the last day; UTC; NULL when to this day
       1000 * toInt64(if(visitParamHas(membership, 'to'), parseDateTimeBestEffortOrNull(visitParamExtractString(membership, 'to')), NULL)) AS until_ms -- the same; milliseconds since 1970-01-01 UTC
FROM (SELECT athlete, arrayJoin(extractAll(memberships, '[{][^{}]*[}]')) AS membership FROM athletes);

-- +goose NO TRANSACTION
-- +goose Up
-- One row per recording, as it stands now. Columns: see stored_loads; start is
-- the same instant in whole seconds, UTC. counts is 0 for a recording that
-- another of the same athlete and local date stands for, as when watch and
-- strap recorded one session: of two that share more than half of the shorter
-- one's time, the one with more valid minutes counts. A day's recordings are
-- gathered and looked at together, so that a condition on athlete or local_date
-- narrows what is read.
CREATE VIEW IF NOT EXISTS loads AS
SELECT l_file_id AS file_id, l_part AS part, athlete, l_squad AS squad, local_date,
       toDateTime(intDiv(l_start_ms, 1000), 'UTC') AS start, l_start_ms AS start_ms, l_duration_s AS duration_s,
       l_minutes AS minutes, l_coverage AS coverage, if(isNaN(l_mean_bpm), NULL, l_mean_bpm) AS mean_bpm,
       if(isNaN(l_peak_bpm), NULL, l_peak_bpm) AS peak_bpm, if(isNaN(l_trimp), NULL, l_trimp) AS trimp,
       if(isNaN(l_trimp_male), NULL, l_trimp_male) AS trimp_male,
       if(isNaN(l_trimp_female), NULL, l_trimp_female) AS trimp_female,
       if(isNaN(l_edwards), NULL, l_edwards) AS edwards, l_zone1_min AS zone1_min, l_zone2_min AS zone2_min,
       l_zone3_min AS zone3_min, l_zone4_min AS zone4_min, l_zone5_min AS zone5_min,
       if(isNaN(l_hrmax_bpm), NULL, l_hrmax_bpm) AS hrmax_bpm, l_hrmax_source AS hrmax_source,
       if(isNaN(l_hrmax_see_bpm), NULL, l_hrmax_see_bpm) AS hrmax_see_bpm, l_reasons AS reasons,
       l_reasons_json AS reasons_json, l_version AS version,
       if(l_stood_for, 0, 1) AS counts
FROM (
    SELECT athlete, local_date,
           groupArray(file_id) AS a_file_id, groupArray(part) AS a_part, groupArray(squad) AS a_squad,
           groupArray(start_ms) AS a_start_ms, groupArray(duration_s) AS a_duration_s,
           groupArray(minutes) AS a_minutes, groupArray(coverage) AS a_coverage, groupArray(mean_bpm) AS a_mean_bpm,
           groupArray(peak_bpm) AS a_peak_bpm, groupArray(trimp) AS a_trimp, groupArray(trimp_male) AS a_trimp_male,
           groupArray(trimp_female) AS a_trimp_female, groupArray(edwards) AS a_edwards,
           groupArray(zone1_min) AS a_zone1_min, groupArray(zone2_min) AS a_zone2_min,
           groupArray(zone3_min) AS a_zone3_min, groupArray(zone4_min) AS a_zone4_min,
           groupArray(zone5_min) AS a_zone5_min, groupArray(hrmax_bpm) AS a_hrmax_bpm,
           groupArray(hrmax_source) AS a_hrmax_source, groupArray(hrmax_see_bpm) AS a_hrmax_see_bpm,
           groupArray(reasons) AS a_reasons, groupArray(reasons_json) AS a_reasons_json,
           groupArray(version) AS a_version
    FROM stored_loads
    WHERE write_id NOT IN (SELECT write_id FROM stored_hidden GROUP BY write_id HAVING sum(hides) > 0)
    GROUP BY athlete, local_date
)
ARRAY JOIN
    a_file_id AS l_file_id, a_part AS l_part, a_squad AS l_squad, a_start_ms AS l_start_ms,
    a_duration_s AS l_duration_s, a_minutes AS l_minutes, a_coverage AS l_coverage, a_mean_bpm AS l_mean_bpm,
    a_peak_bpm AS l_peak_bpm, a_trimp AS l_trimp, a_trimp_male AS l_trimp_male, a_trimp_female AS l_trimp_female,
    a_edwards AS l_edwards, a_zone1_min AS l_zone1_min, a_zone2_min AS l_zone2_min, a_zone3_min AS l_zone3_min,
    a_zone4_min AS l_zone4_min, a_zone5_min AS l_zone5_min, a_hrmax_bpm AS l_hrmax_bpm,
    a_hrmax_source AS l_hrmax_source, a_hrmax_see_bpm AS l_hrmax_see_bpm, a_reasons AS l_reasons,
    a_reasons_json AS l_reasons_json, a_version AS l_version,
    arrayMap((f, p, s, d, m) -> arrayExists((of, op, os, od, om) ->
            least(os + 1000. * od, s + 1000. * d) - greatest(os, s) > 500. * least(od, d)
            AND (om > m OR om = m AND (of < f OR of = f AND op < p)),
        a_file_id, a_part, a_start_ms, a_duration_s, a_minutes),
    a_file_id, a_part, a_start_ms, a_duration_s, a_minutes) AS l_stood_for;

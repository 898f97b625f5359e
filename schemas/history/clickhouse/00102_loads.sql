-- +goose NO TRANSACTION
-- +goose Up
-- One row per recording, as it stands now. Columns: see stored_loads; start is
-- the same instant in whole seconds, UTC. counts is 0 for a recording that
-- another of the same athlete and local date stands for, as when watch and
-- strap recorded one session: of two that share more than half of the shorter
-- one's time, the one with more valid minutes counts.
CREATE VIEW IF NOT EXISTS loads AS
SELECT file_id, part, athlete, squad, local_date,
       toDateTime(intDiv(start_ms, 1000), 'UTC') AS start, start_ms, duration_s, minutes, coverage,
       if(isNaN(mean_bpm), NULL, mean_bpm) AS mean_bpm,
       if(isNaN(peak_bpm), NULL, peak_bpm) AS peak_bpm,
       if(isNaN(trimp), NULL, trimp) AS trimp,
       if(isNaN(trimp_male), NULL, trimp_male) AS trimp_male,
       if(isNaN(trimp_female), NULL, trimp_female) AS trimp_female,
       if(isNaN(edwards), NULL, edwards) AS edwards,
       zone1_min, zone2_min, zone3_min, zone4_min, zone5_min,
       if(isNaN(hrmax_bpm), NULL, hrmax_bpm) AS hrmax_bpm,
       hrmax_source,
       if(isNaN(hrmax_see_bpm), NULL, hrmax_see_bpm) AS hrmax_see_bpm,
       reasons, reasons_json, version,
       if((file_id, part) IN (
           SELECT file_id, part
           FROM (
               SELECT athlete, local_date, file_id, part, start_ms, duration_s, minutes
               FROM stored_loads FINAL
               WHERE write_id IN (SELECT write_id FROM stored_files FINAL)
           ) AS l ALL INNER JOIN (
               SELECT athlete, local_date, file_id AS o_file_id, part AS o_part, start_ms AS o_start_ms,
                      duration_s AS o_duration_s, minutes AS o_minutes
               FROM stored_loads FINAL
               WHERE write_id IN (SELECT write_id FROM stored_files FINAL)
           ) AS o USING (athlete, local_date)
           WHERE least(o_start_ms + 1000. * o_duration_s, start_ms + 1000. * duration_s) - greatest(o_start_ms, start_ms)
                 > 500. * least(o_duration_s, duration_s)
             AND (o_minutes > minutes OR o_minutes = minutes AND (o_file_id < file_id OR o_file_id = file_id AND o_part < part))
       ), 0, 1) AS counts
FROM stored_loads FINAL
WHERE write_id IN (SELECT write_id FROM stored_files FINAL);

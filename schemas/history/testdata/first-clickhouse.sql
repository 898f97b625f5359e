-- The tables of the first schema on ClickHouse, as its migrations 1 to 18 make them: what upgrade_test.go begins with.

CREATE TABLE IF NOT EXISTS stored_files (
    file_id      String,
    folder       String,
    path         String,
    squad        String,
    modified_ms  Int64,
    seen_ms      Int64,
    size_bytes   Int64,
    file_format  String,
    state        String,
    reason       String,
    tests_found  Int64,
    traces_found Int64,
    version      UInt64,
    write_id     UInt64
) ENGINE = ReplacingMergeTree(version) ORDER BY file_id SETTINGS index_granularity = 64;

CREATE VIEW IF NOT EXISTS files AS
SELECT file_id, folder, path, squad,
       toDateTime(intDiv(modified_ms, 1000), 'UTC') AS modified, modified_ms,
       toDateTime(intDiv(seen_ms, 1000), 'UTC') AS seen, seen_ms,
       size_bytes, file_format, state, reason, tests_found, traces_found, version
FROM stored_files FINAL;

CREATE TABLE IF NOT EXISTS stored_tests (
    test_id           String,
    file_id           String,
    part              String,
    athlete           String,
    squad             String,
    protocol          String,
    protocol_version  String,
    session           String,
    start_ms          Int64,
    start_source      String,
    start_confidence  Float64,
    duration_s        Float64,
    hrex_bpm          Float64,
    hrex_pct          Float64,
    hrex_se_bpm       Float64,
    hrmax_bpm         Float64,
    hrmax_source      String,
    hrmax_see_bpm     Float64,
    peak_bpm          Float64,
    end_hr_bpm        Float64,
    hrr60_bpm         Float64,
    hrr60_pct_end     Float64,
    hrr60_se_bpm      Float64,
    recoveries        String,
    stages            String,
    recovery_tau_s    Float64,
    recovery_tau_se_s Float64,
    band_s            Float64,
    speed_kmh         Float64,
    speed_cv_pct      Float64,
    coverage          Float64,
    quality           String,
    reasons           String,
    reasons_json      String,
    microcycle_day    String,
    surface           String,
    staff             String,
    scorer_version    Int64,
    version           UInt64,
    write_id          UInt64
) ENGINE = ReplacingMergeTree ORDER BY (athlete, test_id, write_id) SETTINGS index_granularity = 1024;

CREATE VIEW IF NOT EXISTS tests AS
SELECT test_id, file_id, part, athlete, squad, protocol, protocol_version, session,
       toDateTime(intDiv(start_ms, 1000), 'UTC') AS start, start_ms, start_source, start_confidence, duration_s,
       if(isNaN(hrex_bpm), NULL, hrex_bpm) AS hrex_bpm,
       if(isNaN(hrex_pct), NULL, hrex_pct) AS hrex_pct,
       if(isNaN(hrex_se_bpm), NULL, hrex_se_bpm) AS hrex_se_bpm,
       if(isNaN(hrmax_bpm), NULL, hrmax_bpm) AS hrmax_bpm,
       hrmax_source,
       if(isNaN(hrmax_see_bpm), NULL, hrmax_see_bpm) AS hrmax_see_bpm,
       if(isNaN(peak_bpm), NULL, peak_bpm) AS peak_bpm,
       if(isNaN(end_hr_bpm), NULL, end_hr_bpm) AS end_hr_bpm,
       if(isNaN(hrr60_bpm), NULL, hrr60_bpm) AS hrr60_bpm,
       if(isNaN(hrr60_pct_end), NULL, hrr60_pct_end) AS hrr60_pct_end,
       if(isNaN(hrr60_se_bpm), NULL, hrr60_se_bpm) AS hrr60_se_bpm,
       recoveries,
       stages,
       if(isNaN(recovery_tau_s), NULL, recovery_tau_s) AS recovery_tau_s,
       if(isNaN(recovery_tau_se_s), NULL, recovery_tau_se_s) AS recovery_tau_se_s,
       if(isNaN(band_s), NULL, band_s) AS band_s,
       if(isNaN(speed_kmh), NULL, speed_kmh) AS speed_kmh,
       if(isNaN(speed_cv_pct), NULL, speed_cv_pct) AS speed_cv_pct,
       coverage,
       quality,
       reasons,
       reasons_json,
       microcycle_day,
       surface,
       staff,
       scorer_version,
       version
FROM stored_tests FINAL
WHERE write_id IN (SELECT write_id FROM stored_files FINAL);

CREATE TABLE IF NOT EXISTS stored_traces (
    test_id   String,
    athlete   String,
    file_id   String,
    trace Nested (
    second    Int32,
    raw_bpm   Float64,
    clean_bpm Float64,
    dropped   String,
    speed_ms  Float64
    ),
    write_id  UInt64
) ENGINE = ReplacingMergeTree ORDER BY (test_id, write_id) SETTINGS index_granularity = 64;

CREATE VIEW IF NOT EXISTS trace_seconds AS
SELECT test_id, athlete, trace.second AS second,
       if(isNaN(trace.raw_bpm), NULL, trace.raw_bpm) AS raw_bpm,
       if(isNaN(trace.clean_bpm), NULL, trace.clean_bpm) AS clean_bpm,
       trace.dropped AS dropped,
       if(isNaN(trace.speed_ms), NULL, trace.speed_ms) AS speed_ms
FROM (
    SELECT test_id, athlete, trace.second, trace.raw_bpm, trace.clean_bpm, trace.dropped, trace.speed_ms
    FROM stored_traces FINAL
    WHERE write_id IN (SELECT write_id FROM stored_files FINAL)
)
ARRAY JOIN trace;

CREATE TABLE IF NOT EXISTS stored_assessments (
    test_id          String,
    athlete          String,
    squad            String,
    protocol         String,
    session          String,
    start_ms         Int64,
    rules            String,
    fired            String,
    comparison Nested (
    measure          String,
    seconds          Int64,
    unit             String,
    value            Float64,
    state            String,
    previous         Float64,
    prev_change      Float64,
    prev_pct         Float64,
    previous_time_ms Int64,
    baseline_n       Int64,
    baseline_min_n   Int64,
    baseline_from_ms Int64,
    baseline_to_ms   Int64,
    baseline_mean    Float64,
    baseline_sd      Float64,
    sd_used          Float64,
    sd_method        String,
    change           Float64,
    change_pct       Float64,
    z                Float64,
    pred_low         Float64,
    pred_high        Float64,
    te               Float64,
    swc              Float64,
    mdc              Float64,
    prob_change      Float64
    ),
    version          UInt64
) ENGINE = ReplacingMergeTree(version) ORDER BY test_id SETTINGS index_granularity = 256;

CREATE VIEW IF NOT EXISTS assessments AS
SELECT test_id, athlete, squad, protocol, session,
       toDateTime(intDiv(start_ms, 1000), 'UTC') AS start, start_ms,
       comparison.measure AS measure,
       comparison.seconds AS seconds,
       comparison.unit AS unit,
       if(isNaN(comparison.value), NULL, comparison.value) AS value,
       comparison.state AS state,
       if(isNaN(comparison.previous), NULL, comparison.previous) AS previous,
       if(isNaN(comparison.prev_change), NULL, comparison.prev_change) AS prev_change,
       if(isNaN(comparison.prev_pct), NULL, comparison.prev_pct) AS prev_pct,
       if(comparison.previous_time_ms = -62135596800000, NULL, toDateTime(intDiv(comparison.previous_time_ms, 1000), 'UTC')) AS previous_time,
       if(comparison.previous_time_ms = -62135596800000, NULL, comparison.previous_time_ms) AS previous_time_ms,
       comparison.baseline_n AS baseline_n,
       comparison.baseline_min_n AS baseline_min_n,
       if(comparison.baseline_from_ms = -62135596800000, NULL, toDateTime(intDiv(comparison.baseline_from_ms, 1000), 'UTC')) AS baseline_from,
       if(comparison.baseline_from_ms = -62135596800000, NULL, comparison.baseline_from_ms) AS baseline_from_ms,
       if(comparison.baseline_to_ms = -62135596800000, NULL, toDateTime(intDiv(comparison.baseline_to_ms, 1000), 'UTC')) AS baseline_to,
       if(comparison.baseline_to_ms = -62135596800000, NULL, comparison.baseline_to_ms) AS baseline_to_ms,
       if(isNaN(comparison.baseline_mean), NULL, comparison.baseline_mean) AS baseline_mean,
       if(isNaN(comparison.baseline_sd), NULL, comparison.baseline_sd) AS baseline_sd,
       if(isNaN(comparison.sd_used), NULL, comparison.sd_used) AS sd_used,
       comparison.sd_method AS sd_method,
       if(isNaN(comparison.change), NULL, comparison.change) AS change,
       if(isNaN(comparison.change_pct), NULL, comparison.change_pct) AS change_pct,
       if(isNaN(comparison.z), NULL, comparison.z) AS z,
       if(isNaN(comparison.pred_low), NULL, comparison.pred_low) AS pred_low,
       if(isNaN(comparison.pred_high), NULL, comparison.pred_high) AS pred_high,
       if(isNaN(comparison.te), NULL, comparison.te) AS te,
       if(isNaN(comparison.swc), NULL, comparison.swc) AS swc,
       if(isNaN(comparison.mdc), NULL, comparison.mdc) AS mdc,
       if(isNaN(comparison.prob_change), NULL, comparison.prob_change) AS prob_change,
       rules, fired, version
FROM (
    SELECT test_id, athlete, squad, protocol, session, start_ms, rules, fired, version, comparison.measure,
           comparison.seconds, comparison.unit, comparison.value, comparison.state, comparison.previous,
           comparison.prev_change, comparison.prev_pct, comparison.previous_time_ms, comparison.baseline_n,
           comparison.baseline_min_n, comparison.baseline_from_ms, comparison.baseline_to_ms,
           comparison.baseline_mean, comparison.baseline_sd, comparison.sd_used, comparison.sd_method,
           comparison.change, comparison.change_pct, comparison.z, comparison.pred_low, comparison.pred_high,
           comparison.te, comparison.swc, comparison.mdc, comparison.prob_change
    FROM stored_assessments FINAL
    WHERE test_id IN (SELECT test_id FROM stored_tests WHERE write_id IN (SELECT write_id FROM stored_files FINAL))
)
ARRAY JOIN comparison;

CREATE TABLE IF NOT EXISTS stored_alerts (
    alert_id String,
    rule     String,
    urgency  String,
    test_id  String,
    file_id  String,
    athlete  String,
    squad    String,
    protocol String,
    session  String,
    about_ms Int64,
    state    String,
    told     Int64,
    text     String,
    version  UInt64
) ENGINE = ReplacingMergeTree(version) ORDER BY alert_id SETTINGS index_granularity = 256;

CREATE VIEW IF NOT EXISTS alerts AS
SELECT alert_id, rule, urgency, test_id, file_id, athlete, squad, protocol, session,
       toDateTime(intDiv(about_ms, 1000), 'UTC') AS about, about_ms, state, told, text, version
FROM stored_alerts FINAL;

CREATE TABLE IF NOT EXISTS stored_messages (
    message_id String,
    alert_id   String,
    channel    String,
    thread     String,
    text       String,
    state      String,
    reference  String,
    reason     String,
    created_ms Int64,
    sent_ms    Nullable(Int64),
    attempts   Int64,
    rank       UInt64
) ENGINE = ReplacingMergeTree(rank) ORDER BY message_id SETTINGS index_granularity = 256;

CREATE VIEW IF NOT EXISTS messages AS
SELECT message_id, alert_id, channel, thread, text, state, reference, reason,
       toDateTime(intDiv(created_ms, 1000), 'UTC') AS created, created_ms,
       toDateTime(intDiv(sent_ms, 1000), 'UTC') AS sent, sent_ms, attempts
FROM stored_messages FINAL;

CREATE TABLE IF NOT EXISTS stored_corrections (
    correction_id String,
    test_id       String,
    file_id       String,
    action        String,
    new_start_ms  Nullable(Int64),
    who           String,
    made_ms       Int64,
    why           String
) ENGINE = ReplacingMergeTree ORDER BY correction_id SETTINGS index_granularity = 256;

CREATE VIEW IF NOT EXISTS corrections AS
SELECT correction_id, test_id, file_id, action,
       toDateTime(intDiv(new_start_ms, 1000), 'UTC') AS new_start, new_start_ms, who,
       toDateTime(intDiv(made_ms, 1000), 'UTC') AS made, made_ms, why
FROM stored_corrections FINAL;

CREATE TABLE IF NOT EXISTS stored_athletes (
    athlete       String,
    name          String,
    squad         String,
    memberships   String,
    birth_year    Nullable(Int64),
    sex           String,
    hrmax_bpm     Nullable(Float64),
    hrmax_source  String,
    hrmax_see_bpm Nullable(Float64),
    hrrest_bpm    Nullable(Float64),
    snapshot      UInt64
) ENGINE = ReplacingMergeTree ORDER BY (snapshot, athlete) SETTINGS index_granularity = 256;

CREATE VIEW IF NOT EXISTS athletes AS
SELECT athlete, name, squad, memberships, birth_year, sex, hrmax_bpm, hrmax_source, hrmax_see_bpm, hrrest_bpm
FROM stored_athletes FINAL
WHERE snapshot = (SELECT max(snapshot) FROM stored_athletes) AND athlete != '';

CREATE TABLE IF NOT EXISTS stored_slots (
    job     String,
    slot    String,
    done_ms Int64
) ENGINE = MergeTree ORDER BY (job, slot) SETTINGS index_granularity = 256;

CREATE VIEW IF NOT EXISTS slots AS
SELECT job, slot, toDateTime(intDiv(min_ms, 1000), 'UTC') AS done, min_ms AS done_ms
FROM (SELECT job, slot, min(done_ms) AS min_ms FROM stored_slots GROUP BY job, slot);

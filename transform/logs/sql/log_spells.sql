-- table: log_spells
-- grain: one row per spell: samples of a unit with no gap over spell_gap_s between them
-- about: The unit was on throughout. A spell that runs through 3 in the morning is cut there.
-- column: unit_id | key, with unit_day and spell_no
-- column: unit_day | see log_hours
-- column: spell_no | from 1 in each unit-day
-- column: started_at | its first sample
-- column: ended_at | its last sample
-- column: samples | samples in it
-- column: sensing | of these, with the head live
-- column: stretches | stretches in a row with one gain and the head live or not
-- column: short_stretches | samples with the head live in stretches shorter than least_hold_s: many of them, where a clock was set back over a time already logged
-- column: last_sensing_s | seconds from the last sample with the head live to the end; all of the spell where there was none
-- column: battery_start_pct | battery at its first sample that notes it
-- column: battery_end_pct | battery at its last sample that notes it
WITH stretches AS (
    SELECT day_no, spell_no, stretch_no, min(t) AS first_t, max(t) AS last_t, count(*) AS samples, bool_or(sensing) AS sensing,
           arg_min(battery_pct, t) FILTER (WHERE battery_pct IS NOT NULL) AS first_battery,
           arg_max(battery_pct, t) FILTER (WHERE battery_pct IS NOT NULL) AS last_battery
    FROM log_samples
    GROUP BY day_no, spell_no, stretch_no
), spells AS (
    SELECT s.day_no, s.spell_no, min(s.first_t) AS first_t, max(s.last_t) AS last_t, sum(s.samples) AS samples,
           coalesce(sum(s.samples) FILTER (WHERE s.sensing), 0) AS sensing, count(*) AS stretches,
           coalesce(sum(s.samples) FILTER (WHERE s.sensing AND s.last_t - s.first_t < p.least_hold_s * 1000000), 0) AS short_stretches,
           max(s.last_t) FILTER (WHERE s.sensing) AS last_sensing,
           arg_min(s.first_battery, s.first_t) FILTER (WHERE s.first_battery IS NOT NULL) AS battery_start_pct,
           arg_max(s.last_battery, s.last_t) FILTER (WHERE s.last_battery IS NOT NULL) AS battery_end_pct
    FROM stretches s
    CROSS JOIN log_params p
    GROUP BY s.day_no, s.spell_no
)
SELECT d.unit_id, d.unit_day, CAST(s.spell_no AS INTEGER) AS spell_no, make_timestamptz(s.first_t) AS started_at, make_timestamptz(s.last_t) AS ended_at,
       CAST(s.samples AS BIGINT) AS samples, CAST(s.sensing AS BIGINT) AS sensing, s.stretches, CAST(s.short_stretches AS BIGINT) AS short_stretches,
       (s.last_t - coalesce(s.last_sensing, s.first_t)) / 1e6 AS last_sensing_s, s.battery_start_pct, s.battery_end_pct
FROM spells s
JOIN log_stale d ON d.day_no = s.day_no
ORDER BY d.unit_id, d.unit_day, s.spell_no

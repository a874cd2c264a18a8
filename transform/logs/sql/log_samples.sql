-- table: log_samples
-- grain: one row per sample of the unit-days being made
-- about: Numbered in order of time, whatever order they came in. A sample that stands at a moment already held was
--        settled when it was loaded. Time that leaps makes a gap, and a gap ends what it follows.
-- column: day_no | stands for unit and unit_day
-- column: t | microseconds since 1970
-- column: nth | place in the unit-day, from 1
-- column: spell_no | the spell, from 1
-- column: stretch_no | samples in a row with the same gain and the head live or not, no gap over hold_gap_s; from 1
WITH taken AS (
    SELECT f.day_no, epoch_us(l.logged_at) AS t, l.sensing, l.gain, l.level_pct, l.battery_pct
    FROM held_unit_log l
    JOIN log_fresh f ON f.unit_id = l.unit_id AND f.hour_no = epoch_us(l.logged_at) // 3600000000
    WHERE f.chunk = $chunk AND l.unit_id BETWEEN $first_unit AND $last_unit
), stepped AS (
    SELECT *, t - lag(t) OVER w AS gap,
           sensing IS DISTINCT FROM lag(sensing) OVER w OR gain IS DISTINCT FROM lag(gain) OVER w AS other
    FROM taken
    WINDOW w AS (PARTITION BY day_no ORDER BY t)
)
SELECT s.day_no, s.t, s.sensing, s.gain, s.level_pct, s.battery_pct, row_number() OVER w AS nth,
       sum(CASE WHEN s.gap IS NULL OR s.gap > p.spell_gap_s * 1000000 THEN 1 ELSE 0 END) OVER w AS spell_no,
       sum(CASE WHEN s.gap IS NULL OR s.gap > p.hold_gap_s * 1000000 OR s.other THEN 1 ELSE 0 END) OVER w AS stretch_no
FROM stepped s
CROSS JOIN log_params p
WINDOW w AS (PARTITION BY s.day_no ORDER BY s.t)

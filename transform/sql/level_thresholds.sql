-- table: level_thresholds
-- grain: one row per material and gain step whose calls follow the level, and one for all together
-- about: At which level readings were called active rather than clear in the year that ends with the month. Later months
--        do not change it.
-- column: material | null, with gain, for all together
-- column: threshold | percent of full scale
WITH called AS (
    SELECT t.month, y.material, y.gain, CAST(floor(y.level_pct) AS INTEGER) AS level, y.call, y.n
    FROM these_months t
    JOIN year_material_levels y ON y.month BETWEEN t.year_from AND t.month
), levels AS (
    SELECT c.month, c.material, c.gain, c.level, coalesce(sum(c.n) FILTER (WHERE c.call = 'active'), 0) AS active, coalesce(sum(c.n) FILTER (WHERE c.call = 'clear'), 0) AS clear
    FROM called c
    GROUP BY c.month, c.material, c.gain, c.level
    UNION ALL
    SELECT c.month, NULL, NULL, c.level, coalesce(sum(c.n) FILTER (WHERE c.call = 'active'), 0), coalesce(sum(c.n) FILTER (WHERE c.call = 'clear'), 0)
    FROM called c
    GROUP BY c.month, c.level
), summed AS (
    SELECT l.month, l.material, l.gain, l.level, lag(l.level) OVER w AS below,
           sum(l.active) OVER s AS all_active, sum(l.clear) OVER s AS all_clear,
           sum(l.active) OVER w - l.active AS active_below, sum(l.clear) OVER w - l.clear AS clear_below
    FROM levels l
    WINDOW s AS (PARTITION BY l.month, l.material, l.gain), w AS (PARTITION BY l.month, l.material, l.gain ORDER BY l.level)
), parted AS (
    -- How well "active from this level on" parts the calls: Youden's index (1950) times both counts.
    SELECT s.*, (s.all_active - s.active_below) * s.all_clear - (s.all_clear - s.clear_below) * s.all_active AS parts
    FROM summed s
    CROSS JOIN params p
    WHERE s.all_active >= p.level_cases AND s.all_clear >= p.level_cases
), best AS (
    SELECT t.*, max(t.parts) OVER (PARTITION BY t.month, t.material, t.gain) AS most
    FROM parted t
)
-- Between the level that parts best and the next one below that occurs; calls that hardly follow the level have none.
SELECT b.month, b.material, b.gain, (min(coalesce(b.below + 1, b.level)) + max(b.level)) / 2.0 AS threshold
FROM best b
WHERE b.parts = b.most AND 2 * b.most >= b.all_active * b.all_clear
GROUP BY b.month, b.material, b.gain
ORDER BY b.month, b.material NULLS FIRST, b.gain

-- table: level_cuts
-- grain: one row per material with at least two active readings in the year that ends with the month
-- about: From which level on a reading is in the top twentieth of the material's active readings: the lowest level whose
--        percent rank is at least 0.95. Later months do not change it.
-- column: level_pct | percent of full scale
WITH levels AS (
    SELECT t.month, y.material, y.level_pct, sum(y.n) AS n
    FROM these_months t
    JOIN year_material_levels y ON y.month BETWEEN t.year_from AND t.month
    WHERE y.call = 'active'
    GROUP BY t.month, y.material, y.level_pct
), ranked AS (
    SELECT l.month, l.material, l.level_pct, sum(l.n) OVER (PARTITION BY l.month, l.material ORDER BY l.level_pct) - l.n AS below, sum(l.n) OVER (PARTITION BY l.month, l.material) AS all_n
    FROM levels l
)
SELECT r.month, r.material, min(r.level_pct) AS level_pct
FROM ranked r
WHERE r.all_n > 1 AND 20 * r.below >= 19 * (r.all_n - 1)
GROUP BY r.month, r.material
ORDER BY r.month, r.material

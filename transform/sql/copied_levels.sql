-- table: copied_levels
-- grain: one row per breach; the chances kept in one inspection are counted together in one row
-- about: Whether the levels of a point are those of an earlier one, where that is too improbable to be chance. The earlier
--        ones are those of the visit and, in the year that ends with the month, of the same person and of the same point;
--        later months do not change it.
-- column: check_id | copied_levels
-- column: point_id | of a breach; empty for chances kept
-- column: seen | what a breach shows, in words
-- column: n | how many chances the row stands for
WITH levels AS (
    -- How often each level occurs among the calls of its kind by one technician: at a coarse resolution, often.
    SELECT t.month, y.technician_id, y.call, y.level_pct, sum(y.n) AS n, sum(sum(y.n)) OVER (PARTITION BY t.month, y.technician_id, y.call) AS all_n
    FROM these_months t
    JOIN year_technician_levels y ON y.month BETWEEN t.year_from AND t.month
    WHERE NOT y.control
    GROUP BY t.month, y.technician_id, y.call, y.level_pct
), chances AS (
    -- bits: how improbable the level is, in thousandths of a bit, so that sums stay whole numbers.
    SELECT l.month, l.technician_id, l.call, l.level_pct, CAST(round(1000 * log2(l.all_n * 1.0 / l.n)) AS BIGINT) AS bits
    FROM levels l
), weights AS (
    SELECT r.inspection_id, r.point_id, sum(c.bits) AS bits
    FROM these_readings r
    JOIN visits v ON v.inspection_id = r.inspection_id
    JOIN chances c ON c.month = v.month AND c.technician_id = v.technician_id AND c.call = r.call AND c.level_pct = r.level_pct
    WHERE NOT coalesce(r.control, false)
    GROUP BY r.inspection_id, r.point_id
), by_person AS (
    SELECT t.month, b.technician_id, b.readings, count(*) AS n
    FROM these_months t
    JOIN year_level_sequences b ON b.month >= t.year_from AND b.month < t.month
    GROUP BY t.month, b.technician_id, b.readings
), at_point AS (
    SELECT s.inspection_id, s.point_id, count(*) AS n
    FROM level_sequences s
    JOIN these_months t ON t.month = s.month
    JOIN year_level_sequences b ON b.site_id = s.site_id AND b.point_id = s.point_id AND b.readings = s.readings AND b.month >= t.year_from AND b.month < t.month
    GROUP BY s.inspection_id, s.point_id
), numbered AS (
    -- How many sequences as long come before: in the visit, and in the month by the person and of the point.
    SELECT q.inspection_id, q.point_id, q.technician_id, q.site_id, q.month, q.local_date, q.began, q.readings, q.levels,
           row_number() OVER (PARTITION BY q.inspection_id, q.readings ORDER BY q.began, q.point_id) - 1 AS of_visit,
           row_number() OVER (PARTITION BY q.month, q.technician_id, q.readings ORDER BY q.began, q.inspection_id, q.point_id) - 1 AS of_person,
           row_number() OVER (PARTITION BY q.month, q.site_id, q.point_id, q.readings ORDER BY q.began, q.inspection_id) - 1 AS of_point
    FROM level_sequences q
), weighed AS (
    SELECT n.inspection_id, n.point_id, n.technician_id, n.site_id, n.month, n.local_date, n.began, n.levels, g.bits,
           n.of_visit, n.of_person + coalesce(b.n, 0) AS of_person, n.of_point + coalesce(a.n, 0) AS of_point
    FROM numbered n
    JOIN weights g ON g.inspection_id = n.inspection_id AND g.point_id = n.point_id
    LEFT JOIN by_person b ON b.month = n.month AND b.technician_id = n.technician_id AND b.readings = n.readings
    LEFT JOIN at_point a ON a.inspection_id = n.inspection_id AND a.point_id = n.point_id
), told AS (
    SELECT w.*, t.year_from, w.of_visit > 0 AND w.bits >= 1000 * log2(greatest(w.of_visit, 1) / p.copy_chance) AS visit_tells,
           w.of_person > 0 AND w.bits >= 1000 * log2(greatest(w.of_person, 1) / p.copy_chance) AS person_tells,
           w.of_point > 0 AND w.bits >= 1000 * log2(greatest(w.of_point, 1) / p.copy_chance) AS point_tells
    FROM weighed w
    JOIN these_months t ON t.month = w.month
    CROSS JOIN params p
), chance AS (
    SELECT t.*
    FROM told t
    WHERE t.visit_tells OR t.person_tells OR t.point_tells
), alike AS (
    -- Earlier sequences that are the same, of those that tell.
    SELECT c.inspection_id, c.point_id, b.began, b.inspection_id AS as_inspection, b.point_id AS as_point,
           c.visit_tells AND b.inspection_id = c.inspection_id AS in_visit, c.person_tells AS by_person, false AS at_point
    FROM chance c
    JOIN year_level_sequences b ON b.technician_id = c.technician_id AND b.levels = c.levels AND b.month BETWEEN c.year_from AND c.month
    WHERE b.month < c.month OR b.began < c.began OR b.began = c.began AND (b.inspection_id < c.inspection_id OR b.inspection_id = c.inspection_id AND b.point_id < c.point_id)
    UNION ALL
    SELECT c.inspection_id, c.point_id, b.began, b.inspection_id, b.point_id, false, false, c.point_tells
    FROM chance c
    JOIN year_level_sequences b ON b.site_id = c.site_id AND b.point_id = c.point_id AND b.levels = c.levels AND b.month BETWEEN c.year_from AND c.month
    WHERE b.month < c.month OR b.began < c.began OR b.began = c.began AND b.inspection_id < c.inspection_id
), newest AS (
    SELECT a.inspection_id, a.point_id, arg_max(a.as_point, (a.began, a.as_point)) FILTER (WHERE a.in_visit) AS in_visit,
           arg_max(a.as_inspection, (a.began, a.as_inspection)) FILTER (WHERE a.by_person) AS by_person,
           arg_max(a.as_inspection, (a.began, a.as_inspection)) FILTER (WHERE a.at_point) AS at_point
    FROM alike a
    GROUP BY a.inspection_id, a.point_id
), judged AS (
    SELECT c.inspection_id, c.point_id, c.levels, n.in_visit, n.by_person, n.at_point, coalesce(n.in_visit, n.by_person, n.at_point) IS NOT NULL AS breach
    FROM chance c
    LEFT JOIN newest n ON n.inspection_id = c.inspection_id AND n.point_id = c.point_id
), events AS (
    SELECT 'copied_levels' AS check_id, inspection_id, CAST(NULL AS VARCHAR) AS point_id, CAST(NULL AS VARCHAR) AS reading_id, false AS breach, CAST(NULL AS VARCHAR) AS seen, count(*) AS n
    FROM judged
    WHERE NOT breach
    GROUP BY inspection_id
    UNION ALL
    SELECT 'copied_levels', inspection_id, point_id, NULL, true,
           concat('levels ', levels, ' as ', CASE WHEN in_visit IS NOT NULL THEN concat('at point ', in_visit, ' of the same visit')
                                                  WHEN by_person IS NOT NULL THEN concat('in inspection ', by_person) ELSE concat('at the same point in inspection ', at_point) END), 1
    FROM judged
    WHERE breach
)
SELECT e.check_id, v.technician_id, v.site_id, v.month, v.local_date, e.inspection_id, e.point_id, e.reading_id, e.breach, e.seen, e.n
FROM events e
JOIN visits v ON v.inspection_id = e.inspection_id
ORDER BY v.month, e.inspection_id, e.check_id, e.breach, e.point_id, e.reading_id

-- The least that makes the count table of calls: the last decided reading of each point in each inspection, what a finding
-- says of it within 60 days, and how many there are of each kind. {inspections}, {readings}, {findings}, {regions} and
-- {materials} stand for the store's parts.
WITH last AS (
    SELECT inspection_id, point_id, arg_max(call, taken_at) AS call, arg_max(material, taken_at) AS material, arg_max(gain, taken_at) AS gain,
           arg_max(unit_id, taken_at) AS unit_id, arg_max(thickness_mm, taken_at) AS thickness_mm
    FROM {readings}
    WHERE call <> 'unsure' AND NOT coalesce(control, false)
    GROUP BY inspection_id, point_id
), placed AS (
    SELECT l.*, i.site_id, i.region, i.technician_id, i.purpose, CAST(i.started_at AT TIME ZONE r.time_zone AS DATE) AS local_date
    FROM last l
    JOIN {inspections} i ON i.inspection_id = l.inspection_id
    JOIN {regions} r ON r.region = i.region
), found AS (
    SELECT p.inspection_id, p.point_id, bool_or(f.result = 'active') AS active
    FROM placed p
    JOIN {findings} f ON f.site_id = p.site_id AND f.point_id = p.point_id AND f.found_on BETWEEN p.local_date AND p.local_date + 60
    GROUP BY p.inspection_id, p.point_id
)
SELECT strftime(p.local_date, '%Y-%m') AS month, p.region, p.technician_id, p.purpose, p.unit_id, p.material, m.density_class, p.thickness_mm // 30 AS band, p.gain, p.call,
       CASE WHEN f.active THEN 'active' WHEN f.active IS NULL THEN 'unverified' ELSE 'not_active' END AS truth, count(*) AS n
FROM placed p
JOIN {materials} m ON m.material = p.material
LEFT JOIN found f ON f.inspection_id = p.inspection_id AND f.point_id = p.point_id
GROUP BY ALL
ORDER BY ALL

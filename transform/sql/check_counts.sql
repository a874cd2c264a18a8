-- table: check_counts
-- grain: one row per check, technician and cluster with a chance
-- about: How often each check of the protocol could have been breached, and was.
-- column: check_id | the check
-- column: site_key | the cluster: the site, see visits, or its number after division by the circumstance_groups of params
-- column: chances | how often it could have been breached
-- column: breaches | how often it was
WITH events AS (
    SELECT check_id, technician_id, inspection_id, month, breach, n FROM protocol_readings
    UNION ALL
    SELECT check_id, technician_id, inspection_id, month, breach, n FROM protocol_points
    UNION ALL
    SELECT check_id, technician_id, inspection_id, month, breach, n FROM protocol_calls
    UNION ALL
    SELECT check_id, technician_id, inspection_id, month, breach, n FROM copied_levels
    UNION ALL
    SELECT check_id, technician_id, inspection_id, month, breach, n FROM protocol_visits
)
SELECT e.month, e.check_id, e.technician_id, v.site_key % p.circumstance_groups AS site_key, CAST(sum(e.n) AS BIGINT) AS chances,
       CAST(coalesce(sum(e.n) FILTER (WHERE e.breach), 0) AS BIGINT) AS breaches
FROM events e
JOIN visits v ON v.inspection_id = e.inspection_id
CROSS JOIN params p
GROUP BY e.month, e.check_id, e.technician_id, v.site_key % p.circumstance_groups
ORDER BY e.month, e.check_id, e.technician_id, site_key

-- table: condition_counts
-- grain: one row per technician, cluster and conditions of point-visits, verified active calls apart
-- about: How calls held up under the same conditions, for models that compare people.
-- column: site_key | the cluster: the site, see visits, or its number after division by the pooled_groups of params
-- column: false_alarm_known | true for active calls that a decisive finding tells about
-- column: n | point-visits
-- column: active | those of them called active; clear likewise
-- column: false_alarms | point-visits called active where none was found by looking
-- column: clear_verified | point-visits called clear that a decisive finding tells about
-- column: missed | those of these where activity was found
WITH points AS (
    SELECT v.month, v.technician_id, v.site_key % p.pooled_groups AS site_key, v.material, v.thickness_band, v.season, v.region, v.purpose, v.called_elsewhere,
           v.gain, v.first_gain, v.call = 'active' AND v.verified_by = 'decisive' AS false_alarm_known, v.call, v.verified_by, v.truth
    FROM point_visits v
    CROSS JOIN params p
)
SELECT month, technician_id, site_key, material, thickness_band, season, region, purpose, called_elsewhere, gain, first_gain, false_alarm_known,
       count(*) AS n, count(*) FILTER (WHERE call = 'active') AS active,
       count(*) FILTER (WHERE false_alarm_known AND truth = 'not_active') AS false_alarms,
       count(*) FILTER (WHERE call = 'clear') AS clear,
       count(*) FILTER (WHERE call = 'clear' AND verified_by = 'decisive') AS clear_verified,
       count(*) FILTER (WHERE call = 'clear' AND verified_by = 'decisive' AND truth = 'active') AS missed
FROM points
GROUP BY month, technician_id, site_key, material, thickness_band, season, region, purpose, called_elsewhere, gain, first_gain, false_alarm_known
ORDER BY month, technician_id, site_key, material, thickness_band, season, region, purpose, called_elsewhere, gain, first_gain, false_alarm_known

-- name: series_patterns
-- title: What the readings of a point say about its active call
-- question: Does an active call turn out a false alarm more often where movement vanished at a lower gain, was not shown again, was shown at a control or at many points at once, or where the level is far above the usual?
-- grain: one row per sign and what it says
-- reads: checked_calls
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- param: parts | calls are those at one site in so many; 1 for all
-- column: sign | lower_gain: what the newest decided reading at a lower gain said (shown, vanished, not_tried). shown_again: whether another reading of the point was active. control_moved: whether a control reading of the visit was active. many_at_once: whether at least three points, and half of the visit's, were called active. level_far_above: whether the level is in the top twentieth of the material's active readings
-- column: value | what the sign says
-- column: active_verified | verified active calls
-- column: false_alarms | false alarms among them
-- column: rate | share
-- column: low | lower end of the 95% interval, sites as clusters (Korn and Graubard 1998)
-- column: high | upper end of it
-- column: expected | false alarms had these calls gone as all calls of the same technicians and regions
-- column: ratio | observed / expected
-- column: ratio_low | low over the expected share; the expected is taken as known
-- column: ratio_high | high over it
-- column: p | one-sided p of an excess, sites as clusters
-- column: q | the same after control of the false discovery rate over all signs (Benjamini and Hochberg 1995)
-- column: enough | false where the count is below the floor; such a row is not judged
-- caveat: A sign that goes with false alarms asks for a re-test; one that does not, proves nothing.
SELECT inspection_id, point_id, site_id, wrong, technician_id, region, lower_gain, shown_again, control_moved, many_at_once, level_far_above
FROM checked_calls
WHERE call = 'active' AND month BETWEEN $from AND $to AND site_key % $parts = 0
ORDER BY site_id, inspection_id, point_id

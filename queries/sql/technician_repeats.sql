-- name: technician_repeats
-- title: How far do repeated readings of one person scatter?
-- question: Where one person read the same point twice at the same gain in one visit, how far apart are the levels, and how often is the call the same?
-- grain: one row per technician, and "all"
-- reads: repeated_readings
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- param: groups | how many random groups of sites are the clusters; larger than any site_key where every site is one
-- column: technician_id | technician, or "all"
-- column: sets | points read twice or more at one gain in one visit, with a level each time
-- column: readings | readings in them
-- column: level_sd | standard deviation of the level within a set, percent of full scale (ISO 5725-2:1994)
-- column: level_sd_low | lower end of its 95% interval (jackknife over sites)
-- column: level_sd_high | upper end of it
-- column: level_limit | 2.8 x level_sd: two readings differ by more in about one pair of twenty, were levels normal (ISO 5725-6:1994)
-- column: call_sets | points read twice or more at one gain in one visit with a call of active or clear each time
-- column: same_calls | those with the same call every time
-- column: same_share | same_calls / call_sets
-- column: same_low | lower end of its 95% interval, sites as clusters (Korn and Graubard 1998)
-- column: same_high | upper end of it
-- column: enough | false where there are fewer sets than the floor or the interval of same_share is too wide
-- column: why_not | why not
-- caveat: Most points are read again because the first reading showed movement or was unsure, so the scatter is that of doubtful points and larger than that of all.
-- caveat: A level near the top or bottom of the scale cannot scatter freely; the limit is a yardstick, no tolerance.
SELECT technician_id, CAST(site_key % $groups AS VARCHAR) AS site, active, clear, levels
FROM repeated_readings
WHERE month BETWEEN $from AND $to
ORDER BY site, inspection_id, point_id, gain

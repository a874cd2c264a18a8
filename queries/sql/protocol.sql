-- name: protocol
-- title: How inspections were done
-- question: For each check, how often was it breached, by whom, and is that more often than by the others?
-- grain: one row per check and technician with at least one chance
-- reads: check_counts
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- param: off | checks that are switched off, with commas between
-- column: check | the check; what counts as a chance and as a breach is on the page and in the guide to the settings
-- column: technician_id | who did the inspection, or made the call
-- column: chances | how often it could have been breached
-- column: breaches | how often it was
-- column: rate | breaches / chances
-- column: low | lower end of the 95% interval, sites as clusters (Korn and Graubard 1998)
-- column: high | upper end of it
-- column: sites | sites the chances come from; in a book of many thousand sites, the groups of them that are the clusters
-- column: design_effect | how much wider the uncertainty is than for as many independent chances
-- column: others | rate of all other technicians
-- column: p | chance of so many breaches, or more, were the technician like the others: Fisher's exact test (1935) on counts divided by the design effect
-- column: q | the same after control of the false discovery rate over all rows with enough chances (Benjamini and Hochberg 1995)
-- column: enough | false where the chances are below the floor; such a row's rate is held back and not judged
-- column: why_not | the reason for holding the rate back, or for judging nobody by it
-- column: standing | act: q below 0.01 and at least twice the others' rate; watch: q below 0.05; in_line; empty where not judged
-- caveat: A breach is a departure from what was asked, not a fault of a person: the record may be wrong, or the rule unfit for the place.
-- caveat: Nobody is ranked. A standing compares with the others; a habit that all share shows as a rate, not as a standing.
-- caveat: Records name no author of a finding, and tell nothing of readings that were never noted.
-- caveat: Last digits are judged as a whole for each technician, not site by site: see digit_preference.
WITH sites AS (
    SELECT check_id, technician_id, site_key, sum(chances) AS n, sum(breaches) AS x
    FROM check_counts
    WHERE month BETWEEN $from AND $to AND NOT list_contains(string_split($off, ','), check_id)
    GROUP BY check_id, technician_id, site_key
)
SELECT check_id AS "check", technician_id, CAST(sum(n) AS BIGINT) AS chances, CAST(sum(x) AS BIGINT) AS breaches, count(*) AS sites,
       CAST(sum(x * x) AS BIGINT) AS breaches_squared, CAST(sum(x * n) AS BIGINT) AS breaches_times_chances, CAST(sum(n * n) AS BIGINT) AS chances_squared
FROM sites
GROUP BY check_id, technician_id
ORDER BY check_id, technician_id

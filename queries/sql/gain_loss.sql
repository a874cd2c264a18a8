-- name: gain_loss
-- title: Gain used against wave loss
-- question: Which gain do technicians settle on for each material and unit model, and how much does the material weaken a wave on its way?
-- grain: one row per material and unit model
-- reads: visit_counts, held_materials
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: point_visits | point-visits, each with the gain of the reading that decided it
-- column: gain_q1 | a quarter of them at this gain or below
-- column: gain_median | half of them
-- column: gain_q3 | three quarters of them
-- column: thickness_mm | the material's typical thickness in the house's table of materials
-- column: frequency_ghz | frequency the loss is worked out for: the house's choice, no fact about any device
-- column: table_row | row of the table of materials used (Recommendation ITU-R P.2040-3, 2023); empty where none is named
-- column: db_per_m | absorption in dB per metre at that frequency
-- column: loss_db | one-way loss in dB: db_per_m times thickness; in and out again is twice this
-- column: note | why there is no loss, or what to beware of
-- caveat: The table is of dry laboratory slabs with air on both sides. A sensor held on a wall is none of these, and moisture raises loss strongly: use the loss for order and rough size only, never to correct a rate.
-- caveat: A material has a loss only where it has the name of a row of the table or the configuration names its row; nothing is borrowed from a neighbour.
-- caveat: Loss per metre does not follow density: the table has brick below plasterboard and timber.
WITH counted AS (
    SELECT coalesce(v.model, 'unknown') AS model, v.material, v.gain, CAST(sum(v.n) AS BIGINT) AS n
    FROM visit_counts v
    WHERE v.month BETWEEN $from AND $to
    GROUP BY coalesce(v.model, 'unknown'), v.material, v.gain
), ranked AS (
    SELECT c.model, c.material, c.gain, sum(c.n) OVER (PARTITION BY c.model, c.material ORDER BY c.gain) AS up_to, sum(c.n) OVER (PARTITION BY c.model, c.material) AS n
    FROM counted c
)
SELECT r.model, r.material, CAST(max(r.n) AS BIGINT) AS point_visits, min(r.gain) FILTER (WHERE 4 * r.up_to >= r.n) AS gain_q1, min(r.gain) FILTER (WHERE 2 * r.up_to >= r.n) AS gain_median,
       min(r.gain) FILTER (WHERE 4 * r.up_to >= 3 * r.n) AS gain_q3, max(m.typical_thickness_mm) AS thickness_mm
FROM ranked r
JOIN held_materials m ON m.material = r.material
GROUP BY r.model, r.material
ORDER BY r.material, r.model

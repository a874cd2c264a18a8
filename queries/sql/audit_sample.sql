-- name: audit_sample
-- title: What the audit samples say
-- question: Of the points drawn for blind rechecks and openings, how many came back, and what share of all clear calls missed activity and of all calls would be contradicted?
-- grain: one row per sample and measure, and the first sample drawn of every month together
-- reads: samples, point_visits, recheck_pairs
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: sample | name of the sample: month, rule for its size, seed; "all": the first sample drawn of every month together
-- column: month | local month it was drawn from; empty for all
-- column: measure | disagreement: the blind recheck by someone else says otherwise; missed: a clear call where opening found activity
-- column: frame | points that could be drawn, of those the measure speaks of
-- column: drawn | of those, drawn; for missed, drawn and chosen to be opened
-- column: came_back | drawn points with an answer: a recheck by someone else that decided (recheck_pairs), or a decisive finding, within the truth window
-- column: undecided | drawn points whose recheck ended unsure
-- column: outstanding | drawn points without an answer
-- column: faults | answers that contradict the call
-- column: rate | share of the frame at fault, every answer weighted by the inverse of its chance of being drawn (Hájek 1971)
-- column: low | lower end of the 95% interval, linearised with sites as clusters
-- column: high | upper end of it
-- column: n_effective | independent answers that would tell as much
-- column: rate_if_none | the rate if no point without an answer were at fault
-- column: rate_if_all | the rate if every point without an answer were
-- column: total | number at fault in the frame (Horvitz and Thompson 1952); only where every drawn point has an answer
-- column: enough | false where there are too few answers, or most have not come back
-- column: why_not | why not
-- caveat: Weighting by the chance of selection takes out that risky points were drawn more often. It cannot make up for answers that do not come back: see the two rates beside.
-- caveat: A recheck that disagrees says that one of two calls is wrong, not which. Only an opened wall tells what was missed.
-- caveat: Where a month was drawn more than once, "all" takes the first draw, so that nobody can choose a seed by its results.
WITH rechecks AS (
    SELECT p.first_inspection, p.point_id, p.second_call AS call,
           row_number() OVER (PARTITION BY p.first_inspection, p.point_id ORDER BY p.second_call = 'unsure', p.inspection_id) AS nth
    FROM recheck_pairs p
), points AS (
    SELECT s.draw, s.sample, s.month, s.site_id, s.call, s.chance, s.part <> '' AS drawn, s."open", s.open_chance, r.call AS again,
           CASE WHEN v.verified_by = 'decisive' THEN v.truth END AS truth
    FROM samples s
    LEFT JOIN point_visits v ON v.inspection_id = s.inspection_id AND v.point_id = s.point_id
    LEFT JOIN rechecks r ON r.first_inspection = s.inspection_id AND r.point_id = s.point_id AND r.nth = 1
    WHERE s.month BETWEEN $from AND $to
), measured AS (
    SELECT draw, sample, month, 'disagreement' AS measure, site_id, chance, drawn,
           again IN ('active', 'clear') AS answered, again = 'unsure' AS undecided, again IN ('active', 'clear') AND again <> call AS fault
    FROM points
    UNION ALL
    SELECT draw, sample, month, 'missed', site_id, open_chance, "open", truth IS NOT NULL, false, truth = 'active'
    FROM points
    WHERE call = 'clear'
)
SELECT draw, sample, month, measure, CASE WHEN drawn THEN site_id ELSE '' END AS site_id, CASE WHEN drawn THEN chance ELSE 1.0 END AS chance,
       count(*) AS frame, count(*) FILTER (WHERE drawn) AS drawn,
       count(*) FILTER (WHERE drawn AND answered) AS came_back, count(*) FILTER (WHERE drawn AND undecided) AS undecided,
       count(*) FILTER (WHERE drawn AND fault) AS faults
FROM measured
GROUP BY draw, sample, month, measure, CASE WHEN drawn THEN site_id ELSE '' END, CASE WHEN drawn THEN chance ELSE 1.0 END
ORDER BY draw, measure, site_id, chance

-- One round over candidate rechecks: the original must be a sound inspection of the same site, in any of its versions, so
-- that it does not matter which of them comes in first. A recheck may itself be rechecked, so rounds are run until one adds
-- nothing. Out: fate_now.
INSERT INTO fate_now
WITH known AS (
    SELECT inspection_id, site_id FROM taken_inspections
    UNION ALL
    SELECT c.inspection_id, c.site_id FROM candidate c
    WHERE NOT EXISTS (SELECT 1 FROM fate_now f WHERE f.record_set = 'inspections' AND f.file = c._file AND f.line = c._line)
), originals AS (
    SELECT c._file, c._line, c.recheck_of, count(k.inspection_id) AS found,
           count(*) FILTER (WHERE k.site_id = c.site_id) AS same_site
    FROM candidate c
    LEFT JOIN known k ON k.inspection_id = c.recheck_of
    WHERE c.recheck_of IS NOT NULL
      AND NOT EXISTS (SELECT 1 FROM fate_now f WHERE f.record_set = 'inspections' AND f.file = c._file AND f.line = c._line)
    GROUP BY c._file, c._line, c.recheck_of
)
SELECT 'inspections', _file, _line, CASE WHEN found = 0 THEN 'waiting' ELSE 'rejected' END, false, 'recheck_of',
       CASE WHEN found = 0 THEN 'unknown_inspection' ELSE 'recheck_same_site' END, recheck_of,
       CASE WHEN found = 0 THEN 'not known yet; taken in once it arrives'
            ELSE 'names an inspection of another site; a recheck repeats points of the same site' END
FROM originals
WHERE same_site = 0;

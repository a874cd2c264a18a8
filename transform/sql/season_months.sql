-- table: season_months
-- grain: one row per season scheme and calendar month
-- about: Meteorological seasons are whole months: December to February is summer in the south and winter in
--        the north (WMO and Bureau of Meteorology usage). The dry season of northern Australia is May to
--        September (Bureau of Meteorology); north_wet_dry is its mirror, half a year later (common practice, no
--        source). A season that spans New Year belongs to the year of its January.
-- column: season_scheme | as in the regions record set
-- column: month_no | 1 to 12
-- column: season | spring, summer, autumn, winter, wet or dry
-- column: year_shift | what to add to the calendar year to get the season's year
SELECT 'south_four' AS season_scheme, m.month_no,
       CASE WHEN m.month_no IN (12, 1, 2) THEN 'summer' WHEN m.month_no IN (3, 4, 5) THEN 'autumn'
            WHEN m.month_no IN (6, 7, 8) THEN 'winter' ELSE 'spring' END AS season,
       CASE WHEN m.month_no = 12 THEN 1 ELSE 0 END AS year_shift
FROM (VALUES (1), (2), (3), (4), (5), (6), (7), (8), (9), (10), (11), (12)) AS m (month_no)
UNION ALL
SELECT 'north_four', m.month_no,
       CASE WHEN m.month_no IN (12, 1, 2) THEN 'winter' WHEN m.month_no IN (3, 4, 5) THEN 'spring'
            WHEN m.month_no IN (6, 7, 8) THEN 'summer' ELSE 'autumn' END,
       CASE WHEN m.month_no = 12 THEN 1 ELSE 0 END
FROM (VALUES (1), (2), (3), (4), (5), (6), (7), (8), (9), (10), (11), (12)) AS m (month_no)
UNION ALL
SELECT 'south_wet_dry', m.month_no,
       CASE WHEN m.month_no BETWEEN 5 AND 9 THEN 'dry' ELSE 'wet' END,
       CASE WHEN m.month_no >= 10 THEN 1 ELSE 0 END
FROM (VALUES (1), (2), (3), (4), (5), (6), (7), (8), (9), (10), (11), (12)) AS m (month_no)
UNION ALL
SELECT 'north_wet_dry', m.month_no,
       CASE WHEN m.month_no BETWEEN 4 AND 10 THEN 'wet' ELSE 'dry' END,
       CASE WHEN m.month_no >= 11 THEN 1 ELSE 0 END
FROM (VALUES (1), (2), (3), (4), (5), (6), (7), (8), (9), (10), (11), (12)) AS m (month_no)
ORDER BY season_scheme, month_no

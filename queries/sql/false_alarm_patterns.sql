-- name: false_alarm_patterns
-- title: Which circumstances go with false alarms?
-- question: In which circumstances, alone or two or three together, do verified active calls turn out to be something else more often than in all others?
-- grain: one row per pattern found
-- reads: checked_calls
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: pattern | number, the clearest first
-- column: factors | the circumstances that make it, as a=b; c=d
-- column: material | material; empty where the pattern does not ask
-- column: density_class | density class of the material; empty where the pattern does not ask
-- column: thickness_band | thickness, millimetres; empty where the pattern does not ask
-- column: gain | gain step of the deciding reading, or that and more; empty where the pattern does not ask
-- column: season | season by the region's scheme; empty where the pattern does not ask
-- column: region | region; empty where the pattern does not ask
-- column: hour_band | local hours of the reading; empty where the pattern does not ask
-- column: rain | rain at the visit; empty where the pattern does not ask
-- column: temp_band | air temperature, degrees Celsius; empty where the pattern does not ask
-- column: battery_band | battery, percent; empty where the pattern does not ask
-- column: hold_band | hold time, seconds; empty where the pattern does not ask
-- column: unit_id | unit; empty where the pattern does not ask
-- column: unit_overdue | yes: the unit's service was due; empty where the pattern does not ask
-- column: technician_id | technician; empty where the pattern does not ask
-- column: purpose | purpose of the inspection; empty where the pattern does not ask
-- column: level_band | level, percent of full scale; empty where the pattern does not ask
-- column: log_share_band | how much of the hold was above the noise band by the unit's log: nothing, some or much; empty where the pattern does not ask
-- column: wind_band | wind at the visit, so many km/h or more; empty where the pattern does not ask
-- column: gain_share | position of the gain in the unit's range, 0 lowest to 1 highest, that or more; empty where the pattern does not ask
-- column: days_since_service | days since the unit came into service, as many or more; empty where the pattern does not ask
-- column: active_verified | verified active calls in the pattern
-- column: false_alarms | false alarms among them
-- column: expected | how many there would be had these calls gone as the others: logistic model of the calls outside the pattern on technician and region, for patterns of a technician or unit on material, thickness, season, region and purpose
-- column: by_chance_low | lower end of what chance makes of the expected in 95 of 100 cases (Poisson)
-- column: by_chance_high | upper end of it
-- column: rate | share wrong in the pattern
-- column: rate_low | lower end of its 95% interval, sites as clusters (Korn and Graubard 1998)
-- column: rate_high | upper end of it
-- column: rate_expected | share expected
-- column: ratio | observed / expected
-- column: ratio_low | rate_low over the expected share; the expected is taken as known
-- column: ratio_high | rate_high over it
-- column: p | one-sided p of the excess, given the patterns above it: score test with saddlepoint, sites as clusters, technicians, units and regions allowed the spread they have among themselves
-- column: q | the same after control of the false discovery rate over every pattern tried (Benjamini and Hochberg 1995; singles, pairs and triples weigh the same together)
-- column: extra | false alarms, each an opening for nothing, beyond the expected
-- column: extra_cost | what they cost by the configuration's costs.false_alarm, in the house's currency
-- column: leading_cause | the cause recorded most often in the pattern
-- column: leading_cause_share | its share of the pattern's false alarms
-- column: leading_cause_usual | its share of those outside the pattern
-- column: leading_technician | who has most of the excess
-- column: leading_technician_share | that technician's share of the pattern's false alarms
-- column: one_person | yes: without that technician nothing beyond chance is left; no: there is
-- column: recent_checked | checked in the last three months of the period
-- column: recent_wrong | wrong among them
-- column: recent_expected | expected among them
-- column: goes_on | of the last three months. yes: more than expected beyond chance; no: fewer than the pattern's usual ratio beyond chance; unclear: too few to say
-- column: same_as | other wordings of nearly the same calls (over 80% in common), merged into this one
-- column: examples | three inspections to look at, newest first, as inspection/point
-- column: suggestion | what to try; a suggestion, not a finding
-- caveat: A pattern goes with wrong calls; whether it makes them is for a trial to show.
-- caveat: Values are tried singly, in pairs and in triples with at least the configured count. A pattern nearly all of whose calls (over 80%) lie in a simpler one is not tried; one no worse than a simpler one is given up for it; what a pattern explains is not listed again.
-- caveat: Every cut of a number (gain, wind, position in the range, days) counts as one more pattern tried.
-- caveat: The records hold no date of last service; days_since_service goes by in_service_on of the unit's newest record.
-- caveat: Only active calls that a decisive finding tells about count; which were opened is not random.
SELECT inspection_id, point_id, site_id, CAST(local_date AS VARCHAR) AS local_date, month, wrong, found,
       material, density_class, thickness_band, CAST(gain AS VARCHAR) AS gain, season, region, hour_band, coalesce(rain, '') AS rain, temp_band, battery_band, hold_band, unit_id,
       unit_overdue, technician_id, purpose, level_band, log_share_band, CAST(gain AS DOUBLE) AS gain_step, gain_share, wind_kmh,
       CAST(days_since_service AS DOUBLE) AS days_since_service
FROM checked_calls
WHERE call = 'active' AND month BETWEEN $from AND $to
ORDER BY site_id, inspection_id, point_id

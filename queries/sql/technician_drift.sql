-- name: technician_drift
-- title: Has a technician changed against themselves?
-- question: Since when does a technician raise more or fewer false alarms than their own earlier level gives under the same conditions, and what else changed then?
-- grain: one row per technician and month, from the technician's first month to the last
-- reads: reading_cells, point_visits
-- param: from | first local month, YYYY-MM
-- param: to | last local month, YYYY-MM
-- column: technician_id | technician
-- column: month | local month, YYYY-MM
-- column: verified | verified active calls of the month
-- column: observed | of those, false alarms
-- column: rate | observed / verified
-- column: low | lower end of its 95% interval (Wilson 1927), points taken as independent
-- column: high | upper end of it
-- column: enough | false where fewer calls than the floor were verified in the month: such a rate is not to be read alone
-- column: expected | false alarms at the technician's own earlier level, under the month's conditions; empty while that level is being learnt
-- column: expected_average | false alarms the average technician would raise under the month's conditions, see technician_consistency
-- column: level | odds of a false alarm at the technician's own earlier level over the average technician's
-- column: statistic | of the two sums, the one nearer its limit
-- column: limit | its limit
-- column: signal | whether the sum crossed its limit in this month; it then starts again
-- column: direction | up: more false alarms than the own earlier level; down: fewer; none: both sums are at 0 or nothing is watched yet. It says which sum statistic is
-- column: sum_up | risk-adjusted cumulative sum of log-likelihood ratios for odds three times as large (Steiner, Cook, Farewell and Treasure 2000)
-- column: limit_up | its limit
-- column: sum_down | the same for odds a third as large
-- column: limit_down | its limit
-- column: run_length_months | in-control average run length: how many months a technician who does not change is watched, on average, before either sum signals
-- column: average | exponentially weighted average (newest month 0.2) of the share of false alarms beyond the own level (Roberts 1959)
-- column: average_limit | how far it may stray from 0
-- column: average_outside | whether it strays further; a hint, not a signal
-- column: average_run_length_months | in-control average run length of the average
-- column: changed_from | on a signal, the month in which the sum left 0: the likeliest start of the change
-- column: what_changed | on a signal, gain, unit and hold time before and since changed_from, in words
-- column: gain_before | mean gain step of readings before changed_from
-- column: gain_after | from changed_from to the month of the signal
-- column: gain_distance | distance of the two gain mixes, 0 alike to 1 apart (square root of the Jensen-Shannon divergence in bits, Endres and Schindelin 2003)
-- column: unit_before | unit of most readings before
-- column: unit_after | unit of most readings since
-- column: hold_before | mean hold time in seconds before
-- column: hold_after | mean hold time since
-- column: missed | points verified active that the technician had called clear, by the month of the visit; not those that another visit called active, which are opened for that call
-- column: missed_gap | g chart (Benneyan 2001): points verified active and called active between the month's last missed point and the one before it
-- column: missed_gap_low | shortest gap that is not out of the ordinary: 0.135% point of the geometric distribution of the technician's own gaps
-- column: missed_gap_high | longest such gap: 99.865% point
-- column: missed_gap_outside | whether the gap is outside them
-- caveat: The own level is learnt over the first four months or more, until four false alarms were to be expected, and from then on from all months but the last two before each. After a signal it stays that of the months before the change, so that a change which lasts signals again.
-- caveat: Someone who was always unlike the others has no drift; technician_consistency tells of that.
-- caveat: Limits come from 1000 simulated runs of the technician's own months, each at a level drawn from what was learnt with its doubt, calls at one site as alike as they are, with a seed that is always the same. The run length is drawn out from the tail of those runs, so it is good to a third or so.
-- caveat: In seeded simulations of 14 technicians, 8 to 20% false alarms and some 12 verified active calls a month, a four-fold change signals within seven months in at least 85 of 100; with fewer calls it takes longer.
-- caveat: Calls count in the month of the visit once they have been verified; the newest months may still gain some.
-- caveat: Where missed points are not rare the lower limit of a gap is 0, and only long gaps can be out of the ordinary.
WITH held AS (
    SELECT technician_id, month, local_date, unit_id, gain,
           CAST(sum(readings) AS BIGINT) AS readings, CAST(sum(holds) AS BIGINT) AS holds, CAST(sum(hold_tenths) AS BIGINT) AS hold_tenths
    FROM reading_cells
    WHERE NOT control AND month BETWEEN $from AND $to
    GROUP BY technician_id, month, local_date, unit_id, gain
), found AS (
    SELECT technician_id, month, local_date, unit_id, gain,
           count(*) AS found,
           count(*) FILTER (WHERE call = 'clear') AS missed
    FROM point_visits
    WHERE call IN ('active', 'clear') AND truth = 'active' AND verified_by = 'decisive' AND NOT called_elsewhere AND month BETWEEN $from AND $to
    GROUP BY technician_id, month, local_date, unit_id, gain
)
SELECT h.technician_id, h.month, h.unit_id, h.gain, h.readings, h.holds, h.hold_tenths,
       coalesce(f.found, 0) AS found, coalesce(f.missed, 0) AS missed
FROM held h
LEFT JOIN found f ON f.technician_id = h.technician_id AND f.local_date = h.local_date AND f.unit_id = h.unit_id AND f.gain = h.gain
ORDER BY h.technician_id, h.local_date, h.unit_id, h.gain

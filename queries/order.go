package queries

import (
	"context"
	"runtime"
	"runtime/debug"
	"sync/atomic"

	"scanledger/transform/engine"
)

// chain is analyses that run one after another on one connection, since those after read what those before leave.
type chain []func(*desk) error

// analyses are all there are, in the order in which their results stand. The chains of a group run at the same time: over
// count tables a statement keeps one core busy, while one that goes through all readings keeps every core busy by itself. Those of a group may read what the groups before it put into the
// book, and nothing of one another.
var analyses = [][]chain{
	{{(*desk).labels}, {(*desk).verificationWeights}},
	{
		{(*desk).detection, (*desk).season, (*desk).trend, (*desk).monthCounts, (*desk).cuts, (*desk).regionStandardised, (*desk).accuracy, (*desk).statement},
		{(*desk).consistency, (*desk).drift},
		{(*desk).quality, (*desk).rejectRules, (*desk).flow},
		{(*desk).gainCurve, (*desk).guidance, (*desk).gainLoss},
		{(*desk).agreement, (*desk).agreementMaterial, (*desk).repeatability, (*desk).gainUse},
		{(*desk).unitLevel, (*desk).unitUse, (*desk).logMatch, (*desk).unitHealth},
		{(*desk).falseAlarmPatterns, (*desk).missedPatterns, (*desk).patternBreakdown, (*desk).seriesPatterns},
		{(*desk).logContradictions, (*desk).logHabits, (*desk).logSignatures, (*desk).signatureCheck},
		{(*desk).protocol},
	},
	{{(*desk).inspections, (*desk).logTraces, (*desk).matters, (*desk).auditSample}},
}

// runAll runs chains on forks of the engine. Results and wishes are put together in the order of the chains, whichever ended
// first.
func (d *desk) runAll(chains []chain) error {
	desks := make([]desk, len(chains))
	var begun atomic.Int64
	err := d.eng.Spread(d.ctx, len(chains), func(ctx context.Context, fork engine.SQL) error {
		for i := begun.Add(1) - 1; i < int64(len(chains)); i = begun.Add(1) - 1 {
			desks[i] = desk{ctx: ctx, eng: fork, book: d.book, opt: d.opt, clusters: d.clusters, wanted: d.wanted[:len(d.wanted):len(d.wanted)]}
			for _, analysis := range chains[i] {
				if err := analysis(&desks[i]); err != nil {
					return err
				}
				giveBack()
			}
		}
		return nil
	})
	wanted := len(d.wanted)
	for _, of := range desks {
		if of.book != nil {
			d.results, d.wanted = append(d.results, of.results...), append(d.wanted, of.wanted[wanted:]...)
		}
	}
	return err
}

// giveBack returns memory that the last analysis no longer needs, which would stand beside what the engine takes for the next.
func giveBack() {
	const muchIdle = 256 << 20
	var m runtime.MemStats
	if runtime.ReadMemStats(&m); m.HeapSys-m.HeapReleased-m.HeapInuse > muchIdle || m.HeapInuse > 2*muchIdle {
		debug.FreeOSMemory()
	}
}

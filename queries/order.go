package queries

import (
	"context"
	"runtime"
	"runtime/debug"
	"slices"

	"scanledger/transform/engine"
)

// chain is analyses that run one after another on one connection, since those after read what those before leave.
type chain []func(*desk) error

// analyses are all there are, in the order in which their results stand. The chains of a group run at the same time:
// over count tables a statement keeps one core busy, while one that goes through all readings keeps every core busy by itself.
// Those of a group may read what the groups before it put into the book, and nothing of one another.
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

// run runs the analyses of a chain at a desk.
func (c chain) run(d *desk) error {
	for _, analysis := range c {
		if err := analysis(d); err != nil {
			return err
		}
		giveBack()
	}
	return nil
}

// runAll runs chains on forks of the engine, each at a desk of its own. Results and wishes are put together in the order of
// the chains, whichever ended first.
func (d *desk) runAll(chains []chain) error {
	desks, before := make([]desk, len(chains)), slices.Clip(d.wanted)
	err := d.eng.Spread(d.ctx, len(chains), len(chains), func(ctx context.Context, fork engine.SQL, nth int) error {
		desks[nth] = desk{ctx: ctx, eng: fork, book: d.book, opt: d.opt, clusters: d.clusters, wanted: before}
		return chains[nth].run(&desks[nth])
	})
	if err != nil {
		return err
	}
	for _, of := range desks {
		d.results, d.wanted = append(d.results, of.results...), append(d.wanted, of.wanted[len(before):]...)
	}
	return nil
}

// giveBack returns memory that the last analysis no longer needs, which would stand beside what the engine takes for the next.
func giveBack() {
	const muchIdle = 256 << 20
	var m runtime.MemStats
	if runtime.ReadMemStats(&m); m.HeapSys-m.HeapReleased-m.HeapInuse > muchIdle || m.HeapInuse > 2*muchIdle {
		debug.FreeOSMemory()
	}
}

package learn

import (
	"math"

	"leakback/limits"
	"leakback/stats"
)

// Leaks are the ratios of a leaking injector to sound ones that Power gives
// chances for.
var Leaks = [...]float64{1.5, 2, 3}

// Power is what the comparison within an engine finds.
type Power struct {
	// BitingRatio is the ratio to the others from which one injector stands out.
	BitingRatio float64
	// Found are the chances that one injector that leaks as many times as Leaks
	// says is found, all others being sound.
	Found [len(Leaks)]float64
}

// powers says what the sheet's figures find and what the learned ones do, in
// engines that scatter as was learned.
func (l *Learned) powers(sheet *limits.Sheet, learned limits.Measurement) {
	set := sheet.Set
	before, after := l.ownVariance(sheet.Measurement), l.ownVariance(learned)
	truth := math.Hypot(stats.LogSpread(l.Healthy.CV), math.Sqrt(after))
	l.Before = power(set, before, l.Size, truth)
	set.HealthyCV = l.Healthy.CV
	l.After = power(set, after, l.Size, truth)
}

// power is that of a rule which takes tau, made of the set's spread and an own
// variance, for the standard deviation of ln q, while it is truth. The one that
// leaks by the factor F lies at ln F from the mean of the n - 1 others, with a
// standard deviation of truth sqrt(1 + 1/(n-1)), and the rule speaks from the
// biting ratio on:
//
//	Phi((ln F - ln biting)/(truth sqrt(1 + 1/(n-1))))
//
// It takes every sound injector for part of the consensus, all for measured
// alike and as well as at the set's level, and readings for continuous: good to
// two or three per cent on drawn engines of 4 to 8.
func power(set limits.Set, own float64, n int, truth float64) Power {
	c := stats.SidakC(n, set.FalseAlarm)
	tau := math.Hypot(stats.LogSpread(set.HealthyCV), math.Sqrt(own))
	p := Power{BitingRatio: stats.BitingRatio(set.PracticalRatio, c, tau, n-1)}
	scatter := truth * math.Sqrt(1+1/float64(n-1))
	for i, leak := range Leaks {
		// At so many degrees of freedom Student's t is the normal distribution.
		p.Found[i] = stats.ProbabilityAbove(math.Log(leak), scatter, stats.MaxDoF, math.Log(p.BitingRatio))
	}
	return p
}

// ownVariance is the median over the tests used of their mean own variance.
func (l *Learned) ownVariance(m limits.Measurement) float64 {
	var means []float64
	for i := range l.Tests {
		if t := &l.Tests[i]; t.Used() {
			means = append(means, stats.Mean(t.Set(m).OwnVariance))
		}
	}
	return stats.Median(means)
}

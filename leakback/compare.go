package leakback

import (
	"math"
	"slices"

	"leakback/limits"
	"leakback/stats"
)

// place is where the comparison inside the engine puts a cylinder.
type place int8

const (
	placeNone place = iota // no comparison
	placeFine
	placeHint // high only at the weaker false_hint
	placeHigh
	placeLow
)

// placeOf gives the words of package stats their meaning here.
var placeOf = [...]place{
	stats.PlaceFine: placeFine, stats.PlaceHint: placeHint,
	stats.PlaceHigh: placeHigh, stats.PlaceLow: placeLow,
}

// Constants of the comparison.
const (
	fewest = 3 // readable cylinders below which nothing is compared
	// littleMarks is how many marks a reading needs to be called high where
	// the set's median is below its first mark.
	littleMarks = 5
)

// comparison is the set held against itself.
type comparison struct {
	at          []standing // by place in the series
	medianMLMin float64
	// reference is the rate that ratios are taken to; size is how many
	// cylinders stand behind it.
	reference                       float64
	size                            int
	few, tooLittle, disagrees, half bool
	sways                           bool    // a bound decides for another cylinder
	spread                          float64 // s, the log standard deviation of healthy injectors
	// index lists the readable cylinders, rates their rates; y and tau are the
	// logarithms and their standard deviations.
	index         []int
	rates, y, tau []float64
	trial         *trial
}

// standing is how one cylinder stands in its set; figures are NaN where there
// is no comparison.
type standing struct {
	place place
	ratio float64 // to the consensus, or to the first mark
	z     float64
	bites float64 // the ratio from which the rule speaks
	ownU  float64 // own relative standard uncertainty at the set's level
	// unsure marks what is high where too little returned to be sure of it
	// from one run, swayed what a bound among the readings leaves open.
	unsure, swayed bool
}

// compare holds the readable cylinders against one another.
func (e *evaluation) compare() {
	c, set := &e.set, &e.sheet.Set
	c.begin(e.all, set)
	c.few = len(c.index) < fewest
	if c.few {
		c.medianMLMin = stats.Median(c.rates)
		return
	}
	k := c.hold(e.all, &e.rule, set)
	if e.full && !c.tooLittle {
		c.describe(&k, set)
	}
	e.weighBounds()
}

// hold compares the rates: with the first mark where too little returned, else
// with their consensus.
func (c *comparison) hold(all []series, ru *rule, set *limits.Set) (k stats.Comparison) {
	c.medianMLMin = stats.Median(c.rates)
	if mark := firstMarkMLMin(all, c.index); stats.Round6(c.medianMLMin) < stats.Round6(mark) {
		c.tooLittle, c.medianMLMin = true, math.NaN() // half a mark is no median
		c.againstFirstMark(all, mark, ru, set)
		return k
	}
	return c.againstConsensus(all, ru, set)
}

// begin forgets the last test and keeps its memory.
func (c *comparison) begin(all []series, set *limits.Set) {
	nan := math.NaN()
	*c = comparison{
		trial: c.trial, at: resized(c.at, len(all)), index: c.index[:0], rates: c.rates[:0], y: c.y[:0], tau: c.tau[:0],
		medianMLMin: nan, reference: nan, spread: stats.LogSpread(set.HealthyCV),
	}
	for i := range all {
		c.at[i] = standing{ratio: nan, z: nan, bites: nan, ownU: nan}
		if all[i].readable() {
			c.index = append(c.index, i)
			c.rates = append(c.rates, all[i].numberMLMin)
		}
	}
}

// firstMarkMLMin is the rate that fills a tube to its first mark: of the
// coarsest tube of the set, the careful choice.
func firstMarkMLMin(all []series, index []int) float64 {
	var most float64
	for _, i := range index {
		most = max(most, all[i].firstMarkMLMin())
	}
	return most
}

// firstMarkMLMin is the rate that fills the tube to its first mark; of a share
// the least that is told apart from nothing.
func (s *series) firstMarkMLMin() float64 {
	if s.share != nil {
		return s.share.leastMLMin
	}
	var sum float64
	for k := range s.parts {
		sum += 60 * s.parts[k].tube.GraduationML / s.parts[k].intervalS
	}
	return sum / float64(len(s.parts))
}

// againstConsensus finds the consensus at both error chances.
func (c *comparison) againstConsensus(all []series, ru *rule, set *limits.Set) stats.Comparison {
	for k, i := range c.index {
		own := ru.ownVariance(&all[i], c.medianMLMin)
		c.at[i].ownU = math.Sqrt(own)
		c.y = append(c.y, math.Log(c.rates[k]))
		c.tau = append(c.tau, math.Sqrt(c.spread*c.spread+own))
	}
	k := stats.CompareSet(c.y, c.tau, stats.SetRule{
		FalseAlarm: set.FalseAlarm, FalseHint: set.FalseHint, PracticalRatio: set.PracticalRatio,
	})
	c.reference, c.size = math.Exp(k.Consensus.Mean), k.Consensus.Size
	c.disagrees, c.half = k.Disagrees, k.Half
	for j, i := range c.index {
		c.at[i].place = placeOf[k.Places[j]]
	}
	return k
}

// describe says in figures how each cylinder lies to the consensus.
func (c *comparison) describe(k *stats.Comparison, set *limits.Set) {
	for j, i := range c.index {
		at := &c.at[i]
		at.ratio, at.z = k.Consensus.Ratio(j), k.Consensus.Z(j)
		at.bites = stats.BitingRatio(set.PracticalRatio, k.Critical, c.tau[j], k.Consensus.Size)
	}
}

// againstFirstMark stands in for the consensus where the median is below the
// first mark: the first mark stands for the set, and a reading of at least
// five marks whose ratio to it bites is high, surely only where two runs agree.
func (c *comparison) againstFirstMark(all []series, mark float64, ru *rule, set *limits.Set) {
	critical := stats.SidakC(len(c.index), set.FalseAlarm)
	c.reference = mark
	for _, q := range c.rates {
		if stats.Round6(q) <= stats.Round6(mark) {
			c.size++
		}
	}
	for k, i := range c.index {
		s, at := &all[i], &c.at[i]
		own := ru.ownVariance(s, mark)
		at.ownU = math.Sqrt(own)
		at.ratio = c.rates[k] / mark
		at.bites = stats.BitingRatio(set.PracticalRatio, critical, math.Sqrt(c.spread*c.spread+own), c.size)
		if s.bound != AtMost {
			at.againstFirstMark(s, mark)
		}
	}
}

// againstFirstMark says whether a cylinder is high where the first mark stands
// for the set.
func (at *standing) againstFirstMark(s *series, mark float64) {
	bites := func(rateMLMin, marks float64) bool {
		return stats.Round6(rateMLMin/mark) > stats.Round6(at.bites) && stats.Round6(marks) >= littleMarks
	}
	agree, marks := 0, 0.0
	if s.share != nil { // solved from the runs that block it, all of which agree in it
		agree, marks = s.share.repeats, s.rateMLMin/mark
	}
	for k := range s.parts {
		p := &s.parts[k]
		own := p.netML / p.tube.GraduationML
		marks += own / float64(len(s.parts))
		if bites(p.rateMLMin, own) {
			agree++
		}
	}
	if bites(s.rateMLMin, marks) {
		at.place = placeHigh
		at.unsure = agree < 2
	}
}

func nans(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = math.NaN()
	}
	return x
}

// resized is a list of n that takes the memory of another, whatever is in it.
func resized[T any](list []T, n int) []T { return slices.Grow(list[:0], n)[:n] }

package leakback

import (
	"math"

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
var placeOf = map[stats.Place]place{
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

// comparison is the set held against itself, by place in the series.
type comparison struct {
	places      []place
	ratio       []float64 // to the consensus, or to the first mark
	z           []float64
	biting      []float64
	medianMLMin float64
	// reference is the rate that ratios are taken to; size is how many
	// cylinders stand behind it.
	reference                       float64
	size                            int
	few, tooLittle, disagrees, half bool
	// unsure marks what is high where too little returned to be sure of it
	// from one run.
	unsure []bool
	spread float64   // s, the log standard deviation of healthy injectors
	ownU   []float64 // own relative standard uncertainty at the set's level
}

// compare holds the readable cylinders against one another.
func compare(all []series, ru rule, set limits.Set) comparison {
	n := len(all)
	c := comparison{
		places: make([]place, n), unsure: make([]bool, n),
		ratio: nans(n), z: nans(n), biting: nans(n), ownU: nans(n),
		medianMLMin: math.NaN(), reference: math.NaN(), spread: stats.LogSpread(set.HealthyCV),
	}
	var index []int
	var rates []float64
	for i := range all {
		if all[i].readable() {
			index = append(index, i)
			rates = append(rates, all[i].numberMLMin)
		}
	}
	c.medianMLMin = stats.Median(rates)
	c.few = len(index) < fewest
	if c.few {
		return c
	}
	if mark := firstMarkMLMin(all, index); stats.Round6(c.medianMLMin) < stats.Round6(mark) {
		c.tooLittle, c.medianMLMin = true, math.NaN() // half a mark is no median
		c.againstFirstMark(all, index, mark, ru, set)
		return c
	}
	c.againstConsensus(all, index, rates, ru, set)
	return c
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

func (s *series) firstMarkMLMin() float64 {
	var sum float64
	for _, p := range s.parts {
		sum += 60 * p.tube.GraduationML / p.intervalS
	}
	return sum / float64(len(s.parts))
}

// againstConsensus finds the consensus at both error chances.
func (c *comparison) againstConsensus(all []series, index []int, rates []float64, ru rule, set limits.Set) {
	n := len(index)
	y, tau := make([]float64, n), make([]float64, n)
	for k, i := range index {
		y[k] = math.Log(rates[k])
		own := ru.ownVariance(&all[i], c.medianMLMin)
		c.ownU[i] = math.Sqrt(own)
		tau[k] = math.Sqrt(c.spread*c.spread + own)
	}
	k := stats.CompareSet(y, tau, stats.SetRule{
		FalseAlarm: set.FalseAlarm, FalseHint: set.FalseHint, PracticalRatio: set.PracticalRatio,
	})
	c.reference, c.size = math.Exp(k.Consensus.Mean), k.Consensus.Size
	c.disagrees, c.half = k.Disagrees, k.Half
	for j, i := range index {
		c.places[i] = placeOf[k.Places[j]]
		c.ratio[i], c.z[i] = k.Consensus.Ratio(j), k.Consensus.Z(j)
		c.biting[i] = stats.BitingRatio(set.PracticalRatio, k.Critical, tau[j], k.Consensus.Size)
	}
}

// againstFirstMark stands in for the consensus where the median is below the
// first mark: the first mark stands for the set, and a reading of at least
// five marks whose ratio to it bites is high, surely only where two runs agree.
func (c *comparison) againstFirstMark(all []series, index []int, mark float64, ru rule, set limits.Set) {
	critical := stats.SidakC(len(index), set.FalseAlarm)
	c.reference = mark
	for _, i := range index {
		if stats.Round6(all[i].numberMLMin) <= stats.Round6(mark) {
			c.size++
		}
	}
	for _, i := range index {
		s := &all[i]
		own := ru.ownVariance(s, mark)
		c.ownU[i] = math.Sqrt(own)
		c.ratio[i] = s.numberMLMin / mark
		c.biting[i] = stats.BitingRatio(set.PracticalRatio, critical, math.Sqrt(c.spread*c.spread+own), c.size)
		c.places[i] = placeNone
		if s.bound == AtMost {
			continue
		}
		bites := func(rateMLMin, marks float64) bool {
			return stats.Round6(rateMLMin/mark) > stats.Round6(c.biting[i]) && stats.Round6(marks) >= littleMarks
		}
		agree, marks := 0, 0.0
		for _, p := range s.parts {
			own := p.netML / p.tube.GraduationML
			marks += own / float64(len(s.parts))
			if bites(p.rateMLMin, own) {
				agree++
			}
		}
		if bites(s.rateMLMin, marks) {
			c.places[i] = placeHigh
			c.unsure[i] = agree < 2
		}
	}
}

func nans(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = math.NaN()
	}
	return x
}

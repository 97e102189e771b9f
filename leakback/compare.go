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

// Constants of the comparison.
const (
	fewest = 3 // readable cylinders below which nothing is compared
	// agreement is the chi-square quantile beyond which a consensus does not
	// agree with itself.
	agreement = 0.99
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
	reference float64
	size      int
	// agreeing lists the cylinders of the consensus.
	few, tooLittle, disagrees, half bool
	// oneRun says that too little returned to be sure from one run.
	unsure []bool
	spread float64 // s, the log standard deviation of healthy injectors
	ownU   []float64
}

// LogSpread is the log standard deviation that a relative spread cv stands
// for: sqrt(ln(1 + cv^2)).
func LogSpread(cv float64) float64 { return math.Sqrt(math.Log1p(cv * cv)) }

// compare holds the readable cylinders against one another.
func compare(all []series, ru rule, set limits.Set) comparison {
	n := len(all)
	c := comparison{
		places: make([]place, n), unsure: make([]bool, n),
		ratio: nans(n), z: nans(n), biting: nans(n), ownU: nans(n),
		medianMLMin: math.NaN(), reference: math.NaN(), spread: LogSpread(set.HealthyCV),
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
		c.tooLittle = true
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
	critical := stats.SidakC(n, set.FalseAlarm)
	strict := stats.FindConsensus(y, tau, critical)
	loose := stats.FindConsensus(y, tau, stats.SidakC(n, set.FalseHint))
	c.reference, c.size = math.Exp(strict.Mean), strict.Size
	c.disagrees = strict.Disagrees(agreement)
	c.half = 2*strict.High == n || 2*strict.Low == n
	for k, i := range index {
		c.ratio[i] = math.Exp(y[k] - strict.Mean)
		c.z[i] = strict.Z(k)
		c.biting[i] = bitingRatio(set.PracticalRatio, critical, tau[k], strict.Size)
		matters := func(s *stats.Consensus) bool {
			return s.IsHigh(k) && stats.Round6(math.Exp(y[k]-s.Mean)) >= stats.Round6(set.PracticalRatio)
		}
		switch {
		case strict.IsLow(k):
			c.places[i] = placeLow
		case matters(&strict):
			c.places[i] = placeHigh
		case !strict.IsHigh(k) && matters(&loose):
			c.places[i] = placeHint
		default:
			c.places[i] = placeFine
		}
	}
}

// bitingRatio is the ratio to a consensus of that size from which the rule
// speaks: the larger of the practical ratio and exp(c tau sqrt(1 + 1/m)).
func bitingRatio(practical, critical, tau float64, size int) float64 {
	return math.Max(practical, math.Exp(critical*tau*math.Sqrt(1+1/float64(size))))
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
		c.biting[i] = bitingRatio(set.PracticalRatio, critical, math.Sqrt(c.spread*c.spread+own), c.size)
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

package simulate

import (
	"math"

	"leakback/stats"
	"leakback/stats/classic"
)

// Judgement is what a rule makes of a sample.
type Judgement struct {
	// Places are in the order of the cylinders.
	Places []stats.Place
	// Disagrees says that the set was found not to agree with itself.
	Disagrees bool
	// Refused says that the rule did not compare the set at all.
	Refused bool
}

func (j *Judgement) reset(n int) {
	if len(j.Places) != n {
		j.Places = make([]stats.Place, n)
	}
	clear(j.Places)
	j.Disagrees, j.Refused = false, false
}

// Shop is what a workshop knows before it judges an engine.
type Shop struct {
	// TrueSpread is the log standard deviation of healthy injectors.
	TrueSpread float64
	// Learned is the spread learned from so many earlier tests.
	Learned map[int]float64
}

// Knowledge is the log standard deviation that a shop judges by.
type Knowledge func(Shop) float64

// Known is a shop that knows the spread.
func Known(s Shop) float64 { return s.TrueSpread }

// Assumed is a shop that takes a relative spread for granted.
func Assumed(healthyCV float64) Knowledge {
	spread := stats.LogSpread(healthyCV)
	return func(Shop) float64 { return spread }
}

// Learned is a shop that learned it from so many tests.
func Learned(tests int) Knowledge { return func(s Shop) float64 { return s.Learned[tests] } }

// Rule is a way to judge a sample.
type Rule interface {
	// Judge fills in a judgement that has been reset to the sample's size.
	Judge(s *Sample, shop Shop, j *Judgement)
}

// Consensus is the tool's own rule: the consensus of a set with what the shop
// knows of the healthy spread.
type Consensus struct {
	Knows Knowledge
	Rule  stats.SetRule
}

// The tool's defaults for a set, and the same without the practical ratio, to
// which the error chances refer.
var (
	Default     = stats.SetRule{FalseAlarm: 0.01, FalseHint: 0.05, PracticalRatio: 1.3}
	ChancesOnly = stats.SetRule{FalseAlarm: 0.01, FalseHint: 0.05, PracticalRatio: 1}
)

// Judge holds the sample against its consensus; a set whose median is below
// the first mark is refused.
func (c Consensus) Judge(s *Sample, shop Shop, j *Judgement) {
	if s.BelowFirstMark {
		j.Refused = true
		return
	}
	set := stats.CompareSet(s.Y, taus(s, c.Knows(shop)), c.Rule)
	copy(j.Places, set.Places)
	j.Disagrees = set.Disagrees
}

// taus are the standard deviations of a sample's logarithms about a healthy set.
func taus(s *Sample, spread float64) []float64 {
	tau := make([]float64, len(s.OwnVariance))
	for i, own := range s.OwnVariance {
		tau[i] = math.Sqrt(spread*spread + own)
	}
	return tau
}

// Score puts a figure for every cylinder into a slice; the higher, the more
// it stands out above its set. NaN is never high.
type Score func(into []float64, rateMLMin []float64)

// Threshold is a rule that calls high what scores above a bar.
type Threshold struct {
	Score Score
	Bar   float64
}

// Judge calls high what scores above the bar.
func (t Threshold) Judge(s *Sample, _ Shop, j *Judgement) {
	scores := make([]float64, len(s.RateMLMin))
	t.Score(scores, s.RateMLMin)
	for i, v := range scores {
		if v > t.Bar {
			j.Places[i] = stats.PlaceHigh
		}
	}
}

// Usual is one of the usual rules with its textbook bar for n cylinders.
type Usual struct {
	Name  string
	Score Score
	Bar   func(n int) float64
}

func always(bar float64) func(int) float64 { return func(int) float64 { return bar } }

// level turns a level of significance into a bar for scores of -log10 of it.
func level(alpha float64) func(int) float64 { return always(-math.Log10(alpha)) }

// UsualRules are the usual rules on the rates as they are: Grubbs for the
// largest and generalized ESD for up to half of the set at 5 %, Dixon's r10 at
// 5 %, Tukey's fences at 1.5 quartile distances (rule R7), the score by the
// median absolute deviation at 3.5, mean plus 2 standard deviations, twice the
// mean and one and a half times the median. The bars of the plain ratios are
// common practice, no source.
func UsualRules() []Usual {
	return []Usual{
		{"Grubbs, 5 %", scoreGrubbs, level(0.05)},
		{"generalized ESD, 5 %", scoreESD, level(0.05)},
		{"Dixon r10, 5 %", scoreDixon, func(n int) float64 { return classic.DixonCritical(n, 0.05) }},
		{"Tukey fence, 1.5", scoreTukey, always(1.5)},
		{"MAD score, 3.5", classic.MADScores, always(3.5)},
		{"mean + 2 sd", scoreSigma, always(2)},
		{"2 times the mean", scoreMean, always(2)},
		{"1.5 times the median", scoreMedian, always(1.5)},
	}
}

func blank(into []float64) {
	for i := range into {
		into[i] = math.NaN()
	}
}

// scoreGrubbs scores the largest value alone, by -log10 of its level.
func scoreGrubbs(into, x []float64) {
	blank(into)
	if g := classic.Grubbs(x); g.Index >= 0 {
		into[g.Index] = -math.Log10(classic.GrubbsP(len(x), g.Statistic))
	}
}

// scoreESD scores the high ones among those taken away: each by the least
// level of its own step and the later ones, for a later outlier makes an
// outlier of all before it.
func scoreESD(into, x []float64) {
	blank(into)
	steps := classic.GeneralizedESD(x, len(x)/2)
	least := 1.0
	for k := len(steps) - 1; k >= 0; k-- {
		least = math.Min(least, steps[k].P())
		if steps[k].High {
			into[steps[k].Index] = -math.Log10(least)
		}
	}
}

func scoreDixon(into, x []float64) {
	blank(into)
	if d := classic.Dixon(x); d.Index >= 0 {
		into[d.Index] = d.Statistic
	}
}

// scoreTukey is the distance above the upper quartile in quartile distances;
// with no distance between the quartiles all above is beyond every fence.
func scoreTukey(into, x []float64) {
	first, third := classic.Quantile(x, 0.25, classic.R7), classic.Quantile(x, 0.75, classic.R7)
	for i, v := range x {
		into[i] = (v - third) / (third - first)
	}
}

func scoreSigma(into, x []float64) {
	mean, sd := stats.Mean(x), stats.StdDev(x)
	for i, v := range x {
		into[i] = (v - mean) / sd
	}
}

func scoreMean(into, x []float64)   { classic.Ratios(into, x, stats.Mean(x)) }
func scoreMedian(into, x []float64) { classic.Ratios(into, x, stats.Median(x)) }

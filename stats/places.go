package stats

import "math"

// Place is where a set's own comparison puts one of its values.
type Place int8

// The places: in the consensus or too little above it to matter; high only at
// the weaker error chance; high; low.
const (
	PlaceFine Place = iota
	PlaceHint
	PlaceHigh
	PlaceLow
)

// Agreement is the chi-square quantile beyond which a consensus does not agree
// with itself.
const Agreement = 0.99

// SetRule is what the comparison within a set decides by.
type SetRule struct {
	// FalseAlarm and FalseHint are the chances that a sound set gets a value
	// placed high, and high or hinted at.
	FalseAlarm, FalseHint float64
	// PracticalRatio is the ratio to the consensus below which no value is
	// high, however sure; 1 leaves that to the error chances.
	PracticalRatio float64
}

// Comparison is a set of logarithms held against its own consensus.
type Comparison struct {
	// Consensus is the one at FalseAlarm.
	Consensus Consensus
	// Places are in the order of the values.
	Places []Place
	// Critical is the one-sided critical value c at FalseAlarm.
	Critical float64
	// Disagrees says that the consensus does not agree with itself.
	Disagrees bool
	// Half says that half of the set was set aside on one side: half high
	// cannot be told from half low.
	Half bool
}

// CompareSet places the values y, logarithms with known standard deviations
// tau (FindConsensus says what both must be). Low are those set aside low at
// FalseAlarm; high those set aside high whose ratio to the consensus also
// reaches PracticalRatio; hinted at those that are so only at FalseHint,
// against that consensus.
func CompareSet(y, tau []float64, rule SetRule) Comparison {
	n := len(y)
	c := Comparison{Critical: SidakC(n, rule.FalseAlarm), Places: make([]Place, n)}
	split := newSplit(y, tau)
	c.Consensus = split.cheapest(c.Critical)
	strict := &c.Consensus
	loose := split.cheapest(SidakC(n, rule.FalseHint))
	c.Disagrees = strict.Disagrees(Agreement)
	c.Half = 2*strict.High == n || 2*strict.Low == n
	for i := range y {
		switch {
		case strict.IsLow(i):
			c.Places[i] = PlaceLow
		case strict.matters(i, rule.PracticalRatio):
			c.Places[i] = PlaceHigh
		case !strict.IsHigh(i) && loose.matters(i, rule.PracticalRatio):
			c.Places[i] = PlaceHint
		}
	}
	return c
}

// Ratio is that of value i, a logarithm, to the consensus.
func (k *Consensus) Ratio(i int) float64 { return math.Exp(k.y[i] - k.Mean) }

// matters says whether value i was set aside as high and lies far enough out.
func (k *Consensus) matters(i int, practicalRatio float64) bool {
	return k.IsHigh(i) && Round6(k.Ratio(i)) >= Round6(practicalRatio)
}

// BitingRatio is the ratio to a consensus of size values, all with standard
// deviation tau, from which a rule with the critical value c speaks: the
// larger of the practical ratio and exp(c tau sqrt(1 + 1/size)).
func BitingRatio(practicalRatio, c, tau float64, size int) float64 {
	return math.Max(practicalRatio, math.Exp(c*tau*math.Sqrt(1+1/float64(size))))
}

package stats

import "math"

// Constants of LearnSpread.
const (
	// LearnAlarm is the error chance at which tests are cleaned of what stands
	// apart.
	LearnAlarm = 0.01
	// LearnRounds bounds the iteration.
	LearnRounds = 50
	// LeastSpread is the least log standard deviation that any number of tests
	// is taken to show: sets closer than that were luck or rounding.
	LeastSpread = 0.04
	// fewestToLearn is the least size of a set that can be cleaned.
	fewestToLearn = 3
)

// SetSample is one test of a set of at least three: logarithms, and their own
// variances (measurement alone, without the spread between members).
type SetSample struct {
	Y           []float64
	OwnVariance []float64
}

// LearnedSpread is the spread between sound members of sets, learned without
// being told which of them are sound.
type LearnedSpread struct {
	// Spread is the log standard deviation: that of the tests pooled with the
	// assumed one. With no tests it is the assumed one.
	Spread float64
	// FromTests is that of the tests alone, at least LeastSpread; NaN without
	// tests.
	FromTests float64
	// DoF is the degrees of freedom of the tests, sum of (consensus - 1).
	DoF float64
	// Consensus is what each test was cleaned to, with what was set aside; of
	// size 0 where the test was too small to use.
	Consensus []Consensus
	// Rounds is how often the tests were cleaned. Settled says that the last
	// round changed nothing; otherwise the rounds reached LearnRounds and the
	// larger spread of the last two was taken.
	Rounds  int
	Settled bool
}

// LearnSpread pools the spread of the tests' consensuses about their own
// centres, so that the level of a test does not matter, with an assumed log
// standard deviation (> 0) that stands for AssumedDoF degrees of freedom.
// Every round cleans the tests at the spread so far and pools anew:
//
//	D     = sum (m - 1), m the size of a test's consensus
//	s_p^2 = max((sum of (y - m_c)^2 - sum (m - 1) u^2)/D, LeastSpread^2)
//	s^2   = (8 assumed^2 + D s_p^2)/(8 + D)
//
// with m_c the weighted mean and u^2 the mean own variance of the consensus,
// until a spread repeats itself after Round6; after LearnRounds the larger of
// the last two stands. A larger spread sets less aside, and what then comes
// back lies further out than the spread, so one round follows the other up or
// down and comes to rest, mostly within four. Cleaning at 1 % also takes the
// farthest sound values, and keeps bad ones that lie near. Tests of fewer than
// three values are left out.
func LearnSpread(tests []SetSample, assumed float64) LearnedSpread {
	before, l := LearnedSpread{}, LearnedSpread{Spread: assumed}
	for l.Rounds < LearnRounds && !l.Settled {
		before = l
		l = learnRound(tests, before.Spread, assumed)
		l.Rounds = before.Rounds + 1
		l.Settled = Round6(l.Spread) == Round6(before.Spread)
	}
	if before.Spread > l.Spread && !l.Settled {
		return before
	}
	return l
}

// learnRound cleans the tests at a spread and pools what is left.
func learnRound(tests []SetSample, spread, assumed float64) LearnedSpread {
	l := LearnedSpread{Consensus: make([]Consensus, len(tests))}
	var squares float64
	for i, t := range tests {
		if len(t.Y) < fewestToLearn {
			continue
		}
		k := cleaned(t, spread)
		l.Consensus[i] = k
		sum, own := k.squares(t.OwnVariance)
		squares += sum - float64(k.Size-1)*own
		l.DoF += float64(k.Size - 1)
	}
	if l.DoF == 0 {
		l.Spread, l.FromTests = assumed, math.NaN()
		return l
	}
	variance := math.Max(squares/l.DoF, LeastSpread*LeastSpread)
	l.FromTests = math.Sqrt(variance)
	l.Spread = math.Sqrt(PoolVariance(assumed*assumed, l.DoF*variance, l.DoF))
	return l
}

func cleaned(t SetSample, spread float64) Consensus {
	tau := make([]float64, len(t.Y))
	for i, own := range t.OwnVariance {
		tau[i] = math.Sqrt(spread*spread + own)
	}
	return FindConsensus(t.Y, tau, SidakC(len(t.Y), LearnAlarm))
}

// squares is the plain sum of squares of the consensus about its mean, and the
// mean own variance of its members.
func (k *Consensus) squares(ownVariance []float64) (sum, own float64) {
	for _, i := range k.Order[k.Low : len(k.Order)-k.High] {
		d := k.y[i] - k.Mean
		sum += d * d
		own += ownVariance[i] / float64(k.Size)
	}
	return sum, own
}

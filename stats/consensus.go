package stats

import "math"

// lowPenalty is what setting aside a low value costs beyond a high one: in a
// return-flow test a low value is far rarer a fault of the position.
const lowPenalty = 4

// Consensus is the largest group of a set that agrees with itself, and what
// was set aside for it.
type Consensus struct {
	// Order gives the indices of the values in rising order; the first Low and
	// the last High of them are set aside.
	Order []int
	Low   int
	High  int
	// Mean is the weighted mean of the consensus, Weight the sum of its weights.
	Mean   float64
	Weight float64
	// Q is the weighted sum of squares about Mean, over Size values.
	Q    float64
	Size int
	// Cost is what the winning candidate cost: Q + c^2 (High + Low) + 4 Low.
	Cost float64

	y, w  []float64
	ranks []int
}

// SidakC is the one-sided critical value for n values at a family error
// chance a: Phi^-1((1-a)^(1/n)).
func SidakC(n int, a float64) float64 {
	return sidakMemo.get(sidakKey{n, a}, func() float64 { return NormalQuantile(math.Pow(1-a, 1/float64(n))) })
}

type sidakKey struct {
	n int
	a float64
}

var sidakMemo memo[sidakKey]

// FindConsensus splits the values y (at least one, finite, usually logarithms)
// with known standard deviations tau (> 0, as many) into a consensus and as few
// as possible set aside, at most half of them. Each candidate sets aside the
// High highest and the Low lowest and costs Q + c^2 (High + Low) + 4 Low; the
// cheapest after Round6 wins, then the one that sets fewest aside, then the one
// that sets fewest low ones aside. Values that Round6 cannot tell apart are
// never parted. It is a penalised-likelihood outlier rule with known spread:
// for one value the same as z > c.
func FindConsensus(y, tau []float64, c float64) Consensus {
	s := newSplit(y, tau)
	return s.cheapest(c)
}

// split holds the sorted values, centred on their median, as running sums.
type split struct {
	y      []float64
	order  []int     // indices of the values in rising order
	ranks  []int     // and the place of each value in it
	w      []float64 // weights in the order of the input
	sorted []float64 // centred values, rising
	centre float64
	sw     []float64 // running sums over the sorted values: weights,
	swy    []float64 // weight times value,
	swyy   []float64 // weight times value squared
	// glued says that the k-th sorted value must not be parted from the one
	// before, which it equals.
	glued []bool
}

func newSplit(y, tau []float64) split {
	n := len(y)
	ints := make([]int, 2*n)
	s := split{y: y, order: ints[:n:n], ranks: ints[n:]}
	ascending(y, s.order)
	s.centre = (y[s.order[(n-1)/2]] + y[s.order[n/2]]) / 2 // the median
	buffer := make([]float64, 5*n+3)
	cut := func(k int) (part []float64) {
		part, buffer = buffer[:k:k], buffer[k:]
		return part
	}
	s.w, s.sorted, s.sw, s.swy, s.swyy = cut(n), cut(n), cut(n+1), cut(n+1), cut(n+1)
	s.glued = make([]bool, n+1)
	for i, t := range tau {
		s.w[i] = 1 / (t * t)
	}
	for k, i := range s.order {
		v, w := y[i]-s.centre, s.w[i]
		s.ranks[i], s.sorted[k] = k, v
		s.glued[k] = k > 0 && Round6(v-s.sorted[k-1]) == 0
		s.sw[k+1], s.swy[k+1], s.swyy[k+1] = s.sw[k]+w, s.swy[k]+w*v, s.swyy[k]+w*v*v
	}
	return s
}

// cheapest is the consensus at the critical value c.
func (s *split) cheapest(c float64) Consensus {
	n := len(s.sorted)
	best, rounded := candidate{}, math.Inf(1)
	for aside := 0; aside <= n/2; aside++ {
		for low := 0; low <= aside; low++ {
			k := candidate{low: low, end: n - (aside - low)}
			if s.glued[k.low] || s.glued[k.end] {
				continue
			}
			s.squares(&k)
			k.cost = k.q + c*c*float64(aside) + lowPenalty*float64(low)
			if r := Round6(k.cost); r < rounded {
				best, rounded = k, r
			}
		}
	}
	return s.consensus(best)
}

// candidate is the sorted values from low to end, as a consensus.
type candidate struct {
	low, end int
	w, wy    float64 // sums of weights and of weighted values
	q, cost  float64
}

// squares sets the candidate's sums, its weighted sum of squares among them.
func (s *split) squares(k *candidate) {
	k.w = s.sw[k.end] - s.sw[k.low]
	k.wy = s.swy[k.end] - s.swy[k.low]
	k.q = max(0, s.swyy[k.end]-s.swyy[k.low]-k.wy*k.wy/k.w)
}

func (s *split) consensus(k candidate) Consensus {
	return Consensus{
		Order: s.order, Low: k.low, High: len(s.order) - k.end,
		Mean: s.centre + k.wy/k.w, Weight: k.w, Q: k.q, Size: k.end - k.low, Cost: k.cost,
		y: s.y, w: s.w, ranks: s.ranks,
	}
}

// IsHigh says whether value i was set aside as high.
func (k *Consensus) IsHigh(i int) bool { return k.ranks[i] >= len(k.Order)-k.High }

// IsLow says whether value i was set aside as low.
func (k *Consensus) IsLow(i int) bool { return k.ranks[i] < k.Low }

// Z is the standardised distance of value i from the consensus without it:
// (y_i - M_i)/sqrt(tau_i^2 + 1/W_i); NaN where nothing else is in it.
func (k *Consensus) Z(i int) float64 {
	mean, weight := k.Mean, k.Weight
	if !k.IsHigh(i) && !k.IsLow(i) {
		if k.Size == 1 {
			return math.NaN()
		}
		weight -= k.w[i]
		mean = (k.Mean*k.Weight - k.w[i]*k.y[i]) / weight
	}
	return (k.y[i] - mean) / math.Sqrt(1/k.w[i]+1/weight)
}

// Disagrees says whether the consensus does not agree with itself: Q beyond
// the p quantile of chi-square with Size-1 degrees of freedom.
func (k *Consensus) Disagrees(p float64) bool {
	if k.Size < 2 {
		return false
	}
	return Round6(k.Q) > Round6(ChiSquareQuantile(p, float64(k.Size-1)))
}

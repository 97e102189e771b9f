package simulate

import (
	"math"

	"leakback/stats"
)

// Limit is the likelihood-ratio test for leaks of which nearly everything is
// known: the healthy spread, how large a leak is and how many cylinders leak,
// or that at most half of them do; only not which. For a normal healthy spread
// and where the number is known, no rule of the same error chance finds all the
// leaking cylinders more often (Neyman & Pearson, with the level of the set, of
// which nothing is known, taken out): the gain of calling a group S is its
// likelihood f_S, the cost that of a healthy engine f_0, so the S with the
// largest ratio is called where that is beyond a bar. With one cylinder in
// doubt it is the largest z, whatever the leak. Where the number is not known
// every cylinder called has to bring in the bar, as if leaks were independent.
// Nobody knows so much: it bounds what can be gained and is no rule for use.
type Limit struct {
	Knows Knowledge
	// Leaking is how many cylinders leak, less than all; 0 where that is not
	// known, and at most half.
	Leaking int
	// Ratio is how much they leak.
	Ratio float64
	// Bar is the log likelihood ratio that each of the group must bring in.
	Bar float64
}

// Judge calls the group high whose likelihood ratio is furthest beyond its bar.
func (l Limit) Judge(s *Sample, shop Shop, j *Judgement) {
	var best float64
	var group []int
	l.groups(s, l.Knows(shop), func(ratio float64, members []int) {
		if beyond := ratio - l.Bar*float64(len(members)); beyond > best {
			best = beyond
			group = append(group[:0], members...)
		}
	})
	for _, i := range group {
		j.Places[i] = stats.PlaceHigh
	}
}

// least is the least bar at which nothing of the sample is called high.
func (l Limit) least(s *Sample, spread float64) float64 {
	bar := math.Inf(-1)
	l.groups(s, spread, func(ratio float64, members []int) {
		bar = math.Max(bar, ratio/float64(len(members)))
	})
	return bar
}

// groups gives every group that may leak with its log likelihood ratio,
// (Q_0 - Q_S)/2 with Q the weighted sum of squares about the weighted mean, the
// logarithm of Ratio taken off the members of S.
func (l Limit) groups(s *Sample, spread float64, f func(ratio float64, members []int)) {
	n, shift := len(s.Y), math.Log(l.Ratio)
	w, centre := make([]float64, n), stats.Mean(s.Y)
	var sw, swy float64
	for i, own := range s.OwnVariance {
		w[i] = 1 / (spread*spread + own)
		sw += w[i]
		swy += w[i] * (s.Y[i] - centre)
	}
	ratio := func(members []int) {
		var a, b float64 // sums of w and w y over the group
		for _, i := range members {
			a += w[i]
			b += w[i] * (s.Y[i] - centre)
		}
		// Q_0 - Q_S with the squares that are in both left out.
		shifted := swy - shift*a
		f((2*shift*b-shift*shift*a+(shifted*shifted-swy*swy)/sw)/2, members)
	}
	if l.Leaking > 0 {
		combinations(n, l.Leaking, ratio)
		return
	}
	for k := 1; k <= n/2; k++ {
		combinations(n, k, ratio)
	}
}

// combinations calls f with every choice of k of n, in one slice.
func combinations(n, k int, f func([]int)) {
	at := make([]int, k)
	for i := range at {
		at[i] = i
	}
	for {
		f(at)
		i := k - 1
		for i >= 0 && at[i] == n-k+i {
			i--
		}
		if i < 0 {
			return
		}
		at[i]++
		for m := i + 1; m < k; m++ {
			at[m] = at[m-1] + 1
		}
	}
}

package simulate

import (
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"

	"leakback/stats"
)

// Tally counts what a rule did to the engines of a scene. A leaking cylinder
// (factor above 1) ought to be called high, one that returns too little
// (factor below 1) low, and a sound one neither.
type Tally struct {
	Engines int
	// High: any cylinder was called high. HighOrHint: or hinted at. Low: any
	// was called low. Any: any of these.
	High, HighOrHint, Low, Any int
	// FoundAll: every faulty cylinder was called what it is. FoundOne: at least
	// one was. HintedAll: every one was called so or hinted at.
	FoundAll, FoundOne, HintedAll int
	// FalseHigh: a cylinder that does not leak was called high. FalseLow: one
	// that does not return too little was called low.
	FalseHigh, FalseLow int
	// Disagrees: the set did not agree with itself. Refused: no comparison.
	Disagrees, Refused int
	// Silent: nothing at all was said.
	Silent int
}

// Rate is a count as a share of the engines.
func (t Tally) Rate(count int) float64 { return float64(count) / float64(t.Engines) }

func (t *Tally) add(o Tally) {
	t.Engines += o.Engines
	t.High += o.High
	t.HighOrHint += o.HighOrHint
	t.Low += o.Low
	t.Any += o.Any
	t.FoundAll += o.FoundAll
	t.FoundOne += o.FoundOne
	t.HintedAll += o.HintedAll
	t.FalseHigh += o.FalseHigh
	t.FalseLow += o.FalseLow
	t.Disagrees += o.Disagrees
	t.Refused += o.Refused
	t.Silent += o.Silent
}

// count adds one engine.
func (t *Tally) count(factor []float64, j *Judgement) {
	var high, hint, low, falseHigh, falseLow bool
	faulty, found, hinted := 0, 0, 0
	for i, place := range j.Places {
		f := factor[i]
		high = high || place == stats.PlaceHigh
		hint = hint || place == stats.PlaceHint
		low = low || place == stats.PlaceLow
		falseHigh = falseHigh || place == stats.PlaceHigh && f <= 1
		falseLow = falseLow || place == stats.PlaceLow && f >= 1
		if f != 1 {
			faulty++
		}
		if f > 1 && place == stats.PlaceHigh || f < 1 && place == stats.PlaceLow {
			found++
		} else if f > 1 && place == stats.PlaceHint {
			hinted++
		}
	}
	tick := func(counter *int, is bool) {
		if is {
			*counter++
		}
	}
	t.Engines++
	tick(&t.High, high)
	tick(&t.HighOrHint, high || hint)
	tick(&t.Low, low)
	tick(&t.Any, high || hint || low)
	tick(&t.FoundAll, faulty > 0 && found == faulty)
	tick(&t.FoundOne, found > 0)
	tick(&t.HintedAll, faulty > 0 && found+hinted == faulty)
	tick(&t.FalseHigh, falseHigh)
	tick(&t.FalseLow, falseLow)
	tick(&t.Disagrees, j.Disagrees)
	tick(&t.Refused, j.Refused)
	tick(&t.Silent, !high && !hint && !low && !j.Disagrees && !j.Refused)
}

const (
	// chunkEngines is how many engines one stream of random numbers draws.
	chunkEngines = 500
	// shopEngines is how many engines a shop judges by what it learned once.
	shopEngines = 10
	// badEvery: of the tests a shop learns from, the first and every third
	// after it hold a bad injector, at badFactor.
	badEvery  = 3
	badFactor = 2
)

// Streams of one seed that must not meet.
const (
	streamEngines uint64 = iota
	streamLearning
	streamBars
)

// Experiment is a scene with the rules to judge it, all on the same engines.
type Experiment struct {
	Scene   Scene
	Rules   []Rule
	Engines int // rounded up to whole chunks
	Seed    uint64
	// Learn lists from how many earlier tests a shop learns, rising; AssumedCV
	// is the relative spread that it starts from.
	Learn     []int
	AssumedCV float64
}

// Run judges the engines by every rule: one tally a rule.
func (x Experiment) Run() []Tally {
	chunks := (x.Engines + chunkEngines - 1) / chunkEngines
	parts := make([][]Tally, chunks)
	inParallel(chunks, func(c int) { parts[c] = x.chunk(uint64(c)) })
	total := make([]Tally, len(x.Rules))
	for _, part := range parts {
		for i := range total {
			total[i].add(part[i])
		}
	}
	return total
}

// random is a stream of the seed for one purpose and one chunk. The number of
// the stream is scattered (the finaliser of splitmix64, from memory), so that
// streams do not start next to one another.
func random(seed, stream, chunk uint64) *rand.Rand {
	z := (stream<<32 | chunk) + 0x9e3779b97f4a7c15
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return rand.New(rand.NewPCG(seed, z^z>>31))
}

func (x Experiment) chunk(c uint64) []Tally {
	engines, learning := random(x.Seed, streamEngines, c), random(x.Seed, streamLearning, c)
	tallies := make([]Tally, len(x.Rules))
	var engine Engine
	var sample Sample
	var j Judgement
	var shop Shop
	for k := range chunkEngines {
		if k%shopEngines == 0 {
			shop = x.shop(learning)
		}
		x.Scene.Draw(engines, &engine)
		x.Scene.Observe(&engine, &sample)
		for i, rule := range x.Rules {
			j.reset(x.Scene.Cylinders)
			rule.Judge(&sample, shop, &j)
			tallies[i].count(engine.Factor, &j)
		}
	}
	return tallies
}

// shop is a workshop that has tested engines of this kind before.
func (x Experiment) shop(r *rand.Rand) Shop {
	shop := Shop{TrueSpread: stats.LogSpread(x.Scene.HealthyCV)}
	if len(x.Learn) == 0 {
		return shop
	}
	shop.Learned = make(map[int]float64, len(x.Learn))
	tests := x.Scene.EarlierTests(r, x.Learn[len(x.Learn)-1])
	for _, n := range x.Learn {
		shop.Learned[n] = stats.LearnSpread(tests[:n], stats.LogSpread(x.AssumedCV)).Spread
	}
	return shop
}

// EarlierTests draws tests of engines like the scene's, a third of which (the
// first, the fourth and so on) hold one injector at twice its return.
func (s Scene) EarlierTests(r *rand.Rand, n int) []stats.SetSample {
	tests := make([]stats.SetSample, 0, n)
	var engine Engine
	for k := range n {
		s.Factors = nil
		if k%badEvery == 0 {
			s.Factors = []float64{badFactor}
		}
		var sample Sample
		s.Draw(r, &engine)
		s.Observe(&engine, &sample)
		tests = append(tests, stats.SetSample{Y: sample.Y, OwnVariance: sample.OwnVariance})
	}
	return tests
}

// Bars finds, on healthy engines of a scene, the bars above which scores come
// up in at most a share of the engines: for every score the least bar that
// keeps to it. +Inf where ties leave none.
func (s Scene) Bars(scores []Score, share float64, engines int, seed uint64) []float64 {
	most := s.healthyMost(len(scores), engines, seed, func(i int, sample *Sample, into []float64) float64 {
		scores[i](into, sample.RateMLMin)
		return largestOf(into)
	})
	bars := make([]float64, len(scores))
	for i := range bars {
		bars[i] = upperQuantile(most[i], share)
	}
	return bars
}

// CalibrateLimit sets the limit's bar on healthy engines whose spread is the
// one it goes by, so that its error chance is share if what it knows is true.
func (s Scene) CalibrateLimit(l Limit, healthyCV, share float64, engines int, seed uint64) Limit {
	s.HealthyCV = healthyCV
	spread := stats.LogSpread(healthyCV)
	most := s.healthyMost(1, engines, seed, func(_ int, sample *Sample, _ []float64) float64 {
		return l.least(sample, spread)
	})
	l.Bar = upperQuantile(most[0], share)
	return l
}

// healthyMost collects a figure for each of count rules on healthy engines.
func (s Scene) healthyMost(count, engines int, seed uint64, figure func(int, *Sample, []float64) float64) [][]float64 {
	s.Factors = nil
	chunks := (engines + chunkEngines - 1) / chunkEngines
	most := make([][]float64, count)
	for i := range most {
		most[i] = make([]float64, chunks*chunkEngines)
	}
	inParallel(chunks, func(c int) {
		r := random(seed, streamBars, uint64(c))
		var engine Engine
		var sample Sample
		into := make([]float64, s.Cylinders)
		for k := range chunkEngines {
			s.Draw(r, &engine)
			s.Observe(&engine, &sample)
			for i := range count {
				most[i][c*chunkEngines+k] = figure(i, &sample, into)
			}
		}
	})
	return most
}

// largestOf is the largest score, -Inf where none is a number.
func largestOf(scores []float64) float64 {
	most := math.Inf(-1)
	for _, v := range scores {
		if v > most {
			most = v
		}
	}
	return most
}

// upperQuantile is the value that at most a share of x exceeds, the least of
// them that is in x.
func upperQuantile(x []float64, share float64) float64 {
	slices.Sort(x)
	return x[len(x)-1-int(share*float64(len(x)))]
}

// inParallel calls f for 0 to n-1 on every processor. What each call does must
// depend on its number alone.
func inParallel(n int, f func(int)) {
	var wait sync.WaitGroup
	next := make(chan int)
	for range min(n, runtime.GOMAXPROCS(0)) {
		wait.Go(func() {
			for i := range next {
				f(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wait.Wait()
}

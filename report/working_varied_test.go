package report

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/limits"
)

// varied makes invented tests and limits sheets, the same for a seed: 2 to 16
// cylinders, 1 to 3 runs, unlike tubes and intervals, bounds, start levels,
// unread cylinders, states recorded or not, and limits of every kind.
type varied struct{ rng *rand.Rand }

// variedCase is one test with its sheet.
type variedCase struct {
	name  string
	test  *leakback.Test
	sheet *limits.Sheet
}

// variedCases are so many of them.
func variedCases(n int, seed uint64) []variedCase {
	v := varied{rand.New(rand.NewPCG(seed, 7))}
	all := make([]variedCase, n)
	for i := range all {
		all[i] = variedCase{fmt.Sprintf("case%03d", i), v.test(i), v.sheet(i)}
	}
	return all
}

// pick picks one of several.
func pick[T any](v varied, of ...T) T { return of[v.rng.IntN(len(of))] }

func (v varied) tube() leakback.Tube {
	return pick(v, leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 1},
		leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 1},
		leakback.Tube{GraduationML: 0.2, CapacityML: 25, ToleranceML: 0.17, Class: "A"},
		leakback.Tube{GraduationML: 2, CapacityML: 250, ToleranceML: 2, Class: "B"},
		leakback.Tube{GraduationML: 0.5})
}

func (v varied) test(i int) *leakback.Test {
	n := []int{6, 4, 8, 3, 16, 2, 5, 12, 6, 4, 7, 10}[i%12]
	t := &leakback.Test{ID: fmt.Sprintf("V%d", i), Condition: pick(v, "idle", "idle", "Idle ", "cranking", ""),
		Injectors: pick(v, "", limits.Driven, limits.Driven, limits.Off), Method: leakback.MethodIndividual, Cylinders: n}
	level, spread := pick(v, 0.5, 5.0, 20, 30, 39, 60), pick(v, 0.01, 0.05, 0.1, 0.2, 0.5)
	rates, tubes := make([]float64, n), make([]leakback.Tube, n)
	common := v.tube()
	for c := range rates {
		rates[c], tubes[c] = level*math.Exp(spread*v.rng.NormFloat64()), common
		if v.rng.IntN(7) == 0 {
			rates[c] *= pick(v, 0.1, 0.4, 1.4, 1.6, 2.0, 3)
		}
		if v.rng.IntN(6) == 0 {
			tubes[c] = v.tube()
		}
	}
	missing, steady := v.rng.IntN(6) == 0, v.rng.IntN(2) == 0
	state := v.state()
	for k := range pick(v, 1, 1, 2, 2, 3) {
		if !steady {
			state = v.state()
		}
		t.Runs = append(t.Runs, v.run(k, state, rates, tubes, missing))
	}
	switch last := len(t.Runs) - 1; {
	case i%11 == 5: // nobody took the time
		t.Runs = t.Runs[:1]
		t.Runs[0].IntervalS = math.NaN()
	case i%9 == 4 && last > 0:
		t.Runs[v.rng.IntN(last+1)].LeftOut = "invented: the hose was kinked"
	}
	return t
}

func (v varied) state() leakback.State {
	nan := math.NaN()
	return leakback.State{Cranks: pick(v, 0, 1, 1, 2), FuelTempC: pick(v, nan, 20, 45, 45, 70), FuelTempAt: "return",
		RailPressureBar: pick(v, nan, 280, 350, 350, 420), BackPressureBar: pick(v, nan, 10, 10, 10, 20),
		EngineRPM: pick(v, nan, 500, 750, 750, 1000)}
}

// run is one run: some cylinders may be unread, and where missing is asked for,
// some have no reading at all.
func (v varied) run(k int, state leakback.State, rates []float64, tubes []leakback.Tube, missing bool) leakback.Run {
	run := leakback.Run{Number: k + 1, IntervalS: pick(v, 15.0, 30, 60, 60, 60, 100), State: state}
	scatter := pick(v, 0, 0.01, 0.03, 0.2)
	for c, rate := range rates {
		if missing && v.rng.IntN(6) == 0 {
			continue
		}
		r := leakback.Reading{Cylinder: c + 1, VolumeML: math.NaN(), Tube: tubes[c]}
		if v.rng.IntN(40) > 0 {
			v.read(&r, rate*run.IntervalS/60*math.Exp(scatter*v.rng.NormFloat64()))
		}
		run.Readings = append(run.Readings, r)
	}
	return run
}

// read reads a volume to the nearest mark.
func (v varied) read(r *leakback.Reading, volume float64) {
	g := r.Tube.GraduationML
	if v.rng.IntN(8) == 0 {
		r.StartML, r.StartRead = 2*g, true
		volume += r.StartML
	}
	level, err := strconv.ParseFloat(strconv.FormatFloat(math.Round(volume/g)*g, 'f', 3, 64), 64)
	if err != nil {
		panic(err)
	}
	r.VolumeML = max(level, r.StartML)
	switch {
	case r.Tube.CapacityML > 0 && r.VolumeML > r.Tube.CapacityML:
		r.VolumeML, r.Bound = r.Tube.CapacityML, leakback.AtLeast
	case v.rng.IntN(60) == 0 && r.VolumeML > r.StartML:
		r.Bound = leakback.AtLeast
	case volume < g && v.rng.IntN(2) == 0:
		r.VolumeML, r.Bound = g, leakback.AtMost
	}
	r.Typed = strings.Trim(r.Bound.String(), "=") + plainFigure(r.VolumeML)
}

func (v varied) some(of ...float64) *float64 {
	x := pick(v, of...)
	return &x
}

// sheet is one of several kinds of limits sheet, by turns.
func (v varied) sheet(i int) *limits.Sheet {
	s := limits.Builtin()
	s.Set.WithinLimit = pick(v, limits.WithinUndecided, limits.WithinFail, limits.WithinPass)
	s.Set.HealthyCV, s.Set.PracticalRatio = pick(v, 0.08, 0.15, 0.2), pick(v, 1.0, 1.3, 1.5)
	s.Measurement.RepeatabilityCV, s.Measurement.CommonCV = pick(v, 0.01, 0.03, 0.06), pick(v, 0.005, 0.02, 0.05)
	if v.rng.IntN(8) == 0 {
		s.BackPressureBar = &limits.Range{Low: 8, High: 12}
	}
	idle := limits.Limit{Condition: "idle", Source: "invented"}
	switch i % 7 {
	case 0:
		return s
	case 1:
		idle.MaxRateMLMin, idle.MinRateMLMin = v.some(20, 30, 40), v.some(2, 15)
	case 2:
		idle.MaxVolumeML, idle.IntervalS, idle.MaxRatioToMedian = v.some(7, 10), v.some(13, 15), v.some(1.2, 1.5, 2)
	case 3:
		idle.MaxRatioToMean, idle.MaxRatioToLowest, idle.MaxRatioToMedian = v.some(1.1, 1.5), v.some(1.3, 2, 3), v.some(1.05, 1.4)
	case 4:
		idle.MaxTotalMLMin, idle.MaxDifferenceMLMin = v.some(80, 120, 180, 300), v.some(2, 10, 20, 40)
	case 5:
		idle.MaxRateMLMin, idle.MaxTotalMLMin, idle.MinRateMLMin = v.some(20, 30, 40), v.some(120, 180), v.some(2, 15)
		idle.MaxRatioToMean, idle.MaxDifferenceMLMin = v.some(1.1, 1.5), v.some(10, 20)
		v.given(&idle)
	case 6:
		s.Limits = v.several(idle)
		return s
	}
	cranking := limits.Limit{Condition: "cranking", MaxRateMLMin: v.some(20, 30), Cranks: 1, Source: "invented"}
	if v.rng.IntN(2) == 0 {
		v.given(&idle)
	}
	s.Limits = []limits.Limit{idle, cranking}
	return s
}

// given restricts a limit to states.
func (v varied) given(l *limits.Limit) {
	if v.rng.IntN(2) == 0 {
		l.RailPressureBar = &limits.Range{Low: 300, High: 400}
	}
	if v.rng.IntN(2) == 0 {
		l.FuelTempC = &limits.Range{Low: 35, High: 60}
	}
	if v.rng.IntN(2) == 0 {
		l.EngineRPM = &limits.Range{Low: 700, High: 800}
	}
	l.Injectors, l.Cranks = pick(v, "", limits.Driven), pick(v, 0, 0, 1)
}

// several are limits for one condition, told apart by states.
func (v varied) several(l limits.Limit) []limits.Limit {
	a, b, c := l, l, l
	a.MaxRateMLMin, b.MaxRateMLMin, c.MaxRateMLMin = v.some(30), v.some(40), v.some(50)
	switch v.rng.IntN(4) {
	case 0:
		a.Injectors, b.Injectors = limits.Driven, limits.Off
		return []limits.Limit{a, b}
	case 1:
		a.RailPressureBar, b.RailPressureBar = &limits.Range{Low: 200, High: 300}, &limits.Range{Low: 320, High: 400}
		c.RailPressureBar, c.MaxTotalMLMin = &limits.Range{Low: 410, High: 500}, v.some(150)
		return []limits.Limit{a, b, c}
	case 2:
		a.Cranks, b.Cranks, b.MinRateMLMin = 1, 2, v.some(5)
		return []limits.Limit{a, b}
	}
	a.FuelTempC, a.EngineRPM = &limits.Range{Low: 10, High: 40}, &limits.Range{Low: 400, High: 600}
	b.FuelTempC, b.EngineRPM = &limits.Range{Low: 41, High: 80}, &limits.Range{Low: 600, High: 900}
	c.FuelTempC, c.Injectors = &limits.Range{Low: 41, High: 80}, limits.Off
	return []limits.Limit{a, b, c}
}

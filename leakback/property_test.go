package leakback_test

import (
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/stats"
)

// judged evaluates a drawn test; nil where it is refused, which only a merged
// return that its runs do not determine and what has no run are.
func judged(t *rapid.T, test *leakback.Test, sheet *limits.Sheet) *leakback.Result {
	t.Helper()
	r, err := leakback.Evaluate(test, sheet)
	if err != nil {
		require.Regexp(t, `^every run is left out|^an unknown interval|^no run blocks|return line|overflowed|`+
			`^the runs do not|^every cylinder is blocked|first mark`, err.Error())
		require.Nil(t, r)
	}
	return r
}

// Whatever is entered gets a result that keeps what its types promise: numbers
// where a number is promised, bounds without uncertainty, a settle advice for
// what is open and none for what is not, and sentences that people can read.
func TestResultsKeepTheirPromise(t *testing.T) {
	drawn(t, maker.test, func(t *rapid.T, _ maker, test *leakback.Test, sheet *limits.Sheet) {
		r := judged(t, test, sheet)
		if r == nil {
			return
		}
		for i := range r.Cylinders {
			require.True(t, i == 0 || r.Cylinders[i].Cylinder > r.Cylinders[i-1].Cylinder)
			requireCylinder(t, r, &r.Cylinders[i])
		}
		requireWhole(t, r)
		for _, text := range texts(r) {
			require.NotRegexp(t, `NaN|Inf|%!|^\s|\s$|  |^$|\n|nil|-0(\.0+)?( |$)`, text)
		}
		_, err := leakback.SampleOf(test, sheet)
		require.NoError(t, err)
	})
}

func requireCylinder(t *rapid.T, r *leakback.Result, c *leakback.Cylinder) {
	t.Helper()
	b := &c.Budget
	timed := !r.Has(leakback.NoInterval) && !slices.ContainsFunc(r.Test.Runs, func(run leakback.Run) bool { return math.IsNaN(run.IntervalS) })
	require.Equal(t, c.Verdict == leakback.Unread || !timed, math.IsNaN(c.RateMLMin))
	if plain := c.Bound == leakback.Exact && !math.IsNaN(c.RateMLMin); plain {
		requireNumbers(t, b.ReadingMLMin, b.TubeMLMin, b.RepeatabilityMLMin, b.TimingMLMin, b.CommonMLMin)
		require.True(t, b.StandardMLMin > 0 && b.ExpandedMLMin > b.StandardMLMin && c.RateMLMin > 0)
		require.True(t, b.DoF >= 1 && b.DoF <= stats.MaxDoF && b.DoF == math.Floor(b.DoF), "%v", b.DoF)
		require.InEpsilon(t, b.StandardMLMin, stats.Quadrature(b.ReadingMLMin, b.TubeMLMin, b.RepeatabilityMLMin,
			b.TimingMLMin, b.CommonMLMin), 1e-12)
	} else {
		for _, x := range []float64{b.ReadingMLMin, b.TubeMLMin, b.RepeatabilityMLMin, b.TimingMLMin, b.CommonMLMin,
			b.StandardMLMin, b.DoF, b.ExpandedMLMin} {
			require.True(t, math.IsNaN(x))
		}
	}
	if !math.IsNaN(r.MedianMLMin) && !math.IsNaN(c.RateMLMin) {
		require.InEpsilon(t, c.RateMLMin/r.MedianMLMin, c.RatioToMedian, 1e-12)
	}
	require.Equal(t, r.Agreeing > 0 && c.Verdict != leakback.Unread, !math.IsNaN(c.RatioToConsensus))
	require.True(t, math.IsNaN(c.ProbabilityOver) || c.ProbabilityOver >= 0 && c.ProbabilityOver <= 1)
	require.False(t, math.IsInf(c.Z, 0) || math.IsInf(c.BitingRatio, 0) || c.RatioToConsensus <= 0 || math.IsInf(c.RatioToConsensus, 0))
	require.True(t, math.IsNaN(c.BitingRatio) || c.BitingRatio >= r.Sheet.Set.PracticalRatio)
	require.Equal(t, c.Verdict == leakback.Undecided || c.Verdict == leakback.Unread, c.Settle != nil, "%v", c.Verdict)
	requireSettle(t, c.Settle)
	requireFindings(t, c.Findings, "over-limit under-limit over-ratio high-in-set close-to-limit close-in-set low-in-set unsteady "+
		"over-range no-return below-first-mark")
}

func requireNumbers(t *rapid.T, numbers ...float64) {
	t.Helper()
	for _, x := range numbers {
		require.True(t, x >= 0 && !math.IsInf(x, 1), "%v", numbers)
	}
}

func requireSettle(t *rapid.T, s *leakback.Settle) {
	t.Helper()
	if s == nil {
		return
	}
	for _, x := range []float64{s.CollectS, s.SaidS, s.TubeML, s.GraduationML} {
		require.True(t, math.IsNaN(x) || x > 0 && !math.IsInf(x, 1), "%+v", s)
	}
	require.Contains(t, "collect repeat finer-tube larger-tube check-hose limit swap record-state read all-blocked", string(s.Action))
	require.GreaterOrEqual(t, s.Runs, 0)
}

// requireFindings wants each code once, of those that the file contracts name.
func requireFindings(t *rapid.T, findings []leakback.Finding, known string) {
	t.Helper()
	seen := map[leakback.Code]bool{}
	for _, f := range findings {
		require.Contains(t, strings.Fields(known), string(f.Code))
		require.False(t, seen[f.Code], "%v twice", f.Code)
		seen[f.Code] = true
	}
}

// requireWhole holds what is said of the test against what is said of its
// cylinders.
func requireWhole(t *rapid.T, r *leakback.Result) {
	t.Helper()
	worst := leakback.Pass
	for i := range r.Cylinders {
		worst = max(worst, r.Cylinders[i].Verdict)
	}
	require.GreaterOrEqual(t, r.Verdict, worst)
	if r.Verdict == leakback.Fail && worst != leakback.Fail {
		require.True(t, r.Has(leakback.OverTotal) || r.Has(leakback.OverDifference))
	}
	open := r.Verdict == leakback.Undecided || r.Verdict == leakback.Unread
	require.Equal(t, open, r.Settle != nil, "%v %v", r.Verdict, r.Findings)
	requireSettle(t, r.Settle)
	require.True(t, math.IsNaN(r.MedianMLMin) || r.MedianMLMin > 0)
	require.Equal(t, math.IsNaN(r.TotalMLMin), math.IsNaN(r.Total.StandardMLMin))
	require.Equal(t, r.Test.Method == leakback.MethodBlockOff, r.BlockOff != nil)
	require.Equal(t, r.Test.Method == leakback.MethodTotal, len(r.Cylinders) == 0)
	requireFindings(t, r.Findings, "over-total over-difference close-to-total close-to-difference no-consensus too-little-return "+
		"other-return pressure-not-held back-pressure outside-limit-state state-unknown other-crank-pattern sequential "+
		"set-together-high half-set few-cylinders no-absolute-limit no-interval")
	for _, a := range r.Applied {
		require.False(t, math.IsNaN(a.Value) || math.IsInf(a.Value, 0) || a.Source == "" || a.What == "")
	}
}

// texts are all sentences of a result.
func texts(r *leakback.Result) []string {
	list := slices.Clone(r.Notes)
	add := func(findings []leakback.Finding, s *leakback.Settle) {
		for _, f := range findings {
			list = append(list, f.Text)
		}
		if s != nil {
			list = append(list, s.Text)
		}
	}
	add(r.Findings, r.Settle)
	for i := range r.Cylinders {
		add(r.Cylinders[i].Findings, r.Cylinders[i].Settle)
	}
	return list
}

// scaled is a test in other units of volume and time.
func scaled(test *leakback.Test, volume, time float64) *leakback.Test {
	other := *test
	other.Runs = slices.Clone(test.Runs)
	for k := range other.Runs {
		run := &other.Runs[k]
		run.IntervalS *= time
		run.Readings = slices.Clone(run.Readings)
		for i := range run.Readings {
			r := &run.Readings[i]
			r.VolumeML *= volume
			r.StartML *= volume
			r.Tube.GraduationML *= volume
			r.Tube.CapacityML *= volume
			r.Tube.ToleranceML *= volume
		}
	}
	return &other
}

// scaledSheet is a sheet in other units of volume and time.
func scaledSheet(sheet *limits.Sheet, volume, time float64) *limits.Sheet {
	other := *sheet
	other.Measurement.TimingS *= time
	other.Measurement.MaxCrankS *= time
	other.Measurement.RestS *= time
	other.Limits = slices.Clone(sheet.Limits)
	for i := range other.Limits {
		l := &other.Limits[i]
		for _, f := range []struct {
			to *(*float64)
			by float64
		}{
			{&l.MaxRateMLMin, volume / time}, {&l.MinRateMLMin, volume / time}, {&l.MaxTotalMLMin, volume / time},
			{&l.MaxDifferenceMLMin, volume / time}, {&l.MaxVolumeML, volume}, {&l.IntervalS, time},
		} {
			if *f.to != nil {
				*f.to = figure(**f.to * f.by)
			}
		}
	}
	return &other
}

// The units of volume and time are nobody's business: marks, capacity, tolerance
// and limits in them, every verdict is the same and every rate another figure of
// the same size. Without an absolute limit that is said of the engine alone.
func TestUnitsOfVolumeAndTimeDoNotMatter(t *testing.T) {
	drawn(t, maker.test, func(t *rapid.T, m maker, test *leakback.Test, sheet *limits.Sheet) {
		volume, time := m.one("volume", 1, 0.5, 3, 29.5735295625), m.one("time", 1, 2, 0.25, 4)
		r := judged(t, test, sheet)
		other := judged(t, scaled(test, volume, time), scaledSheet(sheet, volume, time))
		require.Equal(t, r == nil, other == nil)
		if r == nil {
			return
		}
		require.Equal(t, codes(r), codes(other))
		rate := volume / time
		requireScaled(t, rate, r.TotalMLMin, other.TotalMLMin)
		requireScaled(t, rate, r.MedianMLMin, other.MedianMLMin)
		for i := range r.Cylinders {
			a, b := &r.Cylinders[i], &other.Cylinders[i]
			requireScaled(t, rate, a.RateMLMin, b.RateMLMin)
			requireScaled(t, rate, a.Budget.StandardMLMin, b.Budget.StandardMLMin)
			requireScaled(t, 1, a.RatioToMedian, b.RatioToMedian)
			requireScaled(t, 1, a.RatioToConsensus, b.RatioToConsensus)
			requireScaled(t, 1, a.ProbabilityOver, b.ProbabilityOver)
		}
	})
}

// requireScaled holds a figure, which may not exist, against another that is so
// many times as large.
func requireScaled(t *rapid.T, scale, want, got float64) {
	t.Helper()
	require.Equal(t, math.IsNaN(want), math.IsNaN(got))
	if !math.IsNaN(want) {
		require.InDelta(t, scale*want, got, 1e-6*scale*(1+math.Abs(want)))
	}
}

// The number of a cylinder is a name: with the numbers changed about, in the
// readings, in what was blocked and in the sheet's return lines, every verdict
// goes with its cylinder, also where some are equal.
func TestNumbersOfCylindersAreNames(t *testing.T) {
	drawn(t, maker.test, func(t *rapid.T, m maker, test *leakback.Test, sheet *limits.Sheet) {
		r := judged(t, test, sheet)
		if r == nil {
			return
		}
		highest := 0
		for i := range r.Cylinders {
			highest = r.Cylinders[i].Cylinder
		}
		if highest == 0 {
			return
		}
		test.Cylinders = highest // else the highest number says how many there are
		r = judged(t, test, sheet)
		name := append([]int{0}, rapid.Permutation(numbers(highest)).Draw(t, "names")...)
		other := judged(t, renamed(test, name), renamedSheet(sheet, name))
		require.NotNil(t, other)
		require.Equal(t, word(r.Verdict, r.Findings), word(other.Verdict, other.Findings))
		for i := range r.Cylinders {
			a, b := &r.Cylinders[i], &other.Cylinders[name[i+1]-1]
			require.Equal(t, word(a.Verdict, a.Findings), word(b.Verdict, b.Findings), "cylinder %d, renamed %d", i+1, name[i+1])
			requireScaled(t, 1, a.RateMLMin, b.RateMLMin)
			requireScaled(t, 1, a.Budget.ExpandedMLMin, b.Budget.ExpandedMLMin)
			requireScaled(t, 1, a.RatioToConsensus, b.RatioToConsensus)
		}
	})
}

// renamed is a test with its cylinders numbered anew.
func renamed(test *leakback.Test, name []int) *leakback.Test {
	other := *test
	other.Runs = slices.Clone(test.Runs)
	for k := range other.Runs {
		run := &other.Runs[k]
		run.Readings, run.Blocked = slices.Clone(run.Readings), slices.Clone(run.Blocked)
		for i := range run.Readings {
			run.Readings[i].Cylinder = name[run.Readings[i].Cylinder]
		}
		for i := range run.Blocked {
			run.Blocked[i] = name[run.Blocked[i]]
		}
		slices.SortFunc(run.Readings, func(a, b leakback.Reading) int { return a.Cylinder - b.Cylinder })
		slices.Sort(run.Blocked)
	}
	return &other
}

func renamedSheet(sheet *limits.Sheet, name []int) *limits.Sheet {
	other := *sheet
	other.ReturnLines = slices.Clone(sheet.ReturnLines)
	for l := range other.ReturnLines {
		line := &other.ReturnLines[l]
		line.Cylinders = slices.Clone(line.Cylinders)
		for i := range line.Cylinders {
			line.Cylinders[i] = name[line.Cylinders[i]]
		}
	}
	return &other
}

// grown is a test in which one cylinder returned so many times as much in every
// run; false where it has a reading that is not plain.
func grown(test *leakback.Test, cylinder int, times float64) (*leakback.Test, bool) {
	other := *test
	other.Runs = slices.Clone(test.Runs)
	plain := false
	for k := range other.Runs {
		run := &other.Runs[k]
		run.Readings = slices.Clone(run.Readings)
		for i := range run.Readings {
			r := &run.Readings[i]
			if r.Cylinder != cylinder || !r.Read() {
				continue
			}
			if r.Bound != leakback.Exact || r.VolumeML <= r.StartML {
				return nil, false
			}
			plain = true
			r.VolumeML = r.StartML + times*(r.VolumeML-r.StartML)
			r.Tube.CapacityML = 0
		}
	}
	return &other, plain
}

// More leak at a cylinder never turns its fail into a pass: not against the
// maximum and not against a ratio, and not the fail of the total either.
func TestMoreLeakNeverPassesALimit(t *testing.T) {
	drawn(t, maker.individual, func(t *rapid.T, m maker, test *leakback.Test, sheet *limits.Sheet) {
		r := judged(t, test, sheet)
		if r == nil {
			return
		}
		i := m.whole("which", 0, len(r.Cylinders)-1)
		more, plain := grown(test, r.Cylinders[i].Cylinder, m.one("times", 1.001, 1.05, 1.5, 10))
		if !plain {
			return
		}
		over := judged(t, more, sheet)
		before, after := &r.Cylinders[i], &over.Cylinders[i]
		if before.Verdict == leakback.Fail && (before.Has(leakback.OverLimit) || before.Has(leakback.OverRatio)) {
			require.NotEqual(t, leakback.Pass, after.Verdict, "%s, then %s", codes(r), codes(over))
		}
		if after.Verdict == leakback.Fail && after.Has(leakback.UnderLimit) {
			require.True(t, before.Has(leakback.UnderLimit) || before.Has(leakback.CloseToLimit), "less was not within a minimum")
		}
		if r.Has(leakback.OverTotal) {
			require.NotEqual(t, leakback.Pass, over.Verdict)
		}
	})
}

// Against the set the same holds while the others stand to one another as they
// did: a cylinder that stands apart from them and returns more still does, and
// fails wherever it failed.
func TestMoreLeakStillStandsApart(t *testing.T) {
	drawn(t, maker.individual, func(t *rapid.T, m maker, test *leakback.Test, sheet *limits.Sheet) {
		sheet.Limits, sheet.Set.PracticalRatio = nil, 1 // what is set aside high is then called so
		r := judged(t, test, sheet)
		if r == nil {
			return
		}
		i := m.whole("which", 0, len(r.Cylinders)-1)
		more, plain := grown(test, r.Cylinders[i].Cylinder, m.one("times", 1.001, 1.05, 1.5, 10))
		if !plain {
			return
		}
		over := judged(t, more, sheet)
		if r.Has(leakback.TooLittleReturn) != over.Has(leakback.TooLittleReturn) || place(&over.Cylinders[i]) == leakback.LowInSet {
			return
		}
		for k := range r.Cylinders {
			if k != i && place(&r.Cylinders[k]) != place(&over.Cylinders[k]) {
				return
			}
		}
		if place(&r.Cylinders[i]) == leakback.HighInSet {
			require.Equal(t, leakback.HighInSet, place(&over.Cylinders[i]), "%s, then %s", codes(r), codes(over))
			require.GreaterOrEqual(t, over.Cylinders[i].Verdict, r.Cylinders[i].Verdict)
		}
	})
}

// place is where the comparison puts a cylinder; "" among the others.
func place(c *leakback.Cylinder) leakback.Code {
	for _, code := range []leakback.Code{leakback.HighInSet, leakback.LowInSet} {
		if c.Has(code) {
			return code
		}
	}
	return ""
}

// A longer run at the same rates never makes a rate less sure, relative to it:
// neither a cylinder's nor the total. The expanded uncertainty may rise by the
// one step of Student's t that whole degrees of freedom make.
func TestLongerRunsAreNoLessSure(t *testing.T) {
	draw := func(m maker) *leakback.Test {
		if m.rarely("total") {
			return m.merged(leakback.MethodTotal)
		}
		return m.individual()
	}
	drawn(t, draw, func(t *rapid.T, m maker, test *leakback.Test, sheet *limits.Sheet) {
		r := judged(t, test, sheet)
		if r == nil {
			return
		}
		other := judged(t, longer(test, m.one("times", 1, 1.01, 1.5, 3, 40)), sheet)
		for i := range r.Cylinders {
			a, b := &r.Cylinders[i], &other.Cylinders[i]
			if a.Bound == leakback.Exact && b.Bound == leakback.Exact {
				requireNoLessSure(t, a.RateMLMin, b.RateMLMin, &a.Budget, &b.Budget)
			}
		}
		requireNoLessSure(t, r.TotalMLMin, other.TotalMLMin, &r.Total, &other.Total)
	})
}

func requireNoLessSure(t *rapid.T, rate, same float64, a, b *leakback.Budget) {
	t.Helper()
	if math.IsNaN(rate) || math.IsNaN(same) {
		return
	}
	require.InEpsilon(t, rate, same, 1e-9)
	require.LessOrEqual(t, b.StandardMLMin, a.StandardMLMin*(1+1e-9))
	step := stats.T95(b.DoF) / stats.T95(math.Min(b.DoF+1, stats.MaxDoF))
	require.LessOrEqual(t, b.ExpandedMLMin, a.ExpandedMLMin*step*(1+1e-9))
}

// longer is a test with so many times as long runs of the same rates.
func longer(test *leakback.Test, times float64) *leakback.Test {
	other := *test
	other.Runs = slices.Clone(test.Runs)
	for k := range other.Runs {
		run := &other.Runs[k]
		run.IntervalS *= times
		run.Readings = slices.Clone(run.Readings)
		for i := range run.Readings {
			r := &run.Readings[i]
			r.VolumeML = r.StartML + times*(r.VolumeML-r.StartML)
			r.Tube.CapacityML = 0
		}
	}
	return &other
}

var (
	against = regexp.MustCompile(`([0-9.]+) ± ([0-9.]+)(?: mL/min)?,? is (over|under|within|too close to call against) ` +
		`(?:the (?:maximum|minimum|limit) of|its limit of) ([0-9.]+)`)
	bites = regexp.MustCompile(`is ([0-9.]+) times .*; the rule bites at ([0-9.]+)`)
)

// Whoever works with the figures as a finding prints them comes to what it says
// of them.
func TestFindingsSayWhatTheirFiguresSay(t *testing.T) {
	drawn(t, maker.test, func(t *rapid.T, m maker, test *leakback.Test, sheet *limits.Sheet) {
		r := judged(t, test, sheet)
		if r == nil {
			return
		}
		for i := range r.Cylinders {
			for _, f := range r.Cylinders[i].Findings {
				requireBite(t, f)
			}
		}
		for _, text := range texts(r) {
			for _, f := range against.FindAllStringSubmatch(text, -1) {
				value, expanded, limit := number(t, f[1]), number(t, f[2]), number(t, f[4])
				says := map[string]stats.Decision{"over": stats.Above, "under": stats.Below, "within": stats.Below}[f[3]]
				require.Equal(t, says, stats.Against(value, expanded, limit), "%s", text)
			}
		}
	})
}

func requireBite(t *rapid.T, f leakback.Finding) {
	t.Helper()
	said := bites.FindStringSubmatch(f.Text)
	switch {
	case said == nil:
	case f.Code == leakback.HighInSet:
		require.Greater(t, number(t, said[1]), number(t, said[2]), f.Text)
	case f.Code == leakback.CloseInSet:
		require.Less(t, number(t, said[1]), number(t, said[2]), f.Text)
	}
}

func number(t *rapid.T, text string) float64 {
	t.Helper()
	x, err := quantity.ParseNumber(strings.TrimRight(text, "."), false)
	require.NoError(t, err, text)
	return x
}

package report

import (
	"fmt"
	"math"
	"strings"

	"leakback/leakback"
	"leakback/limits"
)

// specialCases are tests for what varied ones seldom come upon.
func specialCases() []variedCase {
	cranks := func(c variedCase, n int) variedCase {
		for i := range c.test.Runs {
			c.test.Runs[i].State.Cranks = n
		}
		return c
	}
	with := func(change func(*limits.Sheet)) *limits.Sheet {
		s := limits.Builtin()
		change(s)
		return s
	}
	limited := func(l limits.Limit, within limits.Within) *limits.Sheet {
		return with(func(s *limits.Sheet) {
			l.Condition, l.Source = "idle", "invented"
			s.Limits, s.Set.WithinLimit = []limits.Limit{l}, within
		})
	}
	over, close := limits.Limit{MaxRateMLMin: ptr(40.0)}, limits.Limit{MaxRateMLMin: ptr(31.0)}
	cold := limits.Limit{Condition: "idle", MaxRateMLMin: ptr(20.0), Cranks: 1, RailPressureBar: &limits.Range{Low: 200, High: 300}, Source: "invented"}
	hot := limits.Limit{Condition: "idle", MaxRateMLMin: ptr(40.0), Cranks: 2, RailPressureBar: &limits.Range{Low: 310, High: 400}, Source: "invented"}
	return []variedCase{
		typedCase("little, one run", limits.Builtin(), "0 <1 0 12 0 0"),
		typedCase("little, two runs", limits.Builtin(), "0 <1 0 12 0 0", "0 0 <1 11 0 0"),
		typedCase("little, two runs that differ", limits.Builtin(), "0 0 0 12 0 1", "0 0 <1 2 0 0"),
		typedCase("little, five marks", limits.Builtin(), "0 0 0 5 0 0", "0 0 0 5 0 0"),
		typedCase("little, a limit", limited(over, limits.WithinFail), "0 0 0 60 0 >80"),
		typedCase("overflow within, fail", limited(over, limits.WithinFail), "11 10 12 >30 11 10"),
		typedCase("overflow within, pass", limited(over, limits.WithinPass), "11 10 12 >30 11 10"),
		typedCase("high and met", limited(over, limits.WithinFail), "10 10 11 25 10 9"),
		typedCase("hint and met", limited(over, limits.WithinPass), "20 20 21 30 20 19"),
		typedCase("hint and close", limited(close, limits.WithinPass), "20 20 21 30 20 19"),
		typedCase("one after the other", limited(limits.Limit{MaxRatioToMedian: ptr(1.4), MaxDifferenceMLMin: ptr(9.0)}, limits.WithinFail),
			"20 - - -", "- 21 - -", "- - 48 -", "- - - 19"),
		typedCase("one again, last", limited(limits.Limit{MaxRatioToMedian: ptr(1.4), MaxTotalMLMin: ptr(120.0)}, limits.WithinFail),
			"20 - - -", "- 21 - -", "- - 48 -", "- - - 19", "25 - - -"),
		typedCase("one after the other, no limit", limits.Builtin(), "20 - - -", "- 21 - -", "- - 48 -", "- - - 19"),
		typedCase("difference to a bound", limited(limits.Limit{MaxDifferenceMLMin: ptr(20.5)}, limits.WithinFail), "20 21 <1 22"),
		typedCase("difference from a bound", limited(limits.Limit{MaxDifferenceMLMin: ptr(20.5)}, limits.WithinFail), "20 21 1 >22"),
		typedCase("difference to a bound, nearly within", limited(limits.Limit{MaxDifferenceMLMin: ptr(23.3)}, limits.WithinFail), "20 21 <1 22"),
		typedCase("difference of lower bounds", limited(limits.Limit{MaxDifferenceMLMin: ptr(0.5)}, limits.WithinFail), ">20 >30 >40"),
		typedCase("difference of equals", limited(limits.Limit{MaxDifferenceMLMin: ptr(20.5)}, limits.WithinFail), "20 20 20 20"),
		cranks(typedCase("of two limits, half met", with(func(s *limits.Sheet) { s.Limits = []limits.Limit{cold, hot} }), "20 21 22 23"), 1),
		cranks(typedCase("of two limits, met", with(func(s *limits.Sheet) { s.Limits = []limits.Limit{cold, hot} }), "20 21 22 23"), 2),
		typedCase("an upper bound amid the others", limits.Builtin(), "50 51 <100 50 49 50"),
		typedCase("an upper bound amid the others, a limit", limited(limits.Limit{MaxRateMLMin: ptr(120.0)}, limits.WithinPass), "50 51 <90 50 49 50"),
		typedCase("a bound that sways the others", limits.Builtin(), "20 21 <60 31 20"),
		typedCase("overflows that sway the others", limits.Builtin(), "25 25 >30 >30 >30"),
		typedCase("all above", limited(over, limits.WithinFail), "60 61 62 59 60 61"),
		typedCase("half high", limits.Builtin(), "20 21 60 61"),
		typedCase("no agreement", limits.Builtin(), "10 30 90 20 60 13 4"),
		typedCase("equals beside a cut", limits.Builtin(), "20 20 20 34 34 21"),
	}
}

// typedCase is a test of runs of 60 s into 100 mL tubes at 350 bar, volumes as
// typed; - is no reading at all.
func typedCase(name string, sheet *limits.Sheet, runs ...string) variedCase {
	t := &leakback.Test{ID: "special", Condition: "idle", Injectors: limits.Driven, Method: leakback.MethodIndividual}
	for k, text := range runs {
		run := leakback.Run{Number: k + 1, IntervalS: 60, State: leakback.UnknownState()}
		run.State.RailPressureBar = 350
		for c, volume := range strings.Fields(text) {
			t.Cylinders = max(t.Cylinders, c+1)
			if volume == "-" {
				continue
			}
			r := leakback.Reading{Cylinder: c + 1, Typed: volume, VolumeML: math.NaN(),
				Tube: leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 1}}
			switch volume[0] {
			case '>':
				r.Bound = leakback.AtLeast
			case '<':
				r.Bound = leakback.AtMost
			}
			if _, err := fmt.Sscan(strings.TrimLeft(volume, "<>"), &r.VolumeML); err != nil {
				panic(err)
			}
			run.Readings = append(run.Readings, r)
		}
		t.Runs = append(t.Runs, run)
	}
	return variedCase{strings.ReplaceAll(name, " ", "-"), t, sheet}
}

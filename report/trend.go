package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"leakback/leakback"
	"leakback/stats"
)

// Trend is the tests of one engine, to be seen over its age.
type Trend struct {
	// Tests are in any order. Those without a result, and merged returns that
	// identify no cylinder, are counted and take no further part.
	Tests []Listed
	// Zone is the zone of the dates; nil is UTC.
	Zone *time.Location
}

// trendBlock is the tests that may be held against one another: those taken in
// one condition, with the injectors in one state.
type trendBlock struct {
	condition, injectors string
	tests                []*Listed // oldest first
	cylinders            int       // as many as the test that has most
	age                  age
}

// age is how old the engine was at each test of a block: its odometer where that
// can be had of all of them, else the date.
type age struct {
	odometer bool
	unit     string
	values   []float64 // of the odometer, or days as spreadsheets count them
	// note says why it is not the odometer.
	note string
}

// blocks are the groups of tests, the one that was begun first in front.
func (t *Trend) blocks() (blocks []*trendBlock, leftOut int) {
	var tests []*Listed
	for i := range t.Tests {
		if l := &t.Tests[i]; l.Result != nil && l.Err == "" && len(l.Result.Cylinders) > 0 {
			tests = append(tests, l)
		}
	}
	slices.SortStableFunc(tests, func(a, b *Listed) int { return cmp.Compare(a.StartedUS, b.StartedUS) })
	for _, l := range tests {
		condition, injectors := l.Result.Test.Condition, l.Result.Test.Injectors
		i := slices.IndexFunc(blocks, func(b *trendBlock) bool { return b.condition == condition && b.injectors == injectors })
		if i < 0 {
			blocks, i = append(blocks, &trendBlock{condition: condition, injectors: injectors}), len(blocks)
		}
		b := blocks[i]
		b.tests = append(b.tests, l)
		b.cylinders = max(b.cylinders, len(l.Result.Cylinders))
	}
	for _, b := range blocks {
		b.age = ageOf(b.tests, t.Zone)
	}
	return blocks, len(t.Tests) - len(tests)
}

// name is what the tests of a block have in common.
func (b *trendBlock) name() string {
	name := b.condition
	if name == "" {
		name = "condition not recorded"
	}
	if b.injectors != "" {
		name += ", injectors " + b.injectors
	}
	return name
}

// ageOf is the odometer where every test has one of one unit and none runs
// backwards; else the dates.
func ageOf(tests []*Listed, zone *time.Location) age {
	a, note := odometers(tests)
	if note == "" {
		return a
	}
	a = age{note: "over the date, because " + note}
	for _, l := range tests {
		a.values = append(a.values, serial(localTime(l.StartedUS, zone)))
	}
	return a
}

// odometers are those of the tests, or why they cannot be had.
func odometers(tests []*Listed) (a age, note string) {
	a.odometer = true
	for i, l := range tests {
		o, ok := parseOdometer(l.Odometer)
		switch {
		case l.Odometer == "":
			return a, fmt.Sprintf("test %d has no odometer", l.Number)
		case !ok:
			return a, fmt.Sprintf("the odometer of test %d cannot be read as a figure", l.Number)
		case a.unit != "" && o.unit != "" && o.unit != a.unit:
			return a, fmt.Sprintf("odometers are in %s and in %s", a.unit, o.unit)
		case i > 0 && o.value < a.values[i-1]:
			return a, fmt.Sprintf("the odometer of test %d is less than that of test %d before it", l.Number, tests[i-1].Number)
		}
		if a.unit == "" {
			a.unit = o.unit
		}
		a.values = append(a.values, o.value)
	}
	if len(tests) > 1 && a.values[0] == a.values[len(a.values)-1] {
		return a, "the odometer is the same at all of them"
	}
	return a, ""
}

// title names the axis.
func (a age) title() string {
	switch {
	case !a.odometer:
		return "date"
	case a.unit == "h":
		return "running time, h"
	case a.unit == "":
		return "odometer, unit not given"
	}
	return "odometer, " + a.unit
}

// serial is a time as spreadsheets count it: days since 1899-12-30 by the clock
// on the wall (ECMA-376 part 1, 18.17.4.1, 1900 date base).
func serial(at time.Time) float64 {
	year, month, day := at.Date()
	const epochDay = 25569 // 1970-01-01; days are counted in seconds, because a time.Duration ends after 292 years
	days := float64(time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix()/86400 + epochDay)
	hour, minute, second := at.Clock()
	// A spreadsheet keeps some 15 digits and shows the minute that has begun: what
	// is cut off must not take the time back into the minute before.
	const fine = 1e9
	return days + math.Ceil(float64(hour*3600+minute*60+second)/86400*fine)/fine
}

// Dated says that spreadsheets have a day and agree on it: before March 1900 some
// count a day too many, and after the year 9999 they show none
// (ECMA-376 part 1, 18.17.4.1).
func Dated(at time.Time) bool {
	day := at.Format(dayLayout)
	return len(day) == len(dayLayout) && "1900-03-01" <= day && day <= "9999-12-31"
}

// limit is the maximum that every test of a block was held against; NaN where
// they differ or there is none.
func (b *trendBlock) limit() float64 {
	limit := math.NaN()
	for i, l := range b.tests {
		_, most := bounds(l.Result)
		if math.IsNaN(most) || i > 0 && stats.Round6(most) != stats.Round6(limit) {
			return math.NaN()
		}
		limit = most
	}
	return limit
}

// cylinder is that of a number in a test; nil where the test has none.
func cylinder(r *leakback.Result, number int) *leakback.Cylinder {
	for i := range r.Cylinders {
		if r.Cylinders[i].Cylinder == number {
			return &r.Cylinders[i]
		}
	}
	return nil
}

// undrawn says why the tests of a block are not drawn in one chart; "" where
// they are.
func (t *Trend) undrawn(b *trendBlock) string {
	switch {
	case b.condition == "":
		return "not drawn: in which condition the engine ran was not recorded"
	case len(b.tests) < 2:
		return "not drawn: one test makes no trend"
	case len(t.engines()) > 1:
		return "not drawn: the tests are not of one engine"
	case !b.anyRate():
		return "not drawn: how long was collected is not known, so there are no rates"
	}
	return ""
}

// anyRate says whether a cylinder of any test has a rate.
func (b *trendBlock) anyRate() bool {
	return slices.ContainsFunc(b.tests, func(l *Listed) bool {
		return slices.ContainsFunc(l.Result.Cylinders, func(c leakback.Cylinder) bool { return !math.IsNaN(c.RateMLMin) })
	})
}

// engines are the engines that the tests are of, as far as they can be told
// apart: by serial number, else by vehicle.
func (t *Trend) engines() []string {
	for _, by := range []func(*Listed) string{
		func(l *Listed) string { return l.EngineSerial },
		func(l *Listed) string { return l.VIN },
		func(l *Listed) string { return l.Vehicle },
		func(l *Listed) string { return l.Engine },
	} {
		names, all := map[string]bool{}, true
		var list []string
		for i := range t.Tests {
			name := by(&t.Tests[i])
			key := strings.ToLower(strings.Join(strings.Fields(name), ""))
			all = all && key != ""
			if key != "" && !names[key] {
				names[key], list = true, append(list, name)
			}
		}
		if len(list) > 1 || all {
			return list
		}
	}
	return nil
}

// subject is the engine in a few words, as the newest test has it.
func (t *Trend) subject() string {
	if len(t.Tests) == 0 {
		return ""
	}
	last := slices.MaxFunc(t.Tests, func(a, b Listed) int { return cmp.Compare(a.StartedUS, b.StartedUS) })
	var parts []string
	for _, text := range []string{last.Vehicle, last.Engine} {
		if text != "" {
			parts = append(parts, text)
		}
	}
	if n := len(t.engines()); n > 1 {
		return fmt.Sprintf("%d ENGINES, not one: a trend is of one engine alone", n)
	}
	return strings.Join(parts, ", ")
}

// leftOutSaid says how many tests take no part.
func leftOutSaid(n int) string {
	if n == 0 {
		return ""
	}
	return Sentence(counted(n, "test") + " without a result, or of a merged return alone," + verb(n, " is", " are") + " left out")
}

package recorded

import (
	"math"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry"
)

// runField is a field that runs may share, and what a run says of it; "" for
// nothing.
type runField struct {
	name string
	of   func(*leakback.Run) string
}

var runFields = []runField{
	{FieldIntervalS, func(r *leakback.Run) string {
		if math.IsNaN(r.IntervalS) {
			return entry.Unknown
		}
		return figure(r.IntervalS)
	}},
	{FieldCranks, func(r *leakback.Run) string { return count(r.State.Cranks) }},
	{FieldFuelTempC, func(r *leakback.Run) string { return figure(r.State.FuelTempC) }},
	{FieldFuelTempAt, func(r *leakback.Run) string { return r.State.FuelTempAt }},
	{FieldRailPressureBar, func(r *leakback.Run) string { return figure(r.State.RailPressureBar) }},
	{FieldBackPressureBar, func(r *leakback.Run) string { return figure(r.State.BackPressureBar) }},
	{FieldEngineRPM, func(r *leakback.Run) string { return figure(r.State.EngineRPM) }},
}

// readingField is a field of a reading, and what it says of it; "" for nothing
// beyond what is understood.
type readingField struct {
	name   string
	shared bool // may be said once for several
	of     func(*leakback.Reading) string
}

var readingFields = []readingField{
	{FieldGraduationML, true, func(r *leakback.Reading) string {
		if r.Tube.GraduationML == 1 {
			return ""
		}
		return figure(r.Tube.GraduationML)
	}},
	{FieldCapacityML, true, func(r *leakback.Reading) string { return aboveZero(r.Tube.CapacityML) }},
	{FieldToleranceML, true, tolerance},
	{FieldTubeClass, true, func(r *leakback.Reading) string { return r.Tube.Class }},
	{FieldDensityGML, true, func(r *leakback.Reading) string {
		switch {
		case r.DensityGML == 0:
			return either
		case r.DensityAssumed:
			return ""
		}
		return figure(r.DensityGML)
	}},
	{FieldReturnLine, true, func(r *leakback.Reading) string {
		if r.Cylinder == 0 {
			return "" // the key names it
		}
		return r.ReturnLine
	}},
	{FieldStartML, false, func(r *leakback.Reading) string {
		if !r.StartRead {
			return ""
		}
		return figure(r.StartML)
	}},
	{FieldOverRange, false, func(r *leakback.Reading) string {
		if r.Bound == leakback.AtLeast && !strings.HasPrefix(r.Typed, ">") {
			return yes
		}
		return ""
	}},
}

// either is what a reading says of a field that does not touch it.
const either = "either"

// tolerance is said where neither the glass's class nor its marks give it.
func tolerance(r *leakback.Reading) string {
	if r.Tube.Class != "" || r.Tube.ToleranceML == r.Tube.GraduationML {
		return ""
	}
	return figure(r.Tube.ToleranceML)
}

// runs says the runs, what they share first.
func (d *drafts) runs(t *leakback.Test) {
	shared := make([]bool, len(runFields))
	for i, f := range runFields {
		var value string
		value, shared[i] = same(t.Runs, f.of)
		if shared[i] {
			d.set(place{}, f.name, value)
		}
	}
	all := said(d.common(place{}, t.Runs, nil))
	for i := range t.Runs {
		run := &t.Runs[i]
		at := place{run: run.Number}
		for k, f := range runFields {
			if !shared[k] {
				d.set(at, f.name, f.of(run))
			}
		}
		d.run(at, run, all)
	}
}

// said are the reading fields, by their place, that need not be said again.
type said []bool

// common says the reading fields that all readings of the runs share, and gives
// those that are said, before among them.
func (d *drafts) common(at place, runs []leakback.Run, before said) said {
	done := make(said, len(readingFields))
	copy(done, before)
	for i, f := range readingFields {
		if done[i] || !f.shared {
			continue
		}
		if value, all := common(runs, f.of); all {
			done[i] = true
			d.set(at, f.name, value)
		}
	}
	return done
}

// common is what all readings of the runs say, and whether they say the same.
func common(runs []leakback.Run, of func(*leakback.Reading) string) (value string, all bool) {
	value = either
	for i := range runs {
		for k := range runs[i].Readings {
			switch v := of(&runs[i].Readings[k]); {
			case v == either, v == value:
			case value == either:
				value = v
			default:
				return "", false
			}
		}
	}
	if value == either {
		value = ""
	}
	return value, true
}

// same is what all runs say, and whether they say the same.
func same(runs []leakback.Run, of func(*leakback.Run) string) (string, bool) {
	for i := range runs {
		if of(&runs[i]) != of(&runs[0]) {
			return "", false
		}
	}
	if len(runs) == 0 {
		return "", true
	}
	return of(&runs[0]), true
}

// run says what of a run is its own.
func (d *drafts) run(at place, run *leakback.Run, all said) {
	d.set(at, FieldBlocked, blockedText(run.Blocked))
	if run.LeftOut != "" {
		*d = append(*d, leakback.Event{Key: at.key(leakback.KindLeaveOut, ""), Value: yes, Reason: run.LeftOut})
	}
	done := d.common(at, []leakback.Run{*run}, all)
	for i := range run.Readings {
		rd := &run.Readings[i]
		spot := place{run.Number, rd.Cylinder, ""}
		if rd.Cylinder == 0 {
			spot.line = rd.ReturnLine
		}
		for k, f := range readingFields {
			if !done[k] {
				d.set(spot, f.name, own(run, rd, f.of))
			}
		}
		column, value := cut(rd.Typed)
		*d = append(*d, leakback.Event{Key: spot.key(leakback.KindReading, column), Value: value})
	}
}

// own is what a reading says where the run's do not agree. The reading of a
// return line without a name has the run's own key, so what it says would reach
// the other lines.
func own(run *leakback.Run, rd *leakback.Reading, of func(*leakback.Reading) string) string {
	value := of(rd)
	if value == either {
		return ""
	}
	first := &run.Readings[0] // of the lines "" is the first
	if value == "" && rd.Cylinder == 0 && rd.ReturnLine != "" && first.ReturnLine == "" && of(first) != either {
		return saidNone(of(first))
	}
	return value
}

// saidNone is None where there is something to take back.
func saidNone(value string) string {
	if value == "" {
		return ""
	}
	return None
}

// blockedText is a list of blocked cylinders as its cell holds it.
func blockedText(blocked []int) string {
	words := make([]string, len(blocked))
	for i, c := range blocked {
		words[i] = strconv.Itoa(c)
	}
	return strings.Join(words, "+")
}

package limits

import (
	"fmt"
	"slices"
	"strings"

	"leakback/limits/quantity"
	"leakback/stats"
)

// State is what was recorded over the runs of a test, beside its condition.
type State struct {
	// Cranks is the crank pattern; 0 where it was not recorded.
	Cranks int
	// RailPressureBar, FuelTempC and EngineRPM hold what was recorded, a value
	// a run; empty where nothing was.
	RailPressureBar, FuelTempC, EngineRPM []float64
}

// Match is the limit that applies to a test, or why none does.
type Match struct {
	// Limit is nil where no limit applies.
	Limit *Limit
	// Reason is a sentence for people where Limit is nil; "" otherwise.
	Reason string
}

// For looks up the limit for a condition, the injectors' state and what was
// recorded. A limit that is alone for its condition applies whatever the
// recorded state (Range.Side tells how that lies); one that does not name the
// injectors applies to both states. Of several limits for a condition the one
// applies whose state was recorded and is met, otherwise none.
func (s *Sheet) For(condition, injectors string, st State) Match {
	if len(s.Limits) == 0 {
		return Match{Reason: "The limits sheet " + s.Name + " holds no absolute limit."}
	}
	if strings.TrimSpace(condition) == "" {
		return Match{Reason: "No condition was recorded, so no absolute limit applies."}
	}
	named := s.named(condition)
	if len(named) == 0 {
		return Match{Reason: fmt.Sprintf("The limits sheet %s has no limit for %s; it has limits for %s.",
			s.Name, quantity.Quote(condition), strings.Join(s.conditions(), ", "))}
	}
	open := slices.DeleteFunc(slices.Clone(named), func(l *Limit) bool {
		return injectors != "" && l.Injectors != "" && l.Injectors != injectors
	})
	switch len(open) {
	case 0:
		return Match{Reason: fmt.Sprintf("The limit for %s is given for injectors %s, and they were %s.",
			named[0].Condition, named[0].Injectors, injectors)}
	case 1:
		return Match{Limit: open[0]}
	}
	return choose(open, injectors, st)
}

// named lists the limits for a condition.
func (s *Sheet) named(condition string) []*Limit {
	var limits []*Limit
	for i := range s.Limits {
		if SameName(s.Limits[i].Condition, condition) {
			limits = append(limits, &s.Limits[i])
		}
	}
	return limits
}

// conditions lists the conditions that the sheet has limits for, each once, in
// the order of the file.
func (s *Sheet) conditions() []string {
	var names []string
	for i := range s.Limits {
		name := s.Limits[i].Condition
		if !slices.ContainsFunc(names, func(n string) bool { return SameName(n, name) }) {
			names = append(names, name)
		}
	}
	return names
}

// SameName compares what people typed for a condition or an engine, without
// regard to case and to spaces around or doubled.
func SameName(a, b string) bool {
	return a == b || strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

// choose finds the one of several limits that the state tells from all others.
func choose(limits []*Limit, injectors string, st State) Match {
	var missing, outside []string
	for _, l := range limits {
		chosen := true
		for _, other := range limits {
			if other == l {
				continue
			}
			verdict, unrecorded, unmet := tellApart(l, other, injectors, st)
			chosen = chosen && verdict
			missing, outside = append(missing, unrecorded...), append(outside, unmet...)
		}
		if chosen {
			return Match{Limit: l}
		}
	}
	return Match{Reason: whyNone(limits, missing, outside)}
}

// tellApart says whether the recorded state is l's and not the other's. Of the
// dimensions in which the two differ at least one must be recorded, and every
// recorded one must be l's. It names those that were not recorded or not met.
func tellApart(l, other *Limit, injectors string, st State) (chosen bool, missing, outside []string) {
	some := false
	for _, d := range dimensions {
		if !d.apart(l, other) {
			continue
		}
		switch d.fit(l, injectors, st) {
		case unrecorded:
			missing = append(missing, d.name)
		case unmet:
			outside = append(outside, d.name)
		default:
			some = true
		}
	}
	return some && len(outside) == 0, missing, outside
}

// whyNone is the reason why none of several limits applies: what could tell
// them apart was not recorded or, where all of it was, is none of theirs.
func whyNone(limits []*Limit, missing, outside []string) string {
	text := fmt.Sprintf("There are %d limits for %s, told apart by the ", len(limits), limits[0].Condition)
	if len(missing) > 0 {
		return text + fmt.Sprintf("%s, which the test does not record: none applies.", inOrder(missing))
	}
	return text + fmt.Sprintf("%s, and the test's lies in none of them: none applies.", inOrder(outside))
}

// inOrder joins the names of dimensions, each once, in the order of the sheet.
func inOrder(names []string) string {
	var text []string
	for _, d := range dimensions {
		if slices.Contains(names, d.name) {
			text = append(text, d.name)
		}
	}
	return strings.Join(text, " and the ")
}

// fit is how a recorded state lies to what a limit names.
type fit int

const (
	met fit = iota
	unmet
	unrecorded
)

// dimension is one part of the state that tells limits for a condition apart.
type dimension struct {
	name string // for people, behind "the"
	// apart says that no state can be both limits'.
	apart func(a, b *Limit) bool
	// fit holds the recorded state against a limit that names the dimension.
	fit func(l *Limit, injectors string, st State) fit
}

// dimensions are in the order of the sheet's keys.
var dimensions = []dimension{
	{
		name:  "state of the injectors",
		apart: func(a, b *Limit) bool { return a.Injectors != "" && b.Injectors != "" && a.Injectors != b.Injectors },
		fit: func(l *Limit, injectors string, _ State) fit {
			return given(injectors != "", injectors == l.Injectors)
		},
	},
	{
		name:  "number of cranks",
		apart: func(a, b *Limit) bool { return a.Cranks != 0 && b.Cranks != 0 && a.Cranks != b.Cranks },
		fit: func(l *Limit, _ string, st State) fit {
			return given(st.Cranks != 0, st.Cranks == l.Cranks)
		},
	},
	ranged("rail pressure", func(l *Limit) *Range { return l.RailPressureBar },
		func(st State) []float64 { return st.RailPressureBar }),
	ranged("fuel temperature", func(l *Limit) *Range { return l.FuelTempC },
		func(st State) []float64 { return st.FuelTempC }),
	ranged("engine speed", func(l *Limit) *Range { return l.EngineRPM },
		func(st State) []float64 { return st.EngineRPM }),
}

func ranged(name string, of func(*Limit) *Range, values func(State) []float64) dimension {
	return dimension{
		name:  name,
		apart: func(a, b *Limit) bool { return of(a).apart(of(b)) },
		fit: func(l *Limit, _ string, st State) fit {
			below, above := of(l).Side(values(st))
			return given(len(values(st)) > 0, !below && !above)
		},
	}
}

func given(recorded, ok bool) fit {
	switch {
	case !recorded:
		return unrecorded
	case ok:
		return met
	}
	return unmet
}

// apart says that two closed ranges share no value; one that is not given
// covers all.
func (r *Range) apart(other *Range) bool {
	return r != nil && other != nil && (r.High < other.Low || other.High < r.Low)
}

// Side says how recorded values lie to the range: whether any is below it and
// whether any is above it. The ends belong to the range; like everything that
// decides, they are compared after rounding to 6 decimals.
func (r *Range) Side(values []float64) (below, above bool) {
	for _, v := range values {
		v = stats.Round6(v)
		below = below || v < stats.Round6(r.Low)
		above = above || v > stats.Round6(r.High)
	}
	return below, above
}

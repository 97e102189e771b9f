package learn

import (
	"fmt"
	"strconv"
	"strings"

	"leakback/limits"
)

// Basis is what a learned sheet says about where its figures come from, beside
// what Learned knows.
type Basis struct {
	// Date is the day it was learned.
	Date string
	// Files are the names, on one line each, of the files the tests stood in.
	Files []string
}

// The word by which a source is known again, and what parts it from the source
// of the figures that stand beside a learned one.
const (
	learnedWord = "learned"
	restWord    = "; the rest: "
)

// FromTests says whether a source says that its figures were learned.
func FromTests(source string) bool {
	word, _, _ := strings.Cut(strings.TrimSpace(source), " ")
	return strings.EqualFold(word, learnedWord)
}

// Sheet is the sheet with the learned figures in place of its own, and where
// they come from. All else, the maker's limits and the tightening steps above
// all, is as it was. A figure that was assumed, and is the built-in one, is left
// to the built-in sheet, so that it stays marked as assumed.
func (l *Learned) Sheet(old *limits.Sheet, engine string, b Basis) *limits.Sheet {
	s := *old
	if old.Path == "" {
		s.Name, s.Origin = learnedWord, ""
		if engine != "" {
			s.Name += " for " + engine
		}
	}
	if s.Engine == "" {
		s.Engine = engine
	}
	s.Set = l.set(old.Set, b)
	if l.Repeatability.Learned() {
		s.Measurement = l.measurement(old.Measurement, b)
	}
	return &s
}

func (l *Learned) set(old limits.Set, b Basis) limits.Set {
	s, builtin := old, limits.Builtin().Set
	s.HealthyCV = l.Healthy.CV
	rest := rest{source: old.Source, of: old.SourceOf}
	rest.figure("false_alarm", old.FalseAlarm == builtin.FalseAlarm)
	rest.figure("false_hint", old.FalseHint == builtin.FalseHint)
	rest.figure("practical_ratio", old.PracticalRatio == builtin.PracticalRatio)
	rest.figure("within_limit", old.WithinLimit == builtin.WithinLimit)
	s.Defaulted = rest.left
	s.Source = rest.behind(fmt.Sprintf("%s %s from %s (%s) with %s, %d of them set aside in %s, in %s; pooled with %s",
		learnedWord, b.Date, counted(l.Used, "test"), l.states(), counted(l.Cylinders, "cylinder"), l.Aside,
		counted(l.AsideTests, "test"), b.files(), l.Healthy.pooledWith(old.SourceOf("healthy_cv"))))
	return s
}

func (l *Learned) measurement(old limits.Measurement, b Basis) limits.Measurement {
	m, builtin := old, limits.Builtin().Measurement
	m.RepeatabilityCV, m.CommonCV = l.Repeatability.CV, l.Common.CV
	rest := rest{source: old.Source, of: old.SourceOf}
	rest.figure("timing_s", old.TimingS == builtin.TimingS)
	rest.some = rest.some || old.MaxCrankS != 0
	m.Defaulted = rest.left
	m.Source = rest.behind(fmt.Sprintf("%s %s from repeated runs of %s, %s left out as unsteady, in %s; pooled with %s and %s",
		learnedWord, b.Date, counted(l.Repeated, "test"), counted(len(l.Unsteady), "cylinder"), b.files(),
		l.Repeatability.pooledWith(old.SourceOf("repeatability_cv")), l.Common.pooledWith(old.SourceOf("common_cv"))))
	return m
}

// states are the running states in words.
func (l *Learned) states() string {
	names := make([]string, len(l.Conditions))
	for i := range l.Conditions {
		names[i] = l.Conditions[i].Name
	}
	return strings.Join(names, " and ")
}

// pooledWith says what the tests were pooled with; source is that of the
// sheet's figure.
func (f Figure) pooledWith(source string) string {
	cv := strconv.FormatFloat(f.AssumedCV, 'f', -1, 64)
	if limits.Assumed(source) || FromTests(source) { // then it was the built-in one
		return "the assumed " + cv
	}
	return cv + " of the sheet before"
}

// mostFiles is how many files are named.
const mostFiles = 4

func (b Basis) files() string {
	names := b.Files
	if len(names) <= mostFiles {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more files", strings.Join(names[:mostFiles-1], ", "), len(names)-mostFiles+1)
}

// rest is what stands beside the learned figures of a table.
type rest struct {
	source string // of the table
	of     func(key string) string
	left   []string // to the built-in figures
	some   bool     // is not
}

// figure keeps a figure of the table as it is.
func (r *rest) figure(key string, builtin bool) {
	assumed := limits.Assumed(r.of(key))
	if assumed && builtin {
		r.left = append(r.left, key)
		return
	}
	r.some = true
}

// behind puts the source of the rest behind that of the learned figures. A
// table that was learned before has its rest's there already.
func (r *rest) behind(learned string) string {
	if !r.some {
		return learned
	}
	source := r.source
	if _, behind, found := strings.Cut(source, restWord); found && FromTests(source) {
		source = behind
	}
	return learned + restWord + source
}

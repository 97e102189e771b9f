package limits

import (
	"slices"
	"strings"
)

// assumed is the source of a figure that nobody measured.
const assumed = "assumed"

// Assumed says whether a source admits that its figures are assumed: it begins
// with that word.
func Assumed(source string) bool {
	source = strings.TrimSpace(source)
	return len(source) >= len(assumed) && strings.EqualFold(source[:len(assumed)], assumed)
}

// Builtin is the sheet for engines without one: assumed figures for the
// comparison within the engine and for the uncertainty, and no absolute limit,
// because those belong to the engine's maker.
func Builtin() *Sheet {
	return &Sheet{
		Name:        "built-in",
		Origin:      OriginBuiltin,
		Set:         builtinSet(),
		Measurement: builtinMeasurement(),
	}
}

func builtinSet() Set {
	return Set{
		HealthyCV:      0.15,
		FalseAlarm:     0.01,
		FalseHint:      0.05,
		PracticalRatio: 1.3,
		WithinLimit:    WithinUndecided,
		Source:         assumed,
	}
}

func builtinMeasurement() Measurement {
	return Measurement{
		RepeatabilityCV: 0.03,
		CommonCV:        0.02,
		TimingS:         0.3,
		Source:          assumed,
	}
}

// SourceOf is the source of one figure of [set] by its key: the table's, or
// "assumed" where the sheet left the figure to the built-in one.
func (s Set) SourceOf(key string) string { return sourceOf(key, s.Source, s.Defaulted) }

// SourceOf is the source of one figure of [measurement] by its key: the
// table's, or "assumed" where the sheet left the figure to the built-in one.
func (m Measurement) SourceOf(key string) string { return sourceOf(key, m.Source, m.Defaulted) }

func sourceOf(key, source string, defaulted []string) string {
	if slices.Contains(defaulted, key) {
		return assumed
	}
	return source
}

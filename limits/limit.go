package limits

import (
	"slices"
	"strings"

	"leakback/limits/quantity"
)

// readLimits reads the [[limit]] tables and refuses any two that could both
// apply to one test.
func readLimits(tables []*table) []Limit {
	var limits []Limit
	byCondition := map[string][]*Limit{}
	for _, t := range tables {
		l := readLimit(t)
		limits = append(limits, l)
		if l.Condition == "" || !t.sound(stateKeys...) {
			continue
		}
		name := strings.ToLower(strings.Join(strings.Fields(l.Condition), " "))
		for _, other := range byCondition[name] {
			if !l.separate(other) {
				t.faultWhole("%s again, as in line %d: expected states that do not overlap (%s)",
					quantity.Quote(l.Condition), other.Line, strings.Join(stateKeys, ", "))
				break
			}
		}
		byCondition[name] = append(byCondition[name], &l)
	}
	return limits
}

// separate says that no state can be both limits'.
func (l *Limit) separate(other *Limit) bool {
	return slices.ContainsFunc(dimensions, func(d dimension) bool { return d.apart(l, other) })
}

// stateKeys are the keys that tell limits for one condition apart; figureKeys
// are the figures, of which a limit has at least one.
var (
	stateKeys  = []string{"injectors", "cranks", "rail_pressure_bar", "fuel_temp_c", "engine_rpm"}
	figureKeys = []string{"max_rate_ml_min", "min_rate_ml_min", "max_volume_ml", "interval_s",
		"max_total_ml_min", "max_ratio_to_median", "max_ratio_to_mean", "max_ratio_to_lowest",
		"max_difference_ml_min"}
)

func readLimit(t *table) Limit {
	t.only(slices.Concat([]string{"condition"}, stateKeys, figureKeys, []string{"source"})...)
	rate, ratio := kind(quantity.Rate), between("a ratio", 1, 100, "")
	l := Limit{
		Condition:          t.required("condition", "cranking, idle or another running state"),
		Injectors:          t.oneOf("injectors", Driven, Off),
		Cranks:             t.whole("cranks", 1, 100),
		MaxRateMLMin:       t.number("max_rate_ml_min", rate),
		MinRateMLMin:       t.number("min_rate_ml_min", rate),
		MaxVolumeML:        t.number("max_volume_ml", kind(quantity.Volume)),
		IntervalS:          t.number("interval_s", kind(quantity.Interval)),
		MaxTotalMLMin:      t.number("max_total_ml_min", rate),
		MaxRatioToMedian:   t.number("max_ratio_to_median", ratio),
		MaxRatioToMean:     t.number("max_ratio_to_mean", ratio),
		MaxRatioToLowest:   t.number("max_ratio_to_lowest", ratio),
		MaxDifferenceMLMin: t.number("max_difference_ml_min", rate),
		RailPressureBar:    t.span("rail_pressure_bar", kind(quantity.Pressure)),
		FuelTempC:          t.span("fuel_temp_c", kind(quantity.Temperature)),
		EngineRPM:          t.span("engine_rpm", between("a speed", 0, 10_000, "rpm")),
		Source:             t.source(),
		Line:               t.line(),
	}
	t.figuresFit(&l)
	return l
}

// figuresFit refuses a limit whose figures are missing or contradict one another.
func (t *table) figuresFit(l *Limit) {
	if !slices.ContainsFunc(figureKeys, t.has) {
		t.faultWhole("no figure: expected at least one of %s", strings.Join(figureKeys, ", "))
	}
	t.together("max_volume_ml", "interval_s")
	if t.has("max_volume_ml") && t.has("max_rate_ml_min") {
		t.fault("max_volume_ml", "expected it or max_rate_ml_min, not both")
	}
	highest, ok := l.MaxMLMin()
	if !ok || !t.sound("max_rate_ml_min", "min_rate_ml_min", "max_volume_ml", "interval_s") {
		return
	}
	if err := quantity.Rate.Check(highest); err != nil {
		t.fault("max_volume_ml", "over interval_s it makes %s", err)
	}
	if l.MinRateMLMin != nil && *l.MinRateMLMin > highest {
		t.fault("min_rate_ml_min", "%s: expected at most the maximum, %s", t.shown("min_rate_ml_min"),
			quantity.Format(quantity.Rate, highest))
	}
}

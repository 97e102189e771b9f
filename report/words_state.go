package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
)

// LimitsLine names the limits that were used and their sources, and lists the
// figures that rest on an assumption.
func LimitsLine(r *leakback.Result) string {
	line := "Limits: " + r.Sheet.Name
	if sources := limitSources(r); len(sources) > 0 {
		line += " (source: " + strings.Join(sources, "; ") + ")"
	}
	if len(r.Applied) == 0 {
		line += "; no figure of it was applied"
	}
	line += "."
	if len(r.Assumed) > 0 {
		line += " Assumed: " + strings.Join(r.Assumed, ", ") + "."
	}
	return line
}

// limitSources are the sources of the figures that were applied, each once,
// without those that only say "assumed".
func limitSources(r *leakback.Result) []string {
	var sources []string
	for _, a := range r.Applied {
		if !limits.Assumed(a.Source) && !slices.Contains(sources, a.Source) {
			sources = append(sources, a.Source)
		}
	}
	return sources
}

// LimitText is the maximum of one cylinder as it was compared and, where the
// book gives a volume, as the book has it; "" where there is none.
func LimitText(r *leakback.Result, decimals int) string {
	most, ok := r.Limit.MaxMLMin()
	if !ok {
		return ""
	}
	text := "limit " + limitFigure(most, decimals) + " mL/min"
	if r.Limit.MaxRateMLMin == nil {
		text += " (" + quantity.Format(quantity.Volume, *r.Limit.MaxVolumeML) + " in " +
			quantity.Format(quantity.Interval, *r.Limit.IntervalS) + ")"
	}
	return text
}

// StateLine is what was recorded of the running state, and the runs.
func StateLine(r *leakback.Result) string {
	t := r.Test
	var parts []string
	add := func(text string) {
		if text != "" {
			parts = append(parts, text)
		}
	}
	add(t.Condition)
	if t.Injectors != "" {
		add("injectors " + t.Injectors)
	}
	add(MethodText(r))
	add(RunsText(t))
	add(cranksSaid(t))
	add(spanText("rail pressure ", quantity.Pressure, t, railPressureBar))
	add(spanText("back-pressure ", quantity.Pressure, t, backPressureBar))
	add(fuelSaid(t))
	add(speedText(t))
	return strings.Join(parts, ", ")
}

// MethodText is how the returns were collected, where that is not each cylinder
// into its own tube at once.
func MethodText(r *leakback.Result) string {
	switch {
	case r.Test.Method == leakback.MethodBlockOff:
		return "merged return with cylinders blocked"
	case r.Test.Method == leakback.MethodTotal:
		return "merged return alone"
	case r.Has(leakback.Sequential) || !math.IsNaN(r.DriftPerRun):
		return "cylinders not all in the same runs"
	}
	return ""
}

// RunsText is how often and how long was collected: "3 runs of 60 s".
func RunsText(t *leakback.Test) string {
	var lengths []string
	out := 0
	for i := range t.Runs {
		length := "unknown length"
		if !math.IsNaN(t.Runs[i].IntervalS) {
			length = lengthText(t.Runs[i].IntervalS)
		}
		if !slices.Contains(lengths, length) {
			lengths = append(lengths, length)
		}
		if t.Runs[i].LeftOut != "" {
			out++
		}
	}
	text := counted(len(t.Runs), "run") + " of " + quantity.Listed(lengths, "and")
	if out > 0 {
		text += fmt.Sprintf(" (%d left out)", out)
	}
	return text
}

// lengthText is a measured length to a tenth of a second, which is as good as a
// start and a stop by hand; files for programs have the whole figure.
func lengthText(s float64) string {
	return quantity.Format(quantity.Interval, math.Round(10*s)/10)
}

// counted is "1 run" or "3 runs".
func counted(n int, what string) string {
	return fmt.Sprintf("%d %s%s", n, what, verb(n, "", "s"))
}

func cranksSaid(t *leakback.Test) string {
	most := 0
	for i := range t.Runs {
		most = max(most, t.Runs[i].State.Cranks)
	}
	if most == 0 {
		return ""
	}
	return counted(most, "crank")
}

// fuelSaid is the fuel temperature and where it was taken.
func fuelSaid(t *leakback.Test) string {
	text := spanText("fuel ", quantity.Temperature, t, fuelTempC)
	if at := t.Runs[0].State.FuelTempAt; text != "" && at != "" {
		text += " (" + at + ")"
	}
	return text
}

func speedText(t *leakback.Test) string {
	low, high := recordedSpan(t, func(s *leakback.State) float64 { return s.EngineRPM })
	switch {
	case math.IsNaN(low):
		return ""
	case low == high:
		return quantity.Fixed(low, 0) + " rpm"
	}
	return quantity.Fixed(low, 0) + " to " + quantity.Fixed(high, 0) + " rpm"
}

// spanText is a recorded figure over the runs, "" where none was recorded.
func spanText(what string, k quantity.Kind, t *leakback.Test, of func(*leakback.State) float64) string {
	low, high := recordedSpan(t, of)
	switch {
	case math.IsNaN(low):
		return ""
	case low == high:
		return what + quantity.Format(k, low)
	}
	return what + quantity.FormatRange(k, low, high)
}

// recordedSpan is the smallest and the largest of what was recorded; NaN where
// nothing was.
func recordedSpan(t *leakback.Test, of func(*leakback.State) float64) (low, high float64) {
	low, high = math.NaN(), math.NaN()
	for i := range t.Runs {
		x := of(&t.Runs[i].State)
		if math.IsNaN(x) {
			continue
		}
		if !(low <= x) {
			low = x
		}
		if !(high >= x) {
			high = x
		}
	}
	return low, high
}

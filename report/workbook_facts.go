package report

import (
	"math"
	"path"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/limits/quantity"
)

// fact is one labelled figure of the page; "" is unknown and stays a blank
// line, so that it can be written in by hand.
type fact struct{ label, text string }

// facts are the page's facts by column: the shop, the engine, the state.
func facts(p *Page) [3][]fact {
	t, j := p.Result.Test, p.Job
	return [3][]fact{{
		{"Workshop", j.Workshop},
		{"Technician", j.Technician},
		{"Customer", j.Customer},
		{"Work order", j.WorkOrder},
		{"Date and time", testedText(p)},
		{"Test", t.ID},
		{"Runs", RunsText(t)},
	}, {
		{"Vehicle", j.Vehicle},
		{"VIN", j.VIN},
		{"Odometer/hours", j.Odometer},
		{"Engine", t.Engine},
		{"Engine serial", j.EngineSerial},
		{"Condition", t.Condition},
		{"Injectors", t.Injectors},
	}, {
		{"Cranks", cranksFact(t)},
		{"Rail pressure", spanText("", quantity.Pressure, t, railPressureBar)},
		{"Engine speed", speedText(t)},
		{"Battery voltage", batteryText(p)},
		{"Fuel temperature", fuelFact(t)},
		{"Back-pressure", spanText("", quantity.Pressure, t, backPressureBar)},
		{"Tube", tubesText(t)},
	}}
}

// testedText is when the engine was tested: as somebody typed it, else as the
// record has it.
func testedText(p *Page) string {
	if p.Job.Tested != "" || p.Record == nil {
		return p.Job.Tested
	}
	return p.Record.tested(p.Result.Test)
}

// batteryText is the voltage, which only a record knows.
func batteryText(p *Page) string {
	if p.Record == nil {
		return ""
	}
	return p.Record.batteryText()
}

func railPressureBar(s *leakback.State) float64 { return s.RailPressureBar }
func backPressureBar(s *leakback.State) float64 { return s.BackPressureBar }
func fuelTempC(s *leakback.State) float64       { return s.FuelTempC }

// cranksFact is the crank pattern: "3", or "1, 3" where the runs differ.
func cranksFact(t *leakback.Test) string {
	var patterns []string
	for i := range t.Runs {
		pattern := strconv.Itoa(t.Runs[i].State.Cranks)
		if pattern != "0" && !slices.Contains(patterns, pattern) {
			patterns = append(patterns, pattern)
		}
	}
	return strings.Join(patterns, ", ")
}

// plainFigure is a figure as it was typed, without zeros at the end.
func plainFigure(x float64) string { return quantity.Plain(x, -1) }

// fuelFact is the fuel temperature and where it was taken.
func fuelFact(t *leakback.Test) string {
	text := spanText("", quantity.Temperature, t, fuelTempC)
	var places []string
	for i := range t.Runs {
		if place := t.Runs[i].State.FuelTempAt; place != "" && !slices.Contains(places, place) {
			places = append(places, place)
		}
	}
	if text == "" || len(places) == 0 {
		return text
	}
	return text + ", at the " + quantity.Listed(places, "and")
}

// tubesText is the tubes of the test, each kind once.
func tubesText(t *leakback.Test) string {
	var kinds []string
	for i := range t.Runs {
		for _, reading := range t.Runs[i].Readings {
			if text := tubeText(reading.Tube); text != "" && !slices.Contains(kinds, text) {
				kinds = append(kinds, text)
			}
		}
	}
	return strings.Join(kinds, "; ")
}

// tubeText is a tube: "100 mL, 1 mL marks, class B, ± 1 mL".
func tubeText(t leakback.Tube) string {
	var parts []string
	if t.CapacityML > 0 {
		parts = append(parts, quantity.Format(quantity.Volume, t.CapacityML))
	}
	if t.GraduationML > 0 {
		parts = append(parts, quantity.Format(quantity.Volume, t.GraduationML)+" marks")
	}
	if t.Class != "" {
		parts = append(parts, "class "+t.Class)
	}
	if t.ToleranceML > 0 {
		parts = append(parts, "± "+quantity.Format(quantity.Volume, t.ToleranceML))
	}
	return strings.Join(parts, ", ")
}

// readingsOf are a cylinder's readings over the runs, with their runs.
func readingsOf(t *leakback.Test, cylinder int) (readings []leakback.Reading, runs []leakback.Run) {
	for _, run := range t.Runs {
		for _, reading := range run.Readings {
			if reading.Cylinder == cylinder {
				readings, runs = append(readings, reading), append(runs, run)
			}
		}
	}
	return readings, runs
}

// volumesText is a cylinder's volumes as they were typed, run by run.
func volumesText(t *leakback.Test, cylinder int) string {
	var texts []string
	readings, _ := readingsOf(t, cylinder)
	for _, reading := range readings {
		if reading.Typed == "" {
			continue
		}
		text := reading.Typed
		if reading.StartRead {
			text += " from " + plainFigure(reading.StartML)
		}
		texts = append(texts, text)
	}
	return strings.Join(texts, "; ")
}

// intervals are the lengths of the runs that read a cylinder; one where they
// are alike.
func intervals(t *leakback.Test, cylinder int) []float64 {
	var lengths []float64
	_, runs := readingsOf(t, cylinder)
	for _, run := range runs {
		if !math.IsNaN(run.IntervalS) { // unknown
			lengths = append(lengths, run.IntervalS)
		}
	}
	return slices.Compact(lengths)
}

// footerText is user text for a page's footer: one line, cut to what fits, and
// with & doubled, since & begins a command there.
func footerText(text string, most int) string {
	return strings.ReplaceAll(clipped(oneLine(text), most), "&", "&&")
}

// fileName is the last part of a path of any system: the rest names a machine's
// folders, which are nobody's business on a customer's page.
func fileName(name string) string {
	return path.Base(strings.ReplaceAll(name, `\`, "/"))
}

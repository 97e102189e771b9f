package flow

import (
	"fmt"
	"slices"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/entry/recorded"
	"leakback/limits/quantity"
)

var temperaturePlaces = []ask.Option{
	{Value: "supply", Label: "before the pump"},
	{Value: "rail", Label: "in the rail, by the engine's own sensor"},
	{Value: "return", Label: "in the return line"},
	{Value: "tube", Label: "in the tubes, right after the run"},
}

// askState asks for what is recorded beside the readings. Where it is asked once
// more, only answers at or behind the place since count.
func (f *Flow) askState(l *frame.List, since int) {
	section, prefix := "The state", ""
	if since > 0 {
		section, prefix = "The state once more", "state "
	}
	add := func(name string, read frame.Reader, q ask.Question) {
		q.Section = section
		s := f.frame.Field(frame.Field{Key: setKey(name), ID: prefix + name, Read: read, Since: since, Question: q})
		s.Done = s.Done || since == 0 && f.saidOfRuns(name)
		l.Add(s)
	}
	add(recorded.FieldFuelTempC, figure(quantity.Temperature), ask.Question{Prompt: "Fuel temperature",
		Hint: "such as 45, 45 °C or 113 °F" + f.asLimit(recorded.FieldFuelTempC)})
	if f.set(recorded.FieldFuelTempC) != "" {
		add(recorded.FieldFuelTempAt, frame.OneOf(temperaturePlaces, nil), ask.Question{Kind: ask.Choice,
			Prompt: "Where the temperature was taken", Options: temperaturePlaces, Hint: "skip leaves it open"})
	}
	add(recorded.FieldRailPressureBar, figure(quantity.Pressure), ask.Question{Prompt: "Rail pressure",
		Hint: "such as 350 bar, 35 MPa or 5000 psi" + f.asLimit(recorded.FieldRailPressureBar)})
	add(recorded.FieldEngineRPM, plainFigure("speed", "rpm", 0, leakback.MostRPM), ask.Question{Prompt: "Engine speed",
		Hint: "in rpm, such as 700" + f.asLimit(recorded.FieldEngineRPM)})
	if f.cranking() {
		add(leakback.FieldBatteryV, plainFigure("voltage", "V", 0, leakback.MostBatteryV), ask.Question{Prompt: "Battery voltage",
			Hint: "while cranking, such as 11.2 V"})
	}
	if f.sheet != nil && f.sheet.BackPressureBar != nil {
		held := f.sheet.BackPressureBar
		add(recorded.FieldBackPressureBar, figure(quantity.Pressure), ask.Question{Prompt: "Back-pressure in the return",
			Hint: "the sheet asks for " + quantity.FormatRange(quantity.Pressure, held.Low, held.High)})
	}
}

// saidOfRuns says whether a file gave a field run by run.
func (f *Flow) saidOfRuns(name string) bool {
	return slices.ContainsFunc(f.Record().Events, func(e leakback.Event) bool {
		return e.Kind == leakback.KindSet && e.Run > 0 && e.Field == name && e.Value != ""
	})
}

// asLimit is what the limit asks for, in a hint.
func (f *Flow) asLimit(name string) string {
	limit := f.limit()
	if limit == nil {
		return ""
	}
	const asks = "; the limit asks for "
	switch {
	case name == recorded.FieldFuelTempC && limit.FuelTempC != nil:
		return asks + quantity.FormatRange(quantity.Temperature, limit.FuelTempC.Low, limit.FuelTempC.High)
	case name == recorded.FieldRailPressureBar && limit.RailPressureBar != nil:
		return asks + quantity.FormatRange(quantity.Pressure, limit.RailPressureBar.Low, limit.RailPressureBar.High)
	case name == recorded.FieldEngineRPM && limit.EngineRPM != nil:
		return asks + fmt.Sprintf("%s to %s rpm", quantity.Plain(limit.EngineRPM.Low, -1), quantity.Plain(limit.EngineRPM.High, -1))
	}
	return ""
}

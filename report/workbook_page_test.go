package report_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
	"leakback/report"
)

// The workshop, engine, people and vehicle below are invented.

// typed is one run's volumes as a technician types them; "" is not read.
type typed []string

// bayTest is a test of so many runs of 60 s into 100 mL tubes.
func bayTest(t testing.TB, runs ...typed) *leakback.Test {
	t.Helper()
	test := &leakback.Test{ID: "demo", Engine: "Northmoor Six-90", Condition: "idle",
		Injectors: limits.Driven, Method: leakback.MethodIndividual, Cylinders: len(runs[0])}
	for i, volumes := range runs {
		run := leakback.Run{Number: i + 1, IntervalS: 60, State: leakback.State{FuelTempC: 41, FuelTempAt: "return",
			RailPressureBar: 350, BackPressureBar: math.NaN(), EngineRPM: 650}}
		for k, volume := range volumes {
			run.Readings = append(run.Readings, reading(t, k+1, volume))
		}
		test.Runs = append(test.Runs, run)
	}
	return test
}

// reading is one volume as typed.
func reading(t testing.TB, cylinder int, volume string) leakback.Reading {
	t.Helper()
	r := leakback.Reading{Cylinder: cylinder, Typed: volume, VolumeML: math.NaN(),
		Tube: leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 1, Class: "B"}}
	if volume == "" {
		return r
	}
	number := strings.TrimLeft(volume, "<>")
	switch {
	case strings.HasPrefix(volume, ">"):
		r.Bound = leakback.AtLeast
	case strings.HasPrefix(volume, "<"):
		r.Bound = leakback.AtMost
	}
	_, err := fmt.Sscanf(strings.Replace(number, ",", ".", 1), "%g", &r.VolumeML)
	require.NoError(t, err)
	return r
}

// baySheet is an invented limits sheet with an absolute maximum.
func baySheet() *limits.Sheet {
	sheet, most, least := limits.Builtin(), 40.0, 2.0
	sheet.Name, sheet.Engine, sheet.Cylinders = "Bay sheet for the Northmoor Six-90", "Northmoor Six-90", 0
	sheet.Path = `C:\Users\someone\sheets\northmoor.toml`
	sheet.FiringOrder = []int{1, 5, 3, 6, 2, 4}
	sheet.Limits = []limits.Limit{{Condition: "idle", Injectors: limits.Driven, MaxRateMLMin: &most, MinRateMLMin: &least,
		RailPressureBar: &limits.Range{Low: 300, High: 400}, Source: "Invented service information, section 4, revision 2", Line: 12}}
	sheet.Tightening = []limits.Step{{Step: 1, Part: "injector hold-down, both", TorqueNM: 60, TorqueText: "60 N·m",
		AngleDeg: 90, NewFastener: true, Source: "Invented service information, section 4"}}
	return sheet
}

// fullJob is a work order with everything filled in.
func fullJob() leakback.Job {
	return leakback.Job{
		Workshop: "Harbour Lane Diesel (invented)", Technician: "R. Example", Customer: "Example Haulage (invented)",
		WorkOrder: "W-2041", Vehicle: "Invented tractor unit, 2014", VIN: "XX0EXAMPLE0000001",
		Odometer: "412 300 km", EngineSerial: "N690-000123", Complaint: "Hard to start when hot, white smoke at idle.",
		Tested: "2024-03-05 09:40 +01:00", Note: "Injector 4 was replaced two years ago.",
	}
}

// evaluated is the page of a test.
func evaluated(t testing.TB, test *leakback.Test, sheet *limits.Sheet, job leakback.Job) *report.Page {
	t.Helper()
	result, err := leakback.Evaluate(test, sheet)
	require.NoError(t, err)
	return &report.Page{
		Result: result, Job: job, Version: "v0.1.0",
		Digest: strings.Repeat("0123456789abcdef", 4),
		Advice: []string{
			"Look at the feed tube of cylinder 4 before its injector: its tightening, its seat, and whether it was reused; a leaking seat drains into the same return and is not cured by more torque.",
			"Where the maker allows it, swap injectors 4 and 3 with new tubes and seals, and test again: a leak that moves is the injector's.",
			"Still high after a new injector: the tube first if it was reused, then the tightening steps.",
		},
		NotSeen: []string{
			"It does not see fuel that leaks from a nozzle into the cylinder, external leaks, or spray quality.",
			"A normal return does not clear an injector.",
			"A set that is worn evenly looks healthy against its own median.",
		},
		Cautions:    usualCautions,
		CautionLine: "Rail pressure can exceed 2,000 bar: never feel for a leak by hand.",
	}
}

// usualCautions are about as long as the program's own.
var usualCautions = []string{
	"Rail pressure can exceed 2,000 bar: a jet goes through skin without much pain. Never feel for a leak by hand; after any jet injury go to hospital at once and say \"high-pressure fuel\".",
	"Never loosen a high-pressure joint on a running or pressurised system; wait and verify that pressure has gone.",
	"Block an injector off only with caps rated for rail pressure and only where the maker allows it; never cap or pinch an injector's return; plug the vehicle side of every line taken off.",
	"Never touch or unplug injector connectors on a running engine: high voltage, and some injectors may stay open.",
	"Disable starting by the maker's method; park brake, neutral; keep clear of moving parts; respect the starter's duty cycle; lead exhaust outside.",
	"Return fuel can scald and be above its flash point: fuel-rated tubes in a metal tray, watched throughout; no ignition source; ventilation, eye protection, gloves, extinguisher.",
	"Clean every joint before opening it; renew single-use lines and seals; check for leaks after refitting. Dispose of fuel by local rules.",
	"The engine maker's service information, local law and a licensed technician's judgement come before anything the tool says.",
}

// pages are pages of all kinds by name.
func pages(t testing.TB) map[string]*report.Page {
	t.Helper()
	six := typed{"21", "22,5", "23", "48", "36.5", "22"}
	empty := bayTest(t, typed{"21", "22", "20", "23"})
	empty.ID, empty.Engine, empty.Condition, empty.Injectors = "scrap", "", "", ""
	empty.Runs[0].State = leakback.UnknownState()
	for i := range empty.Runs[0].Readings {
		empty.Runs[0].Readings[i].Tube = leakback.Tube{GraduationML: 1}
	}
	bare := evaluated(t, empty, limits.Builtin(), leakback.Job{})
	bare.Digest, bare.Version = "", "dev"
	sixteen := make(typed, 16)
	for i := range sixteen {
		sixteen[i] = fmt.Sprint(20 + i%4)
	}
	sixteen[3], sixteen[11], sixteen[14], sixteen[7] = "61", ">100", "39", "<1"
	return map[string]*report.Page{
		"two":     evaluated(t, bayTest(t, typed{"21", "44"}), baySheet(), fullJob()),
		"four":    evaluated(t, bayTest(t, typed{"21", "22", "", "24"}), limits.Builtin(), leakback.Job{Workshop: "Harbour Lane Diesel"}),
		"six":     evaluated(t, bayTest(t, six), baySheet(), fullJob()),
		"bare":    bare,
		"runs":    evaluated(t, bayTest(t, six, typed{"22", "22", "24", "47", "37", ">100"}, typed{"21", "23", "22", "47.5", "38", "22"}), baySheet(), fullJob()),
		"sixteen": evaluated(t, bayTest(t, sixteen), baySheet(), fullJob()),
		"long":    longPage(t, six),
	}
}

// longPage has free texts far longer than the page has room for.
func longPage(t testing.TB, volumes typed) *report.Page {
	job := fullJob()
	job.Complaint = strings.Repeat("The engine stalls at the lights and will not restart until it has cooled. ", 40)
	job.Vehicle = "An invented vehicle with a name much too long for its line on the page, and then some more of it"
	job.Note = strings.Repeat("word ", 8000)
	sheet := baySheet()
	sheet.Limits[0].Source = strings.Repeat("a very long source, ", 30)
	p := evaluated(t, bayTest(t, volumes), sheet, job)
	for i := range 12 {
		p.Advice = append(p.Advice, fmt.Sprintf("Advice %d: %s", i, p.Advice[0]))
	}
	return p
}

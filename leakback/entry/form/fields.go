package form

import (
	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
)

// Names of fields that the readings file has no column for and a job no field.
const (
	fieldTubeClass = "tube_class"
	fieldPrimed    = "primed"
)

// field is one thing that is entered once on a form.
type field struct {
	// name is the column of the readings file, the job's field or a word of ours.
	name string
	// label stands before its cell, and hint behind it: unit, or what may be
	// written there on paper.
	label, hint string
	// says is the message shown while the cell is chosen.
	says  string
	takes taker
	// wide fields have a row to themselves.
	wide bool
}

// taker says what a cell takes.
type taker struct {
	// text is the most characters of free text; 0 for what is not free.
	text int
	// words are offered in a list; own says that others are taken as well.
	words []string
	own   bool
	// number is the span of a number; nil for what is none.
	number *span
}

// span is what a number may be.
type span struct {
	low, high float64
	above     bool // low itself is not taken
	whole     bool
	// kind is the quantity, by whose units a figure may be followed, and units
	// are those that people are told of; no kind where there are none.
	kind  quantity.Kind
	units []string
	// bound says that > or < may stand in front.
	bound bool
	// words are taken in place of a number.
	words []string
}

// of is the span of a quantity.
func of(k quantity.Kind, units ...string) *span {
	low, high := k.Bounds()
	return &span{low: low, high: high, kind: k, units: units}
}

// Spans that the readings file bounds as well; the tests hold them against it.
var (
	markSpan    = &span{above: true, high: 10_000}
	speedSpan   = &span{high: leakback.MostRPM}
	cranksSpan  = &span{low: 1, high: leakback.MostCranks, whole: true}
	batterySpan = &span{high: leakback.MostBatteryV}
	readingSpan = &span{high: 10_000, bound: true}
)

// intervalSpan takes a length of time; unknown only where returns are individual.
func intervalSpan(method leakback.Method) *span {
	s := of(quantity.Interval, "m", ":")
	if method == leakback.MethodIndividual {
		s.words = []string{"unknown"}
	}
	return s
}

func text(most int) taker { return taker{text: most} }

func words(list ...string) taker { return taker{words: list} }

func number(s *span) taker { return taker{number: s} }

// jobFields are who and what, two in a row.
func jobFields() []field {
	name := func(name, label string) field {
		return field{name: name, label: label, takes: text(leakback.Longest(name))}
	}
	tested := name(leakback.FieldTested, "Date and time")
	tested.says = "When the test was done, with the zone: 2026-03-04 14:30 +01:00"
	engine := name(leakback.FieldEngine, "Engine")
	engine.takes, engine.says = text(leakback.LongestName), "The engine's name as the limits sheet has it: it picks the sheet."
	odometer := name(leakback.FieldOdometer, "Odometer or hours")
	odometer.says = "With its unit: 184 300 km, or 6 120 h"
	complaint := name(leakback.FieldComplaint, "Complaint")
	complaint.wide = true
	return []field{
		name(leakback.FieldWorkshop, "Workshop"), name(leakback.FieldTechnician, "Technician"),
		name(leakback.FieldCustomer, "Customer"), name(leakback.FieldWorkOrder, "Work order"),
		name(leakback.FieldVehicle, "Vehicle"), name(leakback.FieldVIN, "VIN"),
		odometer, tested,
		engine, name(leakback.FieldEngineSerial, "Engine serial no."),
		complaint,
	}
}

// stateFields are the state that the readings were taken in.
func stateFields(method leakback.Method) []field {
	return []field{
		{"condition", "Condition", "", // its hint lists those that are offered
			"The running state. Your own word is taken as well.", taker{own: true, text: leakback.LongestName}, true},
		{"injectors", "Injectors", "driven / off", "driven where the engine runs on them, off where they are disabled.",
			words(limits.Driven, limits.Off), false},
		{"cranks", "Cranks in a run", "when cranking", "How often the starter was used in each run.", number(cranksSpan), false},
		{"fuel_temp_c", "Fuel temperature", "°C (or 113 F)", "In °C, or with its unit: 113 F",
			number(of(quantity.Temperature, "F")), false},
		{"fuel_temp_at", "taken at", "supply/rail/return/tube", "Where the fuel's temperature was taken.",
			words("supply", "rail", "return", "tube"), false},
		{"rail_pressure_bar", "Rail pressure", "bar (or 5000 psi)", "In bar, or with its unit: 5000 psi, 35 MPa",
			number(of(quantity.Pressure, "psi", "kPa", "MPa")), false},
		{"back_pressure_bar", "Return held up at", "bar, if at all", "The pressure in the return where it is not collected into open tubes.",
			number(of(quantity.Pressure, "psi", "kPa", "MPa")), false},
		{"engine_rpm", "Engine speed", "rpm", "In revolutions per minute.", number(speedSpan), false},
		{leakback.FieldBatteryV, "Battery", "V", "The battery's voltage while the readings were taken.", number(batterySpan), false},
		{"graduation_ml", "Tube's mark step", "mL", "The step between two marks of the tube. Empty is 1 mL.", number(markSpan), false},
		{"capacity_ml", "Tube's highest mark", "mL", "The tube's highest mark.", number(markSpan), false},
		{fieldTubeClass, "Tube's class", "A / B, if printed on it", "The class printed on the glass (ASTM E1272). Shop plastic has none.",
			words("A", "B"), false},
		{fieldPrimed, "Hoses primed", "yes: no bubbles left",
			"yes when every hose dripped without bubbles, the engine was stopped and the tubes were emptied.",
			words("yes", "no"), false},
		{"interval_s", "Time of each run", intervalHint(method),
			"The time of every run that has no time of its own in the table: 60, or 1:30", number(intervalSpan(method)), true},
	}
}

func intervalHint(method leakback.Method) string {
	hint := "s (or 1:30); a run that took another time has it in the table"
	if method == leakback.MethodIndividual {
		return hint + ". unknown: only ratios matter"
	}
	return hint
}

// noteField stands below the readings.
var noteField = field{name: leakback.FieldNote, label: "Note", takes: text(leakback.LongestSentence), wide: true}

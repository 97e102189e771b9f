// Package entry turns what a technician wrote into tests: a readings file, or
// the volumes on a scrap of paper. It takes what it reads from an io.Reader and
// says what is wrong with it by row and column. It knows no screen, no command
// and no verdict.
package entry

import (
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
)

// Defaults is what the flags say: it fills in what cells leave empty. Figures
// are NaN, counts 0 and words "" where a flag was not given.
type Defaults struct {
	// IntervalS is the length of each collection in s; +Inf where it is unknown.
	IntervalS float64
	// GraduationML is the step between two marks of the tubes; NaN is 1 mL.
	GraduationML float64
	// CapacityML is the highest mark of the tubes; NaN or 0 is not given.
	CapacityML float64
	// ToleranceML is the largest error of the tubes' scale; NaN is what
	// TubeClass makes it, or one mark.
	ToleranceML float64
	// DensityGML is the fuel's density in g/mL, where it was weighed.
	DensityGML float64
	// TubeClass is A or B of ASTM E1272.
	TubeClass string
	// Condition is the running state of the engine.
	Condition string
	// Injectors is limits.Driven or limits.Off.
	Injectors string
	// Cranks is how often the starter was used in each run.
	Cranks int
	// FuelTempC is the fuel's temperature in degC.
	FuelTempC float64
	// FuelTempAt is where it was taken: supply, rail, return or tube.
	FuelTempAt string
	// RailPressureBar is the pressure in the rail.
	RailPressureBar float64
	// BackPressureBar is the pressure at which the return was held up.
	BackPressureBar float64
	// EngineRPM is the engine's speed in 1/min.
	EngineRPM float64
	// ReturnLine is the return line (bank) that the cylinders drain into.
	ReturnLine string
	// Engine is the engine's name, which picks the limits sheet.
	Engine string
	// Cylinders is how many cylinders the engine has, by the flag or its sheet.
	Cylinders int
	// FitDrift says that runs which cannot show drift are to be refused.
	FitDrift bool
}

// Unknown stands for the length of a collection of which only the ratios matter.
const Unknown = "unknown"

// unknownS is that length in s while a file is read.
var unknownS = math.Inf(1)

// intervalS is a length as tests have it: NaN where it is unknown.
func intervalS(read float64) float64 {
	if read == unknownS {
		return math.NaN()
	}
	return read
}

// NoDefaults are the defaults where no flag was given.
func NoDefaults() Defaults {
	nan := math.NaN()
	return Defaults{IntervalS: nan, GraduationML: nan, CapacityML: nan, ToleranceML: nan, DensityGML: nan,
		FuelTempC: nan, RailPressureBar: nan, BackPressureBar: nan, EngineRPM: nan}
}

// Usual brings words to their usual form and says what is wrong with the flags,
// before anything is read by them. The error is a *FaultError.
func (d Defaults) Usual() (Defaults, error) {
	usual, faults := d.settled()
	if len(faults) > 0 {
		return d, &FaultError{Faults: faults}
	}
	usual.GraduationML, usual.CapacityML = d.GraduationML, d.CapacityML
	return usual, nil
}

// settled fills in what stands for a flag that was not given, brings words to
// their usual form and reports flags that no cell would be allowed to hold.
func (d Defaults) settled() (Defaults, []Fault) {
	var faults []Fault
	for _, f := range d.figures() {
		if s := f.span(); !math.IsNaN(f.value) && !s.holds(f.value) && !(f.column == colInterval && f.value == unknownS) {
			faults = append(faults, Fault{Column: f.flag, Value: quantity.Grouped(f.value), Expected: s.expected})
		}
	}
	for _, w := range d.words() {
		word, ok := w.usual(strings.TrimSpace(*w.text))
		if *w.text != "" && !ok {
			faults = append(faults, Fault{Column: w.flag, Value: *w.text, Expected: w.expected})
		}
		*w.text = word
	}
	d.GraduationML = orElse(d.GraduationML, 1)
	d.CapacityML = orElse(d.CapacityML, 0)
	if d.CapacityML > 0 && d.GraduationML > d.CapacityML {
		faults = append(faults, Fault{Column: "--capacity", Value: quantity.Format(quantity.Volume, d.CapacityML),
			Expected: atLeastAMark(d.GraduationML)})
	}
	return d, faults
}

type flagFigure struct {
	flag   string
	column column
	value  float64
}

// span is what the flag takes.
func (f *flagFigure) span() *span {
	if f.column == colCylinder {
		return &cylinderCount
	}
	return &spans[f.column]
}

func (d *Defaults) figures() []flagFigure {
	return []flagFigure{
		{"--interval", colInterval, d.IntervalS},
		{"--graduation", colGraduation, d.GraduationML},
		{"--capacity", colCapacity, notZero(d.CapacityML)},
		{"--tolerance", colTolerance, d.ToleranceML},
		{"--density", colDensity, d.DensityGML},
		{"--cranks", colCranks, notZero(float64(d.Cranks))},
		{"--fuel-temp", colFuelTemp, d.FuelTempC},
		{"--rail-pressure", colRailPressure, d.RailPressureBar},
		{"--back-pressure", colBackPressure, d.BackPressureBar},
		{"--rpm", colEngineRPM, d.EngineRPM},
		{"--cylinders", colCylinder, notZero(float64(d.Cylinders))},
	}
}

// flagOf is the flag that fills in a column of figures.
func (d *Defaults) flagOf(c column) string {
	all := d.figures()
	return all[slices.IndexFunc(all, func(f flagFigure) bool { return f.column == c })].flag
}

type flagWord struct {
	flag string
	text *string
	wordKind
}

func (d *Defaults) words() []flagWord {
	return []flagWord{
		{"--tube-class", &d.TubeClass, wordKind{tubeClass, "A or B"}},
		{"--condition", &d.Condition, wordKinds[colCondition]},
		{"--injectors", &d.Injectors, wordKinds[colInjectors]},
		{"--fuel-temp-at", &d.FuelTempAt, wordKinds[colFuelTempAt]},
		{"--return-line", &d.ReturnLine, wordKinds[colReturnLine]},
		{"--engine", &d.Engine, wordKinds[colEngine]},
	}
}

// notZero is x, or NaN where 0 stands for not given.
func notZero(x float64) float64 {
	if x == 0 {
		return math.NaN()
	}
	return x
}

func orElse(x, other float64) float64 {
	if math.IsNaN(x) {
		return other
	}
	return x
}

// wordKind is what a column of words takes: usual gives the usual form of a
// word and whether it is one.
type wordKind struct {
	usual    func(string) (string, bool)
	expected string
}

var wordKinds = [columns]wordKind{
	colTestID:     {usualID, "an id that begins with a letter or a digit, at most 100 printable characters"},
	colEngine:     {usualText, "the engine's name, at most 100 printable characters"},
	colCondition:  {usualCondition, "a condition such as idle or cranking, at most 100 printable characters"},
	colInjectors:  {oneOf(limits.Driven, limits.Off), "driven or off"},
	colFuelTempAt: {oneOf("supply", "rail", "return", "tube"), "supply, rail, return or tube"},
	colReturnLine: {usualText, "the return line's name, at most 100 printable characters"},
}

// The words that the limits sheets know; a shop may have its own beside them.
var usualConditions = oneOf("cranking", "idle", "raised-idle", "commanded-pressure")

func usualCondition(text string) (string, bool) {
	if word, ok := usualConditions(text); ok {
		return word, true
	}
	return usualText(text)
}

var tubeClass = oneOf("A", "B")

// oneOf takes the words in any case.
func oneOf(words ...string) func(string) (string, bool) {
	return func(text string) (string, bool) {
		for _, word := range words {
			if strings.EqualFold(word, text) {
				return word, true
			}
		}
		return "", false
	}
}

func usualText(text string) (string, bool) {
	if !quantity.Printable(text) || utf8.RuneCountInString(text) > leakback.LongestName {
		return "", false
	}
	return text, true
}

func usualID(text string) (string, bool) {
	if r, _ := utf8.DecodeRuneInString(text); !beginsID(r) {
		return "", false
	}
	return usualText(text)
}

func beginsID(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }

// state is what the flags say of a run.
func (d *Defaults) state() leakback.State {
	return leakback.State{Cranks: d.Cranks, FuelTempC: d.FuelTempC, FuelTempAt: d.FuelTempAt,
		RailPressureBar: d.RailPressureBar, BackPressureBar: d.BackPressureBar, EngineRPM: d.EngineRPM}
}

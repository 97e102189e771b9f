package screen

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"leakback/leakback/entry/ask"
)

// fakeFlow asks what a test of an invented engine would: it keeps answers in
// memory, and counts what it was given.
type fakeFlow struct {
	now      func() time.Time
	at       int
	started  time.Time
	said     []string
	answers  []string // everything that Answer was given
	kept     map[string]string
	readings map[int]string
	order    []int
	fail     error         // Answer fails with it
	slow     time.Duration // how long Answer takes
	pass     func(time.Duration)
	boom     string // the answer at which it panics
	targetS  float64
}

const (
	atVehicle = iota
	atFuel
	atCondition
	atCautions
	atTimer
	atReading
	atNext
	atRest
	atDone
)

// fakeLimitMLMin is the limit of the invented engine.
const fakeLimitMLMin = 40

func newFakeFlow(now func() time.Time) *fakeFlow {
	return &fakeFlow{now: now, targetS: 60, kept: map[string]string{}, readings: map[int]string{}, order: []int{1, 5, 3, 6, 2, 4},
		said: []string{"A new test was begun."}}
}

func (f *fakeFlow) Question() ask.Question {
	switch f.at {
	case atVehicle:
		return ask.Question{ID: "vehicle", Section: "The vehicle", Prompt: "Registration or fleet number", Required: true,
			Earlier: []string{"NM-4711", "NM-0815", "Harvester 3"}}
	case atFuel:
		return ask.Question{ID: "fuel_temp_c", Section: "The state it is tested in", Prompt: "Fuel temperature",
			Hint: "Degrees Celsius or Fahrenheit, as in 41 °C or 105 F. Empty where it is not known.", Default: "40 °C",
			Earlier: []string{"38 °C", "40 °C"}}
	case atCondition:
		return ask.Question{ID: "condition", Kind: ask.Choice, Section: "The state it is tested in", Prompt: "Condition",
			Options: []ask.Option{{Value: "cranking", Label: "Cranking: the starter turns the engine, nothing is injected"},
				{Value: "idle", Label: "Idle"}, {Value: "raised-idle", Label: "Raised idle"}}}
	case atCautions:
		return ask.Question{ID: "cautions", Kind: ask.Confirm, Section: "Before the start", Prompt: "Read these cautions",
			Notes: fakeCautions, Required: true, Options: []ask.Option{{Value: "read", Label: "I have read them"}}}
	case atTimer:
		return f.timer()
	case atReading:
		return f.reading()
	case atNext:
		return ask.Question{ID: "next", Kind: ask.Choice, Section: "Result", Prompt: "What next", Table: fakeTable, Default: "end",
			Options: []ask.Option{{Value: "run", Label: "Another run of 60 s: settles cylinder 3"}, {Value: "end", Label: "End the test"}}}
	case atRest:
		return ask.Question{ID: "rest", Kind: ask.Rest, Section: "Run 2", Prompt: "Let the starter rest", TargetS: 30}
	}
	return ask.Question{ID: "done", Kind: ask.Done, Section: "Result", Table: fakeTable}
}

func (f *fakeFlow) timer() ask.Question {
	return ask.Question{ID: "run 1 collection", Kind: ask.Timer, Section: "Run 1", Prompt: "Collect from all six cylinders",
		Hint: "Start and stop with Enter; or type an interval timed otherwise, as in 60s.", TargetS: f.targetS, Running: !f.started.IsZero()}
}

func (f *fakeFlow) reading() ask.Question {
	q := ask.Question{ID: "run 1 reading", Kind: ask.Reading, Section: "Run 1", Hint: "mL in its tube, as in 22,5; >100 where it ran over. 4=22.5 for another cylinder."}
	q.Board = f.board()
	for _, c := range f.order {
		if f.readings[c] == "" {
			q.Cylinder = c
			break
		}
	}
	q.Prompt = fmt.Sprintf("Cylinder %d", q.Cylinder)
	return q
}

// board judges by the limit alone, and takes each level as collected in 60 s.
func (f *fakeFlow) board() *ask.Board {
	b := &ask.Board{LimitMLMin: fakeLimitMLMin, MedianMLMin: math.NaN()}
	var rates []float64
	for _, c := range f.order {
		bar := ask.Bar{Cylinder: c, Label: f.readings[c], RateMLMin: math.NaN()}
		if level := f.readings[c]; level != "" {
			bar.AtLeast = strings.HasPrefix(level, ">")
			bar.RateMLMin, _ = strconv.ParseFloat(strings.Replace(strings.TrimPrefix(level, ">"), ",", ".", 1), 64)
			bar.Verdict, bar.Flagged = "pass", bar.RateMLMin > fakeLimitMLMin
			if bar.Flagged {
				bar.Verdict = "fail"
			}
			rates = append(rates, bar.RateMLMin)
		}
		b.Bars = append(b.Bars, bar)
	}
	if slices.Sort(rates); len(rates) > 1 {
		b.MedianMLMin = (rates[(len(rates)-1)/2] + rates[len(rates)/2]) / 2
	}
	return b
}

func (f *fakeFlow) Answer(text string) error {
	f.answers = append(f.answers, text)
	if f.slow > 0 {
		f.pass(f.slow)
	}
	if f.boom != "" && text == f.boom {
		panic("the flow broke")
	}
	text = strings.TrimSpace(text)
	if f.fail != nil && text != ask.WordBack {
		return f.fail
	}
	if strings.EqualFold(text, ask.WordBack) {
		return f.goBack()
	}
	return f.take(text)
}

func (f *fakeFlow) goBack() error {
	if f.at == atVehicle {
		return &ask.Refusal{Value: ask.WordBack, Expected: "an answer: this is the first question"}
	}
	f.at, f.started = f.at-1, time.Time{}
	f.said = append(f.said, "Back.")
	return nil
}

func (f *fakeFlow) take(text string) error {
	switch f.at {
	case atVehicle:
		if text == "" {
			return &ask.Refusal{Expected: "a registration or a fleet number"}
		}
	case atFuel:
		if text == "" {
			text = "40 °C"
		}
		if _, err := strconv.ParseFloat(strings.TrimSuffix(text, " °C"), 64); err != nil {
			return &ask.Refusal{Value: text, Expected: "a temperature, as in 41 °C or 105 F"}
		}
	case atCondition:
		if !slices.Contains([]string{"cranking", "idle", "raised-idle"}, text) {
			return &ask.Refusal{Value: text, Expected: "cranking, idle or raised-idle"}
		}
	case atCautions:
		if text != "read" {
			return &ask.Refusal{Value: text, Expected: "read"}
		}
	case atTimer:
		return f.time(text)
	case atReading:
		return f.read(text)
	}
	f.kept[f.Question().ID] = text
	f.said = append(f.said, f.Question().Prompt+": "+text)
	f.at++
	return nil
}

func (f *fakeFlow) time(text string) error {
	switch {
	case strings.HasSuffix(text, "s"):
		f.kept["interval"] = text
	case text != "":
		return &ask.Refusal{Value: text, Expected: "Enter, or an interval as in 60s"}
	case f.started.IsZero():
		f.started = f.now()
		f.said = append(f.said, "Started.")
		return nil
	default:
		f.kept["interval"] = strconv.FormatFloat(f.Elapsed().Seconds(), 'f', 1, 64) + "s"
	}
	f.said = append(f.said, "Collected for "+f.kept["interval"]+".")
	f.started = time.Time{}
	f.at++
	return nil
}

func (f *fakeFlow) read(text string) error {
	c, level := f.Question().Cylinder, text
	if number, rest, ok := strings.Cut(text, "="); ok {
		c, _ = strconv.Atoi(number)
		level = rest
	}
	if _, err := strconv.ParseFloat(strings.Replace(strings.TrimPrefix(level, ">"), ",", ".", 1), 64); err != nil {
		return &ask.Refusal{Value: text, Expected: "a level in mL, as in 22.5 or >100"}
	}
	f.readings[c] = level
	f.said = append(f.said, fmt.Sprintf("Cylinder %d: %s mL", c, level))
	if len(f.readings) == len(f.order) {
		f.at++
		f.said = append(f.said, "Cylinder 3 gives more than the limit allows.")
	}
	return nil
}

func (f *fakeFlow) Elapsed() time.Duration {
	switch {
	case f.at == atRest && f.started.IsZero():
		f.started = f.now()
	case f.started.IsZero():
		return 0
	}
	return f.now().Sub(f.started)
}

func (f *fakeFlow) Said() []string {
	said := f.said
	f.said = nil
	return said
}

// errDisk is an answer that could not be kept.
var errDisk = errors.New("logbook: no space left on the device")

// fakeCautions are long enough not to fit on a small screen.
var fakeCautions = []string{
	"High pressure: the rail can hold more than 2,000 bar, and a jet of that fuel enters the body almost without pain. Never search for a leak with a hand.",
	"Opening lines: undo no high-pressure joint while the engine runs or pressure stands; wait, then make sure that it has gone.",
	"Moving engine: keep it from starting only by the maker's own method. Park brake on, gear in neutral, hands and clothes away from what turns.",
	"Hot fuel: what comes back can scald and may be ready to ignite. Fresh air, eye protection, gloves and an extinguisher at hand.",
	"The engine maker's service information comes before anything printed here.",
}

// fakeTable is a table as a flow may hand it over.
func fakeTable(width int) string {
	rule := strings.Repeat("-", min(width, 46))
	return strings.Join([]string{
		"Northmoor Six-90 (invented), idle, 60 s", rule,
		" cyl   mL/min   of median   verdict", rule,
		"   1     21.0       0.95    pass", "   2     22.0       1.00    pass", "   3    100.0     > 4.55    fail",
		"   4     22.5       1.02    pass", "   5     21.5       0.98    pass", "   6     23.0       1.05    pass", rule,
	}, "\n") + "\n"
}

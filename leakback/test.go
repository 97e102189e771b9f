// Package leakback holds the return-flow test of one engine, as it was typed,
// and its evaluation: which cylinder sends too much fuel back, how sure that
// is, and what would settle what is open. It knows no file, screen, database
// or clock.
package leakback

import (
	"math"
	"slices"

	"leakback/stats"
)

// Method says how the returns were collected.
type Method string

// The methods.
const (
	// MethodIndividual is one tube for each cylinder's own return.
	MethodIndividual Method = "individual"
	// MethodBlockOff is the merged return, measured with one or more injectors
	// blocked at the rail.
	MethodBlockOff Method = "block-off"
	// MethodTotal is the merged return alone: no cylinder is identified.
	MethodTotal Method = "total"
)

// Test is one or more runs of one engine in one condition.
type Test struct {
	// ID begins with a letter or a digit.
	ID string
	// Engine is the engine's name, "" where it was not given.
	Engine string
	// Condition is cranking, idle, raised-idle, commanded-pressure or the
	// shop's own word; "" where it was not recorded.
	Condition string
	// Injectors is limits.Driven, limits.Off or "" where it was not recorded.
	Injectors string
	Method    Method
	// Cylinders is the number of cylinders that the entry named; 0 where only
	// the sheet or the readings can tell.
	Cylinders int
	// FitDrift says that drift over the runs must be fitted: runs that cannot
	// show it are refused. Without it drift is fitted where the runs show it.
	FitDrift bool
	// Runs are in the order of time, at least one.
	Runs []Run
}

// Run is one timed collection, of every cylinder at once or of some.
type Run struct {
	// Number is the run's place in time, from 1, as entered.
	Number int
	// IntervalS is the length of the collection in s, > 0; NaN where it is
	// unknown (individual returns only).
	IntervalS float64
	State     State
	// Blocked are the cylinders blocked at the rail, each once; none in a run
	// with nothing blocked, and with the other methods.
	Blocked []int
	// Readings are in the order of cylinder numbers, at most one a cylinder. A
	// merged return has one a return line, of cylinder 0.
	Readings []Reading
	// LeftOut is the reason why the run is kept in the record and out of the
	// evaluation; "" where it takes part.
	LeftOut string
}

// LeaveOut keeps the run of that number out of the evaluation; false where
// there is none.
func (t *Test) LeaveOut(number int, reason string) bool {
	for i := range t.Runs {
		if t.Runs[i].Number == number {
			t.Runs[i].LeftOut = reason
			return true
		}
	}
	return false
}

// kept is the test without the runs that are left out.
func (t *Test) kept() *Test {
	if !slices.ContainsFunc(t.Runs, func(r Run) bool { return r.LeftOut != "" }) {
		return t
	}
	some := *t
	some.Runs = nil
	for i := range t.Runs {
		if t.Runs[i].LeftOut == "" {
			some.Runs = append(some.Runs, t.Runs[i])
		}
	}
	return &some
}

// State is what was recorded beside a run. Figures are NaN, and Cranks 0,
// where they were not recorded.
type State struct {
	Cranks          int
	FuelTempC       float64
	FuelTempAt      string // supply, rail, return, tube or ""
	RailPressureBar float64
	BackPressureBar float64
	EngineRPM       float64
}

// UnknownState is a state of which nothing was recorded.
func UnknownState() State {
	nan := math.NaN()
	return State{FuelTempC: nan, RailPressureBar: nan, BackPressureBar: nan, EngineRPM: nan}
}

// Bound says on which side of the figure the true value lies.
type Bound int8

// A plain figure, a lower bound (the tube overflowed) and an upper bound
// (below the first mark).
const (
	Exact Bound = iota
	AtLeast
	AtMost
)

// String is "", ">=" or "<=".
func (b Bound) String() string {
	switch b {
	case AtLeast:
		return ">="
	case AtMost:
		return "<="
	}
	return ""
}

// Reading is one volume read from one tube.
type Reading struct {
	// Cylinder is the cylinder's number; 0 for a merged return.
	Cylinder int
	// Typed is the reading as it was entered, ">100" or "22,5" among them; ""
	// where the cylinder was not read.
	Typed string
	// VolumeML is the level read, in mL; NaN where it was not read. For a bound
	// it is the level that was reached, or not reached: 0 with AtMost stands
	// for one mark.
	VolumeML float64
	Bound    Bound
	// StartML is the level at the start in mL; StartRead says that it was read
	// (a typed 0 is a level that was read), not that the tube was emptied.
	StartML   float64
	StartRead bool
	// DensityGML turned a mass, as typed, into VolumeML; 0 where a volume was
	// read. DensityAssumed says that nobody gave it.
	DensityGML     float64
	DensityAssumed bool
	Tube           Tube
	ReturnLine     string
}

// AssumedDensityGML stands for the density of diesel where a mass was weighed
// and no density given: within EN 590, which allows 0.82 to 0.845 g/mL at 15 °C.
const AssumedDensityGML = 0.83

// Read says whether the cylinder was read at all. An overflow at the level it
// started from says nothing and counts as not read.
func (r Reading) Read() bool {
	return !math.IsNaN(r.VolumeML) && !(r.Bound == AtLeast && stats.Round6(r.VolumeML-r.StartML) <= 0)
}

// Tube is the graduated cylinder a reading was taken from.
type Tube struct {
	// GraduationML is the step between two marks in mL, > 0.
	GraduationML float64
	// CapacityML is the highest mark in mL; 0 where it was not given.
	CapacityML float64
	// ToleranceML is the largest error of the scale in mL, >= 0.
	ToleranceML float64
	// Class is A or B where the tolerance was taken from ASTM E1272.
	Class string
}

// Job is the work order around a test. What is unknown is "".
type Job struct {
	Workshop     string
	Technician   string
	Customer     string
	WorkOrder    string
	Vehicle      string
	VIN          string
	Odometer     string
	EngineSerial string
	Complaint    string
	// Tested is when the test was done, with its zone, as typed.
	Tested string
	Note   string
}

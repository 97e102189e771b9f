// Package limits holds limits sheets: the figures a shop judges by, each with
// its source. It loads and refuses sheets, finds the one for an engine and
// looks up the limit that applies to a state. It knows nothing of readings,
// verdicts or screens.
package limits

// Range is a closed interval; Low <= High.
type Range struct {
	Low  float64
	High float64
}

// Within says what the comparison inside the engine may decide where a
// cylinder stands apart from its set and yet meets the maker's maximum.
type Within string

// The three values of within_limit.
const (
	WithinUndecided Within = "undecided"
	WithinFail      Within = "fail"
	WithinPass      Within = "pass"
)

// Injector states, of a limit and of a test; "" is not recorded or not asked.
const (
	Driven = "driven"
	Off    = "off"
)

// Origin says how a sheet was found, in words that fit behind "found:".
type Origin string

// The places a sheet is looked for, in the order of precedence.
const (
	OriginNamed       Origin = "named on the command line"
	OriginEnvironment Origin = "named by " + EnvironmentVariable
	OriginFolder      Origin = "in the configuration folder, by the engine's name"
	OriginBuiltin     Origin = "built in, as no sheet was found"
)

// EnvironmentVariable names a limits sheet for every command.
const EnvironmentVariable = "LEAKBACK_LIMITS"

// Sheet is one limits sheet. Every table names its source.
type Sheet struct {
	// Name is what people call the sheet; the file's name where none is given.
	Name string
	// Path is the file it was read from; "" for the built-in sheet.
	Path string
	// Origin says how the sheet was found; "" where nobody searched.
	Origin Origin
	// TOML is the sheet as it was read; "" for the built-in sheet.
	TOML string
	// Engine is the engine it was written for; "" for any engine.
	Engine string
	// Cylinders is the number of cylinders; 0 where the sheet does not say.
	Cylinders int
	// FiringOrder is a permutation of 1..Cylinders, or empty.
	FiringOrder []int
	// ReturnLines names the return lines (banks) and their cylinders, in the
	// order of the file; empty where there is one.
	ReturnLines []ReturnLine
	// BackPressureBar is the pressure at which the return must be held up;
	// nil where it may be collected into open tubes.
	BackPressureBar *Range

	Set         Set
	Measurement Measurement
	Limits      []Limit
	Tightening  []Step
}

// ReturnLine is one return line and the cylinders that drain into it.
type ReturnLine struct {
	Name      string
	Cylinders []int
}

// Set holds what the comparison inside one engine rests on.
type Set struct {
	// HealthyCV is the spread of good injectors: one standard deviation, relative.
	HealthyCV float64
	// FalseAlarm is the chance that a healthy engine gets a high fail from the comparison.
	FalseAlarm float64
	// FalseHint is the chance that it gets an undecided.
	FalseHint float64
	// PracticalRatio is the ratio to the consensus below which nothing is flagged.
	PracticalRatio float64
	// WithinLimit decides where high in the set meets within the maker's limit.
	WithinLimit Within
	// Source says where these figures come from.
	Source string
	// Defaulted names the keys of [set] that the sheet left to the built-in
	// figures, in the order of the fields above.
	Defaulted []string
}

// Measurement holds what the uncertainty of a rate rests on.
type Measurement struct {
	// RepeatabilityCV is the relative standard deviation of one injector's
	// reading when the same run is done again.
	RepeatabilityCV float64
	// CommonCV is the relative standard deviation from run to run that all
	// cylinders of a run share (speed, pressure, temperature).
	CommonCV float64
	// TimingS is the standard uncertainty of the start, and of the stop, in s.
	TimingS float64
	// MaxCrankS is the longest single crank in s; 0 where the sheet does not say.
	MaxCrankS float64
	// RestS is the starter's rest between cranks in s; 0 where the sheet does not say.
	RestS float64
	// Source says where these figures come from.
	Source string
	// Defaulted names the keys of [measurement] left to the built-in figures.
	Defaulted []string
}

// Limit is one [[limit]] table: figures for one condition, perhaps for a state.
// Figures that the sheet does not give are nil.
type Limit struct {
	Condition string
	// Injectors is Driven, Off or "" for either.
	Injectors string
	// Cranks is the crank pattern the figure was given for; 0 where not given.
	Cranks int

	MaxRateMLMin *float64
	MinRateMLMin *float64
	// MaxVolumeML over IntervalS is how many books give a maximum; it is shown
	// so and compared as a rate. Never together with MaxRateMLMin.
	MaxVolumeML        *float64
	IntervalS          *float64
	MaxTotalMLMin      *float64
	MaxRatioToMedian   *float64
	MaxRatioToMean     *float64
	MaxRatioToLowest   *float64
	MaxDifferenceMLMin *float64

	RailPressureBar *Range
	FuelTempC       *Range
	EngineRPM       *Range

	Source string
	// Line is the line of the [[limit]] header in the file.
	Line int
}

// MaxMLMin is the absolute maximum of one cylinder as a rate in mL/min, and
// whether there is one.
func (l *Limit) MaxMLMin() (float64, bool) {
	switch {
	case l == nil:
		return 0, false
	case l.MaxRateMLMin != nil:
		return *l.MaxRateMLMin, true
	case l.MaxVolumeML != nil && l.IntervalS != nil:
		return 60 * *l.MaxVolumeML / *l.IntervalS, true
	}
	return 0, false
}

// Step is one tightening step, as the shop read it in the service information.
type Step struct {
	Step       int
	Part       string
	TorqueNM   float64 // 0 where the step is an angle alone
	TorqueText string  // as written, with its unit
	AngleDeg   float64 // 0 where none is asked
	// TorqueToleranceNM and AngleToleranceDeg are how far the value reached may
	// lie from the step's; 0 where the sheet does not say.
	TorqueToleranceNM float64
	AngleToleranceDeg float64
	NewFastener       bool
	Source            string
}

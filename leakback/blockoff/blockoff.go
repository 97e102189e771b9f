// Package blockoff is for engines whose returns merge before they can be
// collected: the total is measured with one or more injectors blocked at the
// rail, and solved for each cylinder's share by weighted least squares. It
// plans such measurements, solves them with the covariance of the shares, and
// finds what the shares do not explain (a constant return that no injector
// makes, drift, a run far out). It takes and gives plain numbers: no verdict,
// sheet, file or clock.
package blockoff

// Figures of the method.
const (
	// TargetContrast is how small, relative to the median share, the standard
	// deviation of a share against the mean share should be to stop measuring:
	// our choice, no source.
	TargetContrast = 0.08
	// detectable is the one-sided 95 % normal quantile: a share closer to zero
	// than so many standard deviations is not told apart from it.
	detectable = 1.645
	// otherReturn is the Student quantile of the two-sided 99 % test.
	otherReturn = 0.995
	// farOut is the chance that a sound set of runs has one called far out.
	farOut = 0.01
	// heldRatio is how far apart two rail pressures may be to count as held: our
	// choice, no source.
	heldRatio = 1.05
)

// Run is one timed collection of the total of one return line.
type Run struct {
	// Number names the run; rising numbers are its order in time.
	Number int
	// Blocked are the cylinders blocked at the rail; none in a baseline.
	Blocked []int
	// TotalMLMin is what was collected, as a rate, >= 0.
	TotalMLMin float64
	// AtLeast and AtMost say that the total is only a bound: the tube
	// overflowed, or the level stayed below the first mark.
	AtLeast, AtMost bool
	// IntervalS is the length of the collection in s, > 0.
	IntervalS float64
	// GraduationML is the step between two marks of the tube in mL, > 0.
	GraduationML float64
	// Levels is how many levels were read: 1, or 2 where the start was read too.
	Levels int
	// RailPressureBar is NaN (or 0) where it was not recorded.
	RailPressureBar float64
	// LeftOut is the reason why the run is kept out of the fit; "" where it is in.
	LeftOut string
}

// Drift says what is asked about drift over the runs.
type Drift int8

// Drift is fitted where the runs can show it, or insisted upon.
const (
	DriftIfShown Drift = iota
	DriftRequired
)

// Options say what the runs were taken from.
type Options struct {
	// Cylinders drain into the line that was measured.
	Cylinders []int
	// OtherLines are the engine's other cylinders: blocked, they change nothing
	// in this line's total.
	OtherLines []int
	// RepeatabilityCV is the relative standard deviation of one total when the
	// same run is done again, as the sheet has it.
	RepeatabilityCV float64
	// SheetDoF is the degrees of freedom that RepeatabilityCV is trusted with, > 0.
	SheetDoF float64
	// Drift asks for a fitted drift; without it drift is fitted where it shows.
	Drift Drift
}

// Model says what is fitted beside the shares.
type Model struct {
	// Drift is a rate of change from run to run.
	Drift bool
	// NotAddingUp is a level of its own for the baselines, D.
	NotAddingUp bool
	// ConstantReturn is a return in every run that no injector makes, R0.
	ConstantReturn bool
}

// Share is what one cylinder sends into the total.
type Share struct {
	Cylinder int
	// ShareMLMin is the solution as it stands; it may be below zero.
	ShareMLMin float64
	// SDMLMin is its standard deviation.
	SDMLMin float64
	// ContrastSDMLMin is the standard deviation of the share less the mean share
	// of its line; over the median share it is the relative uncertainty in a
	// comparison.
	ContrastSDMLMin float64
	// AtMost says that the share is not told apart from zero: it is below 1.645
	// standard deviations, and RateMLMin is that upper bound.
	AtMost bool
	// RateMLMin is the share, or the bound.
	RateMLMin float64
	// NumberMLMin stands where a number is needed: half an upper bound.
	NumberMLMin float64
}

// LeastMLMin is the least share that is told apart from zero: 1.645 standard
// deviations.
func (s *Share) LeastMLMin() float64 { return detectable * s.SDMLMin }

// Meaning is what the baselines say about the blocked runs.
type Meaning int8

// The meanings of D, the baselines' level less what the shares add up to.
const (
	// NotTested: no baseline, or the runs cannot show D.
	NotTested Meaning = iota
	// AddsUp: D is within the two-sided 99 % test.
	AddsUp
	// OtherReturn: D < 0, as a constant return that no injector makes (relief
	// valve, pump) has it; Constant.Origin says whether one was fitted. Blocking
	// one that raised the others looks the same.
	OtherReturn
	// RaisedOthers: D < 0 beside a constant return that was measured with
	// everything blocked: blocking one raised the others.
	RaisedOthers
	// LoweredOthers: D > 0: with one blocked the others returned less.
	LoweredOthers
)

// NotAddingUp is D: how far the baselines lie from what the shares add up to.
type NotAddingUp struct {
	// MLMin is D; NaN where it was not fitted, and SDMLMin, CriticalMLMin too.
	MLMin float64
	// SDMLMin is its standard deviation.
	SDMLMin float64
	// CriticalMLMin is what |D| must exceed to mean anything.
	CriticalMLMin float64
	Meaning       Meaning
}

// Origin says how a constant return came into the fit.
type Origin int8

// Where a constant return comes from.
const (
	// NotFitted: the shares are solved as if there were none.
	NotFitted Origin = iota
	// FromBaselines: D < 0 was taken for it and every run fitted again.
	FromBaselines
	// AllBlocked: it was measured with every cylinder of the line blocked.
	AllBlocked
)

// Constant is a return in every run that no injector makes.
type Constant struct {
	Origin Origin
	// MLMin is R0; NaN where it is not in the fit, and SDMLMin too.
	MLMin   float64
	SDMLMin float64
	// LargestMLMin is the largest constant return that the runs do not reject
	// at the two-sided 99 % quantile, or that leaves no share below zero.
	LargestMLMin float64
	// AddsMLMin is by how much each share is too high if the constant return is
	// the largest, in the order of the shares.
	AddsMLMin []float64
}

// Residual is one run held against the fit.
type Residual struct {
	Run *Run
	// FittedMLMin is the total that the fit makes for the run.
	FittedMLMin float64
	// MLMin is the total less the fitted one.
	MLMin float64
	// Studentised is NaN for a run left out, and for one that nothing else
	// speaks about.
	Studentised float64
}

// Total is the return with nothing blocked.
type Total struct {
	MLMin   float64
	SDMLMin float64
	// FromBaselines says that it was measured; else the shares add up to it.
	FromBaselines bool
}

// Pressure is the recorded rail pressure over the fitted runs.
type Pressure struct {
	// LowBar and HighBar are NaN where none was recorded.
	LowBar  float64
	HighBar float64
	// NotHeld says that they are more than 5 % apart.
	NotHeld bool
}

// Solution is one return line, solved.
type Solution struct {
	// Shares are in the order of Options.Cylinders.
	Shares []Share
	// Covariance is that of the shares, in (mL/min)^2.
	Covariance [][]float64
	Model      Model
	// SigmaMLMin is the standard deviation of one run (root mean square over the
	// fitted runs): the sheet's pooled with the residuals'. SigmaDoF is what it
	// is trusted with, SheetDoF + DoF.
	SigmaMLMin float64
	SigmaDoF   float64
	// DoF is fitted runs less unknowns.
	DoF int
	// DriftMLMinPerRun and its standard deviation are NaN where not fitted.
	DriftMLMinPerRun   float64
	DriftSDMLMinPerRun float64
	NotAddingUp        NotAddingUp
	Constant           Constant
	Total              Total
	// Residuals are of all runs in the order of time, those left out among them.
	Residuals []Residual
	// FarOut are the numbers of the runs whose residual is beyond the 1 % bound:
	// one, or several that disagree with one another and equally with the fit,
	// of which the runs cannot tell which is off.
	FarOut   []int
	Pressure Pressure
	// MedianMLMin is the median of the shares' numbers.
	MedianMLMin float64
	// Contrast is the largest contrast standard deviation over the median.
	Contrast float64
	// Enough says that Contrast is below TargetContrast.
	Enough bool
}

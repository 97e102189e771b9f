package leakback

import (
	"math"

	"leakback/leakback/blockoff"
	"leakback/limits"
)

// Verdict is the answer for a cylinder or a test; a larger one is worse.
type Verdict int8

// The four verdicts, from best to worst.
const (
	Pass Verdict = iota
	Unread
	Undecided
	Fail
)

// String is the word of the file contracts.
func (v Verdict) String() string {
	return [...]string{"pass", "unread", "undecided", "fail"}[v]
}

// Code names a finding; the codes are part of the file contracts.
type Code string

// Findings of a cylinder.
const (
	OverLimit      Code = "over-limit"
	UnderLimit     Code = "under-limit"
	OverRatio      Code = "over-ratio"
	HighInSet      Code = "high-in-set"
	CloseToLimit   Code = "close-to-limit"
	CloseInSet     Code = "close-in-set"
	LowInSet       Code = "low-in-set"
	Unsteady       Code = "unsteady"
	OverRange      Code = "over-range"
	NoReturn       Code = "no-return"
	BelowFirstMark Code = "below-first-mark"
)

// Findings of a test.
const (
	OverTotal         Code = "over-total"
	OverDifference    Code = "over-difference"
	CloseToTotal      Code = "close-to-total"
	CloseToDifference Code = "close-to-difference"
	NoConsensus       Code = "no-consensus"
	TooLittleReturn   Code = "too-little-return"
	OtherReturn       Code = "other-return"
	PressureNotHeld   Code = "pressure-not-held"
	BackPressure      Code = "back-pressure"
	OutsideLimitState Code = "outside-limit-state"
	StateUnknown      Code = "state-unknown"
	OtherCrankPattern Code = "other-crank-pattern"
	Sequential        Code = "sequential"
	SetTogetherHigh   Code = "set-together-high"
	HalfSet           Code = "half-set"
	FewCylinders      Code = "few-cylinders"
	NoAbsoluteLimit   Code = "no-absolute-limit"
	NoInterval        Code = "no-interval"
)

// Finding is one coded reason beside a verdict, in a sentence for people.
type Finding struct {
	Code Code
	Text string
}

// Action is the kind of step that would settle an undecided or unread result.
type Action string

// The actions of a settle advice.
const (
	// Collect again, for CollectS seconds (perhaps Runs times).
	Collect Action = "collect"
	// Repeat the run until there are Runs of it.
	Repeat Action = "repeat"
	// FinerTube asks for a tube with marks of GraduationML.
	FinerTube Action = "finer-tube"
	// LargerTube asks for a tube that holds TubeML, or a shorter run.
	LargerTube Action = "larger-tube"
	// CheckHose asks to check hose, priming and tube of the cylinder.
	CheckHose Action = "check-hose"
	// GetLimit asks for the maker's absolute limit.
	GetLimit Action = "limit"
	// Swap asks for a swap test, or a spread learned from the shop's own tests.
	Swap Action = "swap"
	// RecordState asks to record, or to set up, the state that the limit names.
	RecordState Action = "record-state"
	// ReadAll asks to read the cylinders that were not read.
	ReadAll Action = "read"
	// AllBlocked asks to measure the return with every cylinder blocked.
	AllBlocked Action = "all-blocked"
)

// Settle is what would turn an open result into an answer. Figures that the
// action does not need are NaN, and Runs 0.
type Settle struct {
	Action   Action
	CollectS float64
	// SaidS is CollectS as Text says it, in whole seconds that still settle it;
	// Cranks is in how many cranks, 0 where Text names none.
	SaidS        float64
	Cranks       int
	Runs         int
	TubeML       float64
	GraduationML float64
	Text         string
}

// Budget is the uncertainty of a rate in parts: standard uncertainties in
// mL/min, degrees of freedom and the one-sided 95 % expanded uncertainty.
type Budget struct {
	ReadingMLMin       float64
	TubeMLMin          float64
	RepeatabilityMLMin float64
	TimingMLMin        float64
	CommonMLMin        float64
	StandardMLMin      float64 // all of them together
	DoF                float64 // whole, at most 10,000
	ExpandedMLMin      float64 // t_0.95(DoF) times StandardMLMin
}

// OwnMLMin is the part that belongs to the cylinder alone.
func (b Budget) OwnMLMin() float64 {
	return math.Sqrt(b.ReadingMLMin*b.ReadingMLMin + b.TubeMLMin*b.TubeMLMin +
		b.RepeatabilityMLMin*b.RepeatabilityMLMin)
}

// Cylinder is the result for one position of the engine.
type Cylinder struct {
	Cylinder int
	// RateMLMin is the mean over the runs, or the bound; NaN where unread.
	RateMLMin float64
	Bound     Bound
	// Budget is all NaN for a bound and where unread.
	Budget Budget
	// RatioToMedian, RatioToConsensus and Z are NaN where they do not exist.
	RatioToMedian    float64
	RatioToConsensus float64
	Z                float64
	// BitingRatio is the ratio to the consensus from which the rule speaks.
	BitingRatio float64
	// ProbabilityOver is the chance that the rate is over the absolute maximum;
	// NaN where there is none, or no plain rate.
	ProbabilityOver float64
	Verdict         Verdict
	Findings        []Finding
	Settle          *Settle
}

// Has says whether the cylinder has a finding of that code.
func (c *Cylinder) Has(code Code) bool { return has(c.Findings, code) }

func has(findings []Finding, code Code) bool {
	for _, f := range findings {
		if f.Code == code {
			return true
		}
	}
	return false
}

// Applied is one figure of the limits sheet that was held against the test.
type Applied struct {
	What   string // the sheet's key
	Value  float64
	Source string
}

// LeftOut is a run that is kept in the record and out of the evaluation.
type LeftOut struct {
	Run    int // its number
	Reason string
}

// Line is one return line whose total was measured with cylinders blocked.
type Line struct {
	// Name is "" where there is one line.
	Name string
	// Solution is what the runs make of the line. Its residuals are of all runs
	// that were read, those left out among them.
	*blockoff.Solution
}

// BlockOff is what merged returns say beside the shares. The figures are those
// of all lines together; NaN where a line has none.
type BlockOff struct {
	Lines []Line
	// NotAddingUpMLMin is D, the return with nothing blocked less what the
	// blocked runs make of it; SDMLMin is its standard deviation.
	NotAddingUpMLMin, SDMLMin float64
	// SigmaMLMin is the standard deviation of one run, and DoF the runs less the
	// unknowns.
	SigmaMLMin float64
	DoF        int
	// DriftMLMinPerRun is the change of the total from run to run.
	DriftMLMinPerRun float64
}

// Result is the evaluation of one test.
type Result struct {
	// Test is the record, runs that were left out among it.
	Test  *Test
	Sheet *limits.Sheet
	// Limit is the [[limit]] that applied, without figures that cannot be held
	// against such a test; nil where none did.
	Limit *limits.Limit
	// IntervalS is the length of a run; NaN where the runs differ in length or
	// it is unknown.
	IntervalS float64
	// MedianMLMin is NaN where no cylinder was read.
	MedianMLMin float64
	// TotalMLMin is NaN unless every cylinder has a plain rate, or the merged
	// return was measured.
	TotalMLMin float64
	// Total is the uncertainty of the total; NaN where there is none.
	Total Budget
	// Agreeing is the number of cylinders in the consensus; 0 without comparison.
	Agreeing int
	// BoundsSway says that the place of a cylinder in its set hangs on where a
	// reading lies of which only a bound is known.
	BoundsSway bool
	// ConsensusMLMin is the consensus's centre as a rate; NaN without comparison.
	ConsensusMLMin float64
	Verdict        Verdict
	Findings       []Finding
	// Notes are sentences for people that carry no code: what was not recorded
	// and what was taken for it.
	Notes   []string
	Settle  *Settle
	Applied []Applied
	// Assumed names the figures that took part in a decision and rest on an
	// assumption, as key and value ("healthy_cv 0.15").
	Assumed   []string
	Cylinders []Cylinder
	// BlockOff is nil for every other method.
	BlockOff *BlockOff
	// DriftPerRun is the relative change of the rates from run to run that was
	// fitted to repeated cylinders and taken out; NaN where none was.
	DriftPerRun float64
	// LeftOut are the runs that did not take part, in the order of time.
	LeftOut []LeftOut
}

// Has says whether the test has a finding of that code.
func (r *Result) Has(code Code) bool { return has(r.Findings, code) }

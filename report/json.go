package report

import (
	"io"
	"math"

	"leakback/leakback"
)

// JSON writes the result as one JSON object on one line, with full precision;
// what does not exist is null.
func JSON(w io.Writer, r *leakback.Result) error {
	return encode(w, jsonTest{
		TestID: r.Test.ID, Condition: jsonText(r.Test.Condition), Method: string(r.Test.Method),
		IntervalS: jsonNumber(r.IntervalS), Runs: len(r.Test.Runs) - len(r.LeftOut),
		MedianMLMin: jsonNumber(r.MedianMLMin), TotalMLMin: jsonNumber(r.TotalMLMin),
		Verdict: r.Verdict.String(), Findings: jsonFindings(r.Findings), Settle: jsonSettleOf(r.Settle),
		Limits: jsonLimitsOf(r), Cylinders: jsonCylinders(r.Cylinders), BlockOff: jsonSharesOf(r),
	})
}

// jsonTest holds the names and their order that other programs read.
type jsonTest struct {
	TestID      string         `json:"test_id"`
	Condition   *string        `json:"condition"`
	Method      string         `json:"method"`
	IntervalS   *float64       `json:"interval_s"`
	Runs        int            `json:"runs"`
	MedianMLMin *float64       `json:"median_ml_min"`
	TotalMLMin  *float64       `json:"total_ml_min"`
	Verdict     string         `json:"verdict"`
	Findings    []jsonFinding  `json:"findings"`
	Settle      *jsonSettle    `json:"settle"`
	Limits      jsonLimits     `json:"limits"`
	Cylinders   []jsonCylinder `json:"cylinders"`
	BlockOff    *jsonShares    `json:"block_off,omitempty"` // of no other method
}

type jsonShares struct {
	NotAddingUpMLMin *float64      `json:"not_adding_up_ml_min"`
	SD               *float64      `json:"sd"`
	Sigma            *float64      `json:"sigma"`
	DoF              int           `json:"dof"`
	DriftMLMinPerRun *float64      `json:"drift_ml_min_per_run"`
	LeftOut          []jsonLeftOut `json:"left_out"`
}

type jsonLeftOut struct {
	Run    int    `json:"run"`
	Reason string `json:"reason"`
}

type jsonFinding struct {
	Code leakback.Code `json:"code"`
	Text string        `json:"text"`
}

type jsonSettle struct {
	Action       leakback.Action `json:"action"`
	CollectS     *float64        `json:"collect_s"`
	Runs         *int            `json:"runs"`
	TubeML       *float64        `json:"tube_ml"`
	GraduationML *float64        `json:"graduation_ml"`
	Text         string          `json:"text"`
}

type jsonLimits struct {
	Name    string        `json:"name"`
	Source  *string       `json:"source"`
	Applied []jsonApplied `json:"applied"`
}

type jsonApplied struct {
	What   string   `json:"what"`
	Value  *float64 `json:"value"`
	Source *string  `json:"source"`
}

type jsonCylinder struct {
	Cylinder                 int           `json:"cylinder"`
	RateMLMin                *float64      `json:"rate_ml_min"`
	RateBound                *string       `json:"rate_bound"`
	StandardUncertaintyMLMin *float64      `json:"standard_uncertainty_ml_min"`
	RatioToMedian            *float64      `json:"ratio_to_median"`
	RatioToConsensus         *float64      `json:"ratio_to_consensus"`
	ProbabilityOver          *float64      `json:"probability_over"`
	Verdict                  string        `json:"verdict"`
	Findings                 []jsonFinding `json:"findings"`
	Settle                   *jsonSettle   `json:"settle"`
}

// jsonNumber is null for what is not a number.
func jsonNumber(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// jsonText is null for what was not recorded.
func jsonText(text string) *string {
	if text == "" {
		return nil
	}
	return &text
}

func jsonFindings(findings []leakback.Finding) []jsonFinding {
	list := make([]jsonFinding, len(findings))
	for i, f := range findings {
		list[i] = jsonFinding(f)
	}
	return list
}

func jsonSettleOf(s *leakback.Settle) *jsonSettle {
	if s == nil {
		return nil
	}
	j := &jsonSettle{
		Action: s.Action, CollectS: jsonNumber(s.CollectS), TubeML: jsonNumber(s.TubeML),
		GraduationML: jsonNumber(s.GraduationML), Text: s.Text,
	}
	if s.Runs > 0 {
		j.Runs = &s.Runs
	}
	return j
}

// jsonLimitsOf names the source of the limit that applied, or of the
// comparison inside the engine where none did.
func jsonLimitsOf(r *leakback.Result) jsonLimits {
	source := r.Sheet.Set.Source
	if r.Limit != nil {
		source = r.Limit.Source
	}
	applied := make([]jsonApplied, len(r.Applied))
	for i, a := range r.Applied {
		applied[i] = jsonApplied{a.What, jsonNumber(a.Value), jsonText(a.Source)}
	}
	return jsonLimits{r.Sheet.Name, jsonText(source), applied}
}

func jsonSharesOf(r *leakback.Result) *jsonShares {
	b := r.BlockOff
	if b == nil {
		return nil
	}
	j := &jsonShares{
		NotAddingUpMLMin: jsonNumber(b.NotAddingUpMLMin), SD: jsonNumber(b.SDMLMin), Sigma: jsonNumber(b.SigmaMLMin),
		DoF: b.DoF, DriftMLMinPerRun: jsonNumber(b.DriftMLMinPerRun), LeftOut: make([]jsonLeftOut, len(r.LeftOut)),
	}
	for i, out := range r.LeftOut {
		j.LeftOut[i] = jsonLeftOut(out)
	}
	return j
}

func jsonCylinders(cylinders []leakback.Cylinder) []jsonCylinder {
	list := make([]jsonCylinder, len(cylinders))
	for i := range cylinders {
		c := &cylinders[i]
		list[i] = jsonCylinder{
			Cylinder: c.Cylinder, RateMLMin: jsonNumber(c.RateMLMin), RateBound: jsonText(c.Bound.String()),
			StandardUncertaintyMLMin: jsonNumber(c.Budget.StandardMLMin),
			RatioToMedian:            jsonNumber(c.RatioToMedian), RatioToConsensus: jsonNumber(c.RatioToConsensus),
			ProbabilityOver: jsonNumber(c.ProbabilityOver), Verdict: c.Verdict.String(),
			Findings: jsonFindings(c.Findings), Settle: jsonSettleOf(c.Settle),
		}
	}
	return list
}

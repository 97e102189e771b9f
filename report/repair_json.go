package report

import (
	"io"
	"math"
	"time"

	"leakback/leakback"
	"leakback/leakback/repair"
)

// RepairJSON writes a repair as one JSON object on one line, with full precision;
// what does not exist is null. Tests are told by their place from 1, as in
// from_test and to_test.
func RepairJSON(w io.Writer, p *RepairPage) error {
	c := p.Comparison
	j := jsonRepair{Answer: string(c.Whole.Answer), ComplaintGone: jsonText(c.ComplaintGone), Fuel: jsonFuelOf(c.Fuel),
		Advice: append([]string{}, p.Advice...), Whole: jsonPairOf(c.Whole), Steps: []jsonPair{}, Tests: []jsonSide{},
		Corrections: append([]string{}, workCorrections(p.Tests)...)}
	for i := range c.Sides {
		j.Tests = append(j.Tests, jsonSideOf(p, i))
	}
	for i := range c.Steps {
		j.Steps = append(j.Steps, jsonPairOf(&c.Steps[i]))
	}
	return encode(w, j)
}

// jsonRepair holds the names and their order that other programs read.
type jsonRepair struct {
	Answer        string     `json:"answer"`
	ComplaintGone *string    `json:"complaint_gone"`
	Tests         []jsonSide `json:"tests"`
	Fuel          jsonFuel   `json:"fuel"`
	Steps         []jsonPair `json:"steps"`
	Whole         jsonPair   `json:"whole"`
	Corrections   []string   `json:"work_corrections"`
	Advice        []string   `json:"advice"`
}

type jsonFuel struct {
	Assumed bool        `json:"assumed"`
	A       float64     `json:"a"`
	B       float64     `json:"b"`
	Points  []jsonPoint `json:"points"`
}

type jsonPoint struct {
	TempC         float64 `json:"temp_c"`
	ViscosityMM2S float64 `json:"viscosity_mm2_s"`
}

// jsonSide is one test, with the work that was done before it.
type jsonSide struct {
	Label     string     `json:"label"`
	When      *string    `json:"when"`
	TestID    string     `json:"test_id"`
	Digest    *string    `json:"digest"`
	Condition *string    `json:"condition"`
	Method    string     `json:"method"`
	IntervalS *float64   `json:"interval_s"`
	Verdict   string     `json:"verdict"`
	Work      []jsonWork `json:"work"`
}

type jsonWork struct {
	Number           int            `json:"number"`
	Done             *string        `json:"done"`
	FirstEntered     *string        `json:"first_entered"`
	LastEntered      *string        `json:"last_entered"`
	People           []string       `json:"people"`
	FaultCodesBefore *string        `json:"fault_codes_before"`
	FaultCodesAfter  *string        `json:"fault_codes_after"`
	SymptomBefore    *string        `json:"symptom_before"`
	SymptomAfter     *string        `json:"symptom_after"`
	ComplaintGone    *string        `json:"complaint_gone"`
	Positions        []jsonPosition `json:"positions"`
	Steps            []jsonStep     `json:"tightening"`
	StepFaults       []jsonFault    `json:"tightening_faults"`
	Doubts           []jsonFault    `json:"doubts"`
}

type jsonPosition struct {
	Cylinder            int     `json:"cylinder"`
	Injector            *string `json:"injector"`
	InjectorSwappedWith *int    `json:"injector_swapped_with"`
	SerialOut           *string `json:"injector_serial_out"`
	SerialIn            *string `json:"injector_serial_in"`
	CodeOut             *string `json:"correction_code_out"`
	CodeIn              *string `json:"correction_code_in"`
	Core                *string `json:"core"`
	FeedTube            *string `json:"feed_tube"`
	Lines               *string `json:"lines"`
	Seals               *string `json:"seals"`
	ReliefValve         *string `json:"relief_valve"`
	OldPartTag          *string `json:"old_part_tag"`
	OldPartWhereabouts  *string `json:"old_part_whereabouts"`
	Declined            *string `json:"declined"`
	Note                *string `json:"work_note"`
}

type jsonStep struct {
	Cylinder    int      `json:"cylinder"`
	Place       int      `json:"place"`
	Step        int      `json:"step"`
	Torque      *string  `json:"torque"`
	TorqueNM    *float64 `json:"torque_nm"`
	AngleDeg    *float64 `json:"angle_deg"`
	NewFastener *string  `json:"new_fastener"`
	Entered     *string  `json:"entered"`
	Person      *string  `json:"person"`
}

type jsonFault struct {
	Cylinder int    `json:"cylinder"`
	Place    *int   `json:"place,omitempty"`
	Step     *int   `json:"step,omitempty"`
	Code     string `json:"code"`
	Text     string `json:"text"`
}

type jsonPair struct {
	FromTest    int             `json:"from_test"`
	ToTest      int             `json:"to_test"`
	Answer      string          `json:"answer"`
	Reasons     []jsonReason    `json:"reasons"`
	Settle      *jsonSettle     `json:"settle"`
	Comparable  bool            `json:"comparable"`
	Remarks     []jsonRemark    `json:"remarks"`
	Temperature jsonTemperature `json:"temperature"`
	Swaps       []jsonSwap      `json:"swaps"`
	Total       *jsonChange     `json:"total"`
	Cylinders   []jsonChange    `json:"cylinders"`
}

type jsonReason struct {
	Code      string `json:"code"`
	Cylinders []int  `json:"cylinders"`
	Text      string `json:"text"`
}

type jsonRemark struct {
	Code       string `json:"code"`
	Text       string `json:"text"`
	DoubtsPass bool   `json:"doubts_pass"`
	DoubtsFail bool   `json:"doubts_fail"`
}

type jsonTemperature struct {
	BeforeC             *float64 `json:"before_c"`
	AfterC              *float64 `json:"after_c"`
	BeforeAt            *string  `json:"before_at"`
	AfterAt             *string  `json:"after_at"`
	Apart               bool     `json:"apart"`
	BeforeViscosityMM2S *float64 `json:"before_viscosity_mm2_s"`
	AfterViscosityMM2S  *float64 `json:"after_viscosity_mm2_s"`
}

type jsonSwap struct {
	A       int     `json:"a"`
	B       int     `json:"b"`
	High    *int    `json:"high"`
	Tubes   *string `json:"tubes"`
	Outcome string  `json:"outcome"`
	Text    string  `json:"text"`
	Basis   string  `json:"basis"`
}

type jsonChange struct {
	Cylinder  int         `json:"cylinder"`
	Before    jsonFigures `json:"before"`
	After     jsonFigures `json:"after"`
	Rate      *jsonShift  `json:"rate_change_ml_min"`
	Ratio     *jsonShift  `json:"ratio_change"`
	DecidedBy *string     `json:"decided_by"`
	Direction *float64    `json:"direction"`
	Level     *float64    `json:"level"`
	Range     *jsonRange  `json:"over_exponent"`
}

type jsonFigures struct {
	RateMLMin        *float64 `json:"rate_ml_min"`
	RateBound        *string  `json:"rate_bound"`
	StandardMLMin    *float64 `json:"standard_uncertainty_ml_min"`
	DoF              *float64 `json:"degrees_of_freedom"`
	RatioToConsensus *float64 `json:"ratio_to_consensus"`
	RatioStandard    *float64 `json:"ratio_standard_uncertainty"`
	RatioDoF         *float64 `json:"ratio_degrees_of_freedom"`
	Verdict          *string  `json:"verdict"`
	High             bool     `json:"high"`
	Low              bool     `json:"low"`
}

type jsonShift struct {
	Value    *float64 `json:"value"`
	Bound    *string  `json:"bound"`
	Standard *float64 `json:"standard_uncertainty"`
	DoF      *float64 `json:"degrees_of_freedom"`
	T        *float64 `json:"t"`
	P        *float64 `json:"p"`
	Expanded *float64 `json:"expanded_uncertainty"`
	Level    float64  `json:"level"`
}

type jsonRange struct {
	MaxMLMin *float64    `json:"maximum_ml_min"`
	Zero     jsonEnd     `json:"m0"`
	Half     jsonEnd     `json:"m_half"`
	One      jsonEnd     `json:"m1"`
	Pieces   []jsonPiece `json:"pieces"`
}

type jsonEnd struct {
	RateMLMin        *float64   `json:"rate_after_ml_min"`
	Rate             *jsonShift `json:"rate_change_ml_min"`
	RatioToConsensus *float64   `json:"ratio_to_consensus_after"`
	Ratio            *jsonShift `json:"ratio_change"`
}

type jsonPiece struct {
	FromM float64 `json:"from_m"`
	ToM   float64 `json:"to_m"`
	Rate  int     `json:"rate_direction"`
	Ratio int     `json:"ratio_direction"`
	Limit *string `json:"limit"`
	Apart bool    `json:"apart_from_set"`
}

func jsonFuelOf(f repair.Fuel) jsonFuel {
	j := jsonFuel{Assumed: f.Assumed, A: f.A, B: f.B}
	for _, p := range f.Points {
		j.Points = append(j.Points, jsonPoint(p))
	}
	return j
}

func jsonSideOf(p *RepairPage, i int) jsonSide {
	s := &p.Comparison.Sides[i]
	t := s.Result.Test
	j := jsonSide{Label: s.Label, When: jsonText(s.When), TestID: t.ID, Digest: jsonText(p.Tests[i].Digest),
		Condition: jsonText(t.Condition), Method: string(t.Method), IntervalS: jsonNumber(s.Result.IntervalS),
		Verdict: s.Result.Verdict.String(), Work: []jsonWork{}}
	for k := range s.Work {
		j.Work = append(j.Work, jsonWorkOf(p, &s.Work[k]))
	}
	return j
}

func jsonWorkOf(p *RepairPage, w *repair.Work) jsonWork {
	j := jsonWork{Number: w.Number, Done: jsonText(w.Done), FirstEntered: jsonTime(w.FirstUS), LastEntered: jsonTime(w.LastUS),
		People: append([]string{}, w.People...), FaultCodesBefore: jsonText(w.FaultCodesBefore), FaultCodesAfter: jsonText(w.FaultCodesAfter),
		SymptomBefore: jsonText(w.SymptomBefore), SymptomAfter: jsonText(w.SymptomAfter), ComplaintGone: jsonText(w.ComplaintGone),
		Positions: []jsonPosition{}, Steps: []jsonStep{}, StepFaults: []jsonFault{}, Doubts: []jsonFault{}}
	for i := range w.Positions {
		j.Positions = append(j.Positions, jsonPositionOf(&w.Positions[i]))
	}
	for _, s := range w.Steps {
		j.Steps = append(j.Steps, jsonStep{s.Cylinder, s.Place, s.Step, jsonText(s.Torque), jsonNumber(s.TorqueNM), jsonNumber(s.AngleDeg),
			jsonText(s.NewFastener), jsonTime(s.AtUS), jsonText(s.Person)})
	}
	for _, f := range w.StepFaults(p.Tightening) {
		j.StepFaults = append(j.StepFaults, jsonFault{f.Cylinder, jsonPlace(f.Place), jsonPlace(f.Step), string(f.Code), f.Text})
	}
	for _, d := range w.Doubts() {
		j.Doubts = append(j.Doubts, jsonFault{Cylinder: d.Cylinder, Code: string(d.Code), Text: d.Text})
	}
	return j
}

func jsonPositionOf(p *repair.Position) jsonPosition {
	return jsonPosition{p.Cylinder, jsonText(p.Injector), jsonPlace(p.SwappedWith), jsonText(p.SerialOut), jsonText(p.SerialIn),
		jsonText(p.CodeOut), jsonText(p.CodeIn), jsonText(p.Core), jsonText(p.FeedTube), jsonText(p.Lines), jsonText(p.Seals),
		jsonText(p.ReliefValve), jsonText(p.OldPartTag), jsonText(p.OldPartWhereabouts), jsonText(p.Declined), jsonText(p.Note)}
}

// jsonPlace is a number from 1; null for 0.
func jsonPlace(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}

// jsonTime is a time in UTC by RFC 3339; null for none.
func jsonTime(us int64) *string {
	if us == 0 {
		return nil
	}
	return jsonText(localTime(us, nil).Format(time.RFC3339))
}

func jsonPairOf(p *repair.Pair) jsonPair {
	j := jsonPair{FromTest: p.From + 1, ToTest: p.To + 1, Answer: string(p.Answer), Settle: jsonSettleOf(p.Settle), Comparable: p.Comparable,
		Temperature: jsonTemperatureOf(p.Temperature), Reasons: []jsonReason{}, Remarks: []jsonRemark{}, Swaps: []jsonSwap{}, Cylinders: []jsonChange{}}
	for _, r := range p.Reasons {
		j.Reasons = append(j.Reasons, jsonReason{string(r.Code), append([]int{}, r.Cylinders...), r.Text})
	}
	for _, r := range p.Remarks {
		j.Remarks = append(j.Remarks, jsonRemark{string(r.Code), r.Text, r.DoubtsPass, r.DoubtsFail})
	}
	for _, s := range p.Swaps {
		j.Swaps = append(j.Swaps, jsonSwap{s.A, s.B, jsonPlace(s.High), jsonText(s.Tubes), string(s.Outcome), s.Text, s.Basis})
	}
	for i := range p.Cylinders {
		j.Cylinders = append(j.Cylinders, jsonChangeOf(&p.Cylinders[i]))
	}
	if p.Total.Before.Read() || p.Total.After.Read() {
		total := jsonChangeOf(&p.Total)
		j.Total = &total
	}
	return j
}

func jsonTemperatureOf(t repair.Temperature) jsonTemperature {
	return jsonTemperature{jsonNumber(t.BeforeC), jsonNumber(t.AfterC), jsonText(t.BeforeAt), jsonText(t.AfterAt), t.Apart,
		jsonNumber(t.BeforeViscosityMM2S), jsonNumber(t.AfterViscosityMM2S)}
}

func jsonChangeOf(c *repair.Change) jsonChange {
	j := jsonChange{Cylinder: c.Cylinder, Before: jsonFiguresOf(c, &c.Before), After: jsonFiguresOf(c, &c.After),
		Rate: jsonShiftOf(c.Rate), Ratio: jsonShiftOf(c.Ratio), DecidedBy: jsonText(decidedBy(c)),
		Direction: jsonNumber(directionOf(c)), Level: jsonNumber(levelOf(c))}
	if r := c.Range; r != nil {
		j.Range = &jsonRange{MaxMLMin: jsonNumber(r.MaxMLMin), Zero: jsonEndOf(r.Zero), Half: jsonEndOf(r.Half), One: jsonEndOf(r.One)}
		for _, p := range r.Pieces {
			j.Range.Pieces = append(j.Range.Pieces, jsonPieceOf(r, p))
		}
	}
	return j
}

func jsonPieceOf(r *repair.Range, p repair.Piece) jsonPiece {
	j := jsonPiece{FromM: p.FromM, ToM: p.ToM, Rate: p.Rate, Ratio: p.Decisions.Ratio, Apart: p.Apart}
	if !math.IsNaN(r.MaxMLMin) {
		j.Limit = jsonText(limitWords[p.Limit])
	}
	return j
}

func jsonFiguresOf(c *repair.Change, f *repair.Figures) jsonFigures {
	return jsonFigures{jsonNumber(f.RateMLMin), jsonText(boundIf(f.RateMLMin, f.Bound)), jsonNumber(f.UMLMin), jsonNumber(f.DoF),
		jsonNumber(f.RatioToConsensus), jsonNumber(f.RatioU), jsonNumber(besideU(f.RatioU, f.RatioDoF)), jsonText(verdictThere(c, f)), f.High, f.Low}
}

// besideU are the degrees of freedom of an uncertainty; NaN where there is none.
func besideU(u, dof float64) float64 {
	if math.IsNaN(u) {
		return u
	}
	return dof
}

func jsonShiftOf(s repair.Shift) *jsonShift {
	if math.IsNaN(s.Value) {
		return nil
	}
	j := &jsonShift{Value: jsonNumber(s.Value), Bound: jsonText(s.Bound.String()), T: jsonNumber(s.T), P: jsonNumber(s.P),
		Expanded: jsonNumber(expanded(s)), Level: s.Level}
	if s.Bound == leakback.Exact {
		j.Standard, j.DoF = jsonNumber(s.U), jsonNumber(s.DoF)
	}
	return j
}

func jsonEndOf(e repair.End) jsonEnd {
	return jsonEnd{jsonNumber(e.RateMLMin), jsonShiftOf(e.Rate), jsonNumber(e.RatioToConsensus), jsonShiftOf(e.Ratio)}
}

package report

import (
	"io"

	"leakback/leakback"
)

// HistoryJSON writes a test of a list as one JSON object on one line; what is
// not known is null. verdict, findings, median_ml_min, total_ml_min and
// cylinders are null without a result. started is RFC 3339 in UTC, to the second.
func HistoryJSON(w io.Writer, l *Listed) error {
	j := jsonListed{
		Number: l.Number, TestID: l.TestID, Name: jsonText(l.Name), Started: startedUTC(l.StartedUS),
		Vehicle: jsonText(l.Vehicle), VIN: jsonText(l.VIN), Engine: jsonText(l.Engine), EngineSerial: jsonText(l.EngineSerial),
		Odometer: jsonText(l.Odometer), Customer: jsonText(l.Customer), WorkOrder: jsonText(l.WorkOrder),
		Condition: jsonText(l.Condition), Method: jsonText(l.Method), Ended: jsonText(l.Ended),
		Events: l.Events, Corrections: l.Corrections, Work: l.Work, Error: jsonText(l.Err),
	}
	if j.Work == nil {
		j.Work = []string{}
	}
	j.outcome(l.Result)
	return encode(w, j)
}

// jsonListed holds the names and their order that other programs read.
type jsonListed struct {
	Number       int64                `json:"number"`
	TestID       string               `json:"test_id"`
	Name         *string              `json:"name"`
	Started      string               `json:"started"`
	Vehicle      *string              `json:"vehicle"`
	VIN          *string              `json:"vin"`
	Engine       *string              `json:"engine"`
	Odometer     *string              `json:"odometer"`
	Condition    *string              `json:"condition"`
	Method       *string              `json:"method"`
	Ended        *string              `json:"ended"`
	Verdict      *string              `json:"verdict"`
	Findings     []leakback.Code      `json:"findings"`
	MedianMLMin  *float64             `json:"median_ml_min"`
	TotalMLMin   *float64             `json:"total_ml_min"`
	Cylinders    []jsonListedCylinder `json:"cylinders"`
	Customer     *string              `json:"customer"`
	WorkOrder    *string              `json:"work_order"`
	EngineSerial *string              `json:"engine_serial"`
	Events       int64                `json:"entries"`
	Corrections  int                  `json:"corrections"`
	Work         []string             `json:"work"`
	Error        *string              `json:"error"`
}

type jsonListedCylinder struct {
	Cylinder      int             `json:"cylinder"`
	RateMLMin     *float64        `json:"rate_ml_min"`
	RateBound     *string         `json:"rate_bound"`
	RatioToMedian *float64        `json:"ratio_to_median"`
	Verdict       string          `json:"verdict"`
	Findings      []leakback.Code `json:"findings"`
}

// outcome fills in what a result says.
func (j *jsonListed) outcome(r *leakback.Result) {
	if r == nil {
		return
	}
	verdict := r.Verdict.String()
	j.Verdict, j.Findings = &verdict, jsonCodes(r.Findings)
	j.MedianMLMin, j.TotalMLMin = jsonNumber(r.MedianMLMin), jsonNumber(r.TotalMLMin)
	j.Cylinders = make([]jsonListedCylinder, len(r.Cylinders))
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		j.Cylinders[i] = jsonListedCylinder{c.Cylinder, jsonNumber(c.RateMLMin), jsonText(c.Bound.String()),
			jsonNumber(c.RatioToMedian), c.Verdict.String(), jsonCodes(c.Findings)}
	}
}

func jsonCodes(findings []leakback.Finding) []leakback.Code {
	codes := make([]leakback.Code, len(findings))
	for i, f := range findings {
		codes[i] = f.Code
	}
	return codes
}

package report

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"
	"strings"

	"leakback/leakback"
)

// csvColumns are the names and their order that other programs read.
var csvColumns = []string{
	"test_id", "cylinder", "rate_ml_min", "standard_uncertainty_ml_min", "ratio_to_median",
	"verdict", "findings", "test_verdict", "test_findings", "rate_bound",
}

// CSV writes results as CSV, one row a cylinder, with full precision; nothing
// stands for a figure that does not exist. It keeps its buffers from row to
// row, for batches of any length.
type CSV struct {
	w      *csv.Writer
	record []string
	digits []byte
}

// NewCSV is a CSV writer on w. It buffers: call Flush at the end.
func NewCSV(w io.Writer) *CSV {
	return &CSV{w: csv.NewWriter(w), record: make([]string, len(csvColumns))}
}

// Header writes the names of the columns.
func (c *CSV) Header() error { return c.w.Write(csvColumns) }

// Result writes a row for each cylinder of a test.
func (c *CSV) Result(r *leakback.Result) error {
	verdict, findings := r.Verdict.String(), codes(r.Findings)
	for i := range r.Cylinders {
		cylinder := &r.Cylinders[i]
		c.numbers(cylinder)
		c.record[0] = r.Test.ID
		c.record[5], c.record[6] = cylinder.Verdict.String(), codes(cylinder.Findings)
		c.record[7], c.record[8] = verdict, findings
		c.record[9] = cylinder.Bound.String()
		if err := c.w.Write(c.record); err != nil {
			return err
		}
	}
	return nil
}

// Flush writes what is buffered and gives the first error there was.
func (c *CSV) Flush() error {
	c.w.Flush()
	return c.w.Error()
}

// numbers fills in the columns of figures, all from one string.
func (c *CSV) numbers(cylinder *leakback.Cylinder) {
	var ends [4]int
	c.digits = strconv.AppendInt(c.digits[:0], int64(cylinder.Cylinder), 10)
	ends[0] = len(c.digits)
	for i, x := range [...]float64{cylinder.RateMLMin, cylinder.Budget.StandardMLMin, cylinder.RatioToMedian} {
		c.digits = appendNumber(c.digits, x)
		ends[i+1] = len(c.digits)
	}
	text, from := string(c.digits), 0
	for i, end := range ends {
		c.record[i+1] = text[from:end]
		from = end
	}
}

// appendNumber writes the shortest decimal that reads back as x, without an
// exponent for any size that a test can have; nothing for what is not a number.
func appendNumber(to []byte, x float64) []byte {
	switch size := math.Abs(x); {
	case math.IsNaN(x) || math.IsInf(x, 0):
		return to
	case size != 0 && (size < 1e-9 || size >= 1e15):
		return strconv.AppendFloat(to, x, 'g', -1, 64)
	}
	return strconv.AppendFloat(to, x, 'f', -1, 64)
}

// codes joins the codes of findings.
func codes(findings []leakback.Finding) string {
	switch len(findings) {
	case 0:
		return ""
	case 1:
		return string(findings[0].Code)
	}
	list := make([]string, len(findings))
	for i, f := range findings {
		list[i] = string(f.Code)
	}
	return strings.Join(list, ";")
}

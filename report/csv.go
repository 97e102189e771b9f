package report

import (
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

// CSVHeader is the line that names the columns.
func CSVHeader() string { return strings.Join(csvColumns, ",") + "\n" }

// AppendCSV appends a result as CSV (RFC 4180 with LF), one row a cylinder, with
// full precision; nothing stands for a figure that does not exist. A merged
// return alone, which has no cylinders, is one row of what is the test's. An id is
// written as names are in a history (AppendHistoryCSV).
func AppendCSV(to []byte, r *leakback.Result) []byte {
	var room [longestField]byte
	id := appendField(room[:0], neutral(r.Test.ID))
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		to = append(append(to, id...), ',')
		to = append(strconv.AppendInt(to, int64(c.Cylinder), 10), ',')
		to = append(appendNumber(to, c.RateMLMin), ',')
		to = append(appendNumber(to, c.Budget.StandardMLMin), ',')
		to = append(appendNumber(to, c.RatioToMedian), ',')
		to = append(append(to, c.Verdict.String()...), ',')
		to = append(appendCodes(to, c.Findings), ',')
		to = append(append(to, r.Verdict.String()...), ',')
		to = append(appendCodes(to, r.Findings), ',')
		to = append(append(to, c.Bound.String()...), '\n')
	}
	if len(r.Cylinders) == 0 {
		to = append(append(append(to, id...), ",,,,,,,"...), r.Verdict.String()...)
		to = append(appendCodes(append(to, ','), r.Findings), ",\n"...)
	}
	return to
}

// longestField is how long most test ids are at most, in bytes.
const longestField = 64

// appendField appends text in quotes where a comma, a quote or a line end in it
// asks for them, or where a reader might trim what it begins with.
func appendField(to []byte, text string) []byte {
	if !strings.ContainsAny(text, ",\"\r\n") && strings.TrimLeft(text, " \t") == text {
		return append(to, text...)
	}
	return append(append(append(to, '"'), strings.ReplaceAll(text, `"`, `""`)...), '"')
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

// appendCodes appends the codes of findings, joined by semicolons.
func appendCodes(to []byte, findings []leakback.Finding) []byte {
	for i := range findings {
		if i > 0 {
			to = append(to, ';')
		}
		to = append(to, findings[i].Code...)
	}
	return to
}

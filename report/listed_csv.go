package report

import (
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"leakback/leakback"
)

// historyCSVColumns are the names and their order that other programs read.
var historyCSVColumns = []string{
	"number", "test_id", "name", "started", "vehicle", "vin", "engine", "odometer", "condition", "method", "ended",
	"verdict", "findings", "rates_ml_min", "customer", "work_order", "engine_serial", "corrections", "error",
}

// HistoryCSVHeader is the line that names the columns.
func HistoryCSVHeader() string { return strings.Join(historyCSVColumns, ",") + "\n" }

// AppendHistoryCSV appends a test as one row of CSV (RFC 4180 with LF):
//
//   - number, test_id, name: of the test in its logbook
//   - started: of the first entry, RFC 3339 in UTC, to the second
//   - vehicle to engine_serial: as they were typed
//   - ended: done, given up, or nothing while the test is open
//   - verdict: pass, fail, undecided, unread, or nothing without a result
//   - findings: codes joined by semicolons, the test's own first, those of a
//     cylinder behind its number and a colon: no-absolute-limit;4:high-in-set
//   - rates_ml_min: in the order of cylinders, joined by semicolons, with full
//     precision; >= or <= before a bound, nothing between two semicolons for a
//     cylinder without a rate
//   - corrections: how many there are; error: why a test cannot be read
//
// A text that somebody typed and that a spreadsheet would take for a formula has
// an apostrophe before it, and so has one that begins with an apostrophe; what
// stands behind a semicolon counts as such a text too. Who takes one apostrophe away
// from the beginning of each has what was typed.
func AppendHistoryCSV(to []byte, l *Listed) []byte {
	to = strconv.AppendInt(to, l.Number, 10)
	free := func(text string) { to = appendField(append(to, ','), neutral(text)) }
	plain := func(text string) { to = appendField(append(to, ','), text) }
	plain(l.TestID)
	free(l.Name)
	plain(startedUTC(l.StartedUS))
	for _, text := range []string{l.Vehicle, l.VIN, l.Engine, l.Odometer, l.Condition} {
		free(text)
	}
	free(l.Method)
	free(l.Ended)
	if l.Result != nil {
		plain(l.Result.Verdict.String())
		plain(findingsOf(l.Result))
		to = appendRates(append(to, ','), l.Result)
	} else {
		to = append(to, ",,,"...)
	}
	for _, text := range []string{l.Customer, l.WorkOrder, l.EngineSerial} {
		free(text)
	}
	plain(strconv.Itoa(l.Corrections))
	free(l.Err)
	return append(to, '\n')
}

// neutral is a text that no spreadsheet takes for a formula, nor what stands behind
// a semicolon in it: where the comma is the decimal sign, spreadsheets part the rows
// of a file of commas at semicolons.
func neutral(text string) string {
	if !strings.Contains(text, ";") {
		return neutralPiece(text)
	}
	pieces := strings.Split(text, ";")
	for i := range pieces {
		pieces[i] = neutralPiece(pieces[i])
	}
	return strings.Join(pieces, ";")
}

func neutralPiece(text string) string {
	if first, _ := utf8.DecodeRuneInString(text); text != "" && strings.ContainsRune(formulaBegins, first) {
		return "'" + text
	}
	return text
}

// formulaBegins are the signs that a formula may begin with, or that a program
// may drop from before one, and their full-width forms (OWASP, "CSV Injection");
// and the apostrophe, so that one of ours can be told from one that was typed.
const formulaBegins = "=+-@\t\r\n'＝＋－＠"

// startedUTC is a time as programs read it.
func startedUTC(us int64) string { return time.UnixMicro(us).UTC().Format(time.RFC3339) }

// findingsOf are the codes of a test and its cylinders.
func findingsOf(r *leakback.Result) string {
	var codes []string
	for _, f := range r.Findings {
		codes = append(codes, string(f.Code))
	}
	for i := range r.Cylinders {
		for _, f := range r.Cylinders[i].Findings {
			codes = append(codes, strconv.Itoa(r.Cylinders[i].Cylinder)+":"+string(f.Code))
		}
	}
	return strings.Join(codes, ";")
}

// appendRates appends the rates of the cylinders.
func appendRates(to []byte, r *leakback.Result) []byte {
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		if i > 0 {
			to = append(to, ';')
		}
		if !math.IsNaN(c.RateMLMin) {
			to = append(to, c.Bound.String()...)
		}
		to = appendNumber(to, c.RateMLMin)
	}
	return to
}

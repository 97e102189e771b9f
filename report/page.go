// Package report renders what was found: a test (Page), a repair with its retests
// (RepairPage), a plan (PlanPage), and lists of tests, each as a terminal table,
// JSON, CSV or a workbook. Every renderer takes an io.Writer and computes nothing
// that a verdict depends on.
package report

import (
	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits"
)

// Page is everything one test's report shows; command puts it together.
type Page struct {
	Result *leakback.Result
	Job    leakback.Job
	// Advice is what to look at next, in order, each a sentence or two.
	Advice []string
	// NotSeen says what the test does not see, each a sentence.
	NotSeen []string
	// Cautions are the usual cautions, each a sentence or two.
	Cautions []string
	// MethodCaution is the caution that goes with the way it was measured; ""
	// where there is none.
	MethodCaution string
	// CautionLine is the one line that stands under every table.
	CautionLine string
	// Version is the program's version.
	Version string
	// Digest identifies the readings that were evaluated (hexadecimal SHA-256
	// of the readings as they came in); "" where there is none.
	Digest string
	// Record is what the logbook knows of the test; nil for one that is only a
	// file.
	Record *Record
	// Works are what was done to the engine after the test; none where nothing is
	// recorded.
	Works []repair.Work
	// Tightening are the steps of the limits sheet that the works are held against.
	Tightening []limits.Step
}

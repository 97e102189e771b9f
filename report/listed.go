package report

import (
	"fmt"
	"strconv"
	"strings"

	"leakback/leakback"
)

// Listed is one test of a logbook in a list of them; command puts it together.
// What is unknown is "".
type Listed struct {
	// Number is the test's number in the logbook, from 1.
	Number int64
	// TestID is the UUIDv7 of the test, and Name what people call it.
	TestID, Name string
	// StartedUS is when its first entry was made, in microseconds since the
	// beginning of 1970, UTC.
	StartedUS int64
	// Vehicle to Odometer are of the job, as they were typed.
	Vehicle, VIN, Engine, EngineSerial, Customer, WorkOrder, Odometer string
	// Condition and Method are the test's own.
	Condition, Method string
	// Ended is how the test was closed: leakback.EndDone or EndGivenUp; "" where it is open.
	Ended string
	// Result is the evaluation; nil where the test is not finished or cannot be read.
	Result *leakback.Result
	// Err says why a test cannot be read or evaluated; "" where it can.
	Err string
	// Progress is how far a test without a result is, in words, such as "run 2,
	// 3 of 6 cylinders read"; "" leaves it at the number of entries.
	Progress string
	// Events is the number of entries, and Corrections how many of them took
	// the place of others.
	Events      int64
	Corrections int
	// Work is what was done on the engine after the test, each in a line.
	Work []string
}

// Words for a test that has no verdict.
const (
	wordUnreadable = "unreadable"
	wordUnfinished = "unfinished"
	wordGivenUp    = leakback.EndGivenUp
)

// verdictWord is the test's verdict as people read it, or why it has none.
func (l *Listed) verdictWord() string {
	switch {
	case l.Err != "":
		return wordUnreadable
	case l.Result != nil:
		return VerdictWord(l.Result.Verdict)
	case l.Ended == leakback.EndGivenUp:
		return wordGivenUp
	}
	return wordUnfinished
}

// progress is how far a test without a result is.
func (l *Listed) progress() string {
	if l.Progress != "" {
		return l.Progress
	}
	return entriesSaid(int(l.Events))
}

// entriesSaid is "1 entry" or "31 entries".
func entriesSaid(n int) string {
	if n == 1 {
		return "1 entry"
	}
	return fmt.Sprintf("%d entries", n)
}

// methodSaid is the method where it is not the usual one.
func (l *Listed) methodSaid() string {
	if l.Method == string(leakback.MethodIndividual) {
		return ""
	}
	return l.Method
}

// flagged are the cylinders that are not a plain pass, worst verdict first; no
// verdict twice.
func flagged(r *leakback.Result) []reason {
	var all []reason
	for _, v := range []leakback.Verdict{leakback.Fail, leakback.Undecided, leakback.Unread} {
		if list := cylindersWhere(r, func(c *leakback.Cylinder) bool { return c.Verdict == v }); len(list) > 0 {
			all = append(all, reason{cylinders: list, verdict: v})
		}
	}
	return all
}

// flaggedSaid is a group of flagged cylinders: "FAIL 4, 6".
func flaggedSaid(f reason) string {
	words := make([]string, len(f.cylinders))
	for i, c := range f.cylinders {
		words[i] = strconv.Itoa(c)
	}
	return VerdictWord(f.verdict) + " " + strings.Join(words, ", ")
}

// wholeSaid says what stands beside the cylinders: the total of a merged return,
// and a verdict that is the test's own.
func wholeSaid(r *leakback.Result) string {
	if len(r.Cylinders) == 0 && r.TotalMLMin > 0 {
		return "total " + figure(r.TotalMLMin, number(r.Total.ExpandedMLMin), TotalDecimals(r)) + " mL/min"
	}
	if r.Verdict != leakback.Pass && len(r.Cylinders) > 0 &&
		len(cylindersWhere(r, func(c *leakback.Cylinder) bool { return c.Verdict == r.Verdict })) == 0 {
		return "the test as a whole"
	}
	return ""
}

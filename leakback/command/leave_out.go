package command

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/spf13/pflag"

	"leakback/leakback"
	"leakback/limits/quantity"
)

// leaveOutOptions are the runs to keep out of the evaluation, each with its
// reason.
type leaveOutOptions struct {
	runs    []int
	reasons []string
}

func (l *leaveOutOptions) addFlags(f *pflag.FlagSet) {
	f.Var((*wholesValue)(&l.runs), "leave-out", "keep this run out of the evaluation; again for another")
	f.StringArrayVar(&l.reasons, "reason", nil, "why the run is left out, one for each")
}

func (l *leaveOutOptions) any() bool { return len(l.runs)+len(l.reasons) > 0 }

// sound refuses runs without a reason, and reasons that say nothing.
func (l *leaveOutOptions) sound() error {
	if len(l.runs) != len(l.reasons) {
		return fmt.Errorf("--leave-out: %d given with %d of --reason: expected a reason for each run",
			len(l.runs), len(l.reasons))
	}
	for i, reason := range l.reasons {
		if strings.TrimSpace(reason) == "" || utf8.RuneCountInString(reason) > leakback.LongestSentence || !quantity.Printable(reason) {
			return fmt.Errorf("--reason: %s: expected why run %d is left out, at most %d printable characters",
				quantity.Quote(reason), l.runs[i], leakback.LongestSentence)
		}
	}
	for i, run := range l.runs {
		if slices.Contains(l.runs[:i], run) {
			return fmt.Errorf("--leave-out: %d: expected each run once", run)
		}
	}
	return nil
}

// apply leaves the runs out of the one test that there is.
func (l *leaveOutOptions) apply(jobs []job) error {
	if len(jobs) != 1 {
		return errors.New("--leave-out: expected one test, since a run is named by its number; the input holds more")
	}
	j := &jobs[0]
	for i, run := range l.runs {
		if !j.test.LeaveOut(run, strings.TrimSpace(l.reasons[i])) {
			return j.blame(fmt.Errorf("test %s: --leave-out: %d: expected a run of the test (%s)", j.test.ID, run, runsOf(j.test)))
		}
	}
	return nil
}

// runsOf names the runs of a test: "1 to 14", or each where numbers are missing.
func runsOf(t *leakback.Test) string {
	first, last := t.Runs[0].Number, t.Runs[len(t.Runs)-1].Number
	switch {
	case len(t.Runs) == 1:
		return fmt.Sprint(first)
	case last-first+1 == len(t.Runs):
		return fmt.Sprintf("%d to %d", first, last)
	}
	numbers := make([]string, len(t.Runs))
	for i := range t.Runs {
		numbers[i] = fmt.Sprint(t.Runs[i].Number)
	}
	return strings.Join(numbers, ", ")
}

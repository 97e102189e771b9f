package report

import (
	"cmp"
	"io"
	"slices"
)

// Story writes the tests of one engine as it went, the oldest first: each test
// with its verdict and its picture, below it the work that followed, then the next
// test. What all tests have in common stands once, above them.
func Story(w io.Writer, tests []Listed, o TableOptions) error {
	t := &listTable{table: blankTable(o)}
	told := slices.Clone(tests)
	slices.SortStableFunc(told, func(a, b Listed) int { return cmp.Compare(a.StartedUS, b.StartedUS) })
	common := takeCommon(told)
	t.measure(told)
	if subject := t.subject(&common); subject != "" {
		t.prose(" ", subject, hueTitle)
		t.line()
	}
	for i := range told {
		work := told[i].Work
		told[i].Work = nil
		t.test(&told[i])
		for _, line := range work {
			t.prose(storyLead, line, huePlain)
		}
	}
	switch {
	case len(told) == 0:
		t.prose(" ", "No test.", huePlain)
	case t.picture > 0:
		t.line()
		t.prose(" ", t.key(), hueQuiet)
	}
	_, err := w.Write(t.out.Bytes())
	return err
}

// storyLead sets work off from the tests.
const storyLead = "      > "

// takeCommon takes out of the tests what all of them say alike of the engine, and
// gives it.
func takeCommon(tests []Listed) Listed {
	var common Listed
	for _, of := range []func(*Listed) *string{
		func(l *Listed) *string { return &l.Vehicle }, func(l *Listed) *string { return &l.Engine },
		func(l *Listed) *string { return &l.Customer }, func(l *Listed) *string { return &l.Condition },
		func(l *Listed) *string { return &l.Method },
	} {
		if len(tests) == 0 || slices.ContainsFunc(tests, func(l Listed) bool { return *of(&l) != *of(&tests[0]) }) {
			continue
		}
		*of(&common) = *of(&tests[0])
		for i := range tests {
			*of(&tests[i]) = ""
		}
	}
	return common
}

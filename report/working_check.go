package report

import (
	"strings"

	"leakback/leakback"
	"leakback/report/formula"
)

// summaryRows is how many rows the summary takes.
const summaryRows = 3

// summary is what the working comes to, above it.
func (w *working) summary() {
	w.figures(
		one{"verdict_now", "verdict of the test, from what follows", "", `test_verdict`, inWords, ""},
		one{"entries_now", "entries that cannot be right", "", `entries_wrong`, asCount, "the last column of block 1 says which"},
		one{"as_written", "as the page was written?", "", `IF(ISERROR(still_same),"not known",IF(still_same=1,"yes","no"))`,
			inWords, "only then the page's sentences hold"},
	)
}

// asWritten holds what the program wrote into the page's sentences, and asks
// whether the readings still give it.
func (w *working) asWritten() {
	w.beginWritten()
	of := func(value func(*leakback.Cylinder) float64) func(int) formula.Value {
		return func(i int) formula.Value { return formula.NumOrBlank(value(&w.r.Cylinders[i])) }
	}
	fields := []field{w.cylinders(),
		fixedWords("verdict", "verdict", func(i int) string { return w.r.Cylinders[i].Verdict.String() }),
		{id: "rate", head: "rate\nmL/min", format: asRate, value: of(func(c *leakback.Cylinder) float64 { return c.RateMLMin })},
		{id: "expanded", head: "U\nmL/min", format: asRate,
			value: of(func(c *leakback.Cylinder) float64 { return c.Budget.ExpandedMLMin })},
		{id: "ratio", head: "ratio to\nmedian", format: asRate,
			value: of(func(c *leakback.Cylinder) float64 { return c.RatioToMedian })},
		fixedWords("findings", "findings", func(i int) string { return string(appendCodes(nil, w.r.Cylinders[i].Findings)) })}
	fields = append(fields, spaces("findings", 5)...)
	w.table("written", len(w.r.Cylinders), append(fields, live("same", "as now?", asCount,
		`IF(AND(verdict.verdict=[verdict],verdict.findings=[findings],`+w.known(near("mean.rate", "[rate]")+`,`+
			near("budget.expanded", "[expanded]"), near("ratio.median", "[ratio]"))+`),1,0)`))...)
	w.writtenOfTest()
	w.figures(one{"still_same", "all as now? 1 yes", "", `IF(AND(test_verdict=written_verdict,test_findings=written_findings,` +
		`SUM(written[same])=COUNT(cyl[cylinder])),1,0)`, asCount, ""})
}

// beginWritten begins the block of what was written.
func (w *working) beginWritten() {
	w.begin("As the page was written",
		"The sentences of the page are text and do not follow a change. What they were written from is kept here, only to say "+
			"whether they still hold; no figure starts from it.", "")
}

// writtenOfTest is what was written of the test as a whole.
func (w *working) writtenOfTest() {
	w.constant("written_verdict", "verdict of the test", formula.Str(w.r.Verdict.String()))
	w.constant("written_findings", "findings of the test", formula.StrOrBlank(string(appendCodes(nil, w.r.Findings))))
}

// near asks whether two cells hold the same number, or none.
func near(a, b string) string {
	return strings.NewReplacer("@1", a, "@2", b).Replace(
		`IF(ISNUMBER(@1),IF(ISNUMBER(@2),IF(ABS(@1-@2)<0.000001,1,0),0),IF(ISNUMBER(@2),0,1))=1`)
}

package report

import (
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/report/formula"
)

// totalLive says whether the working recomputes a merged return alone: where
// anything was logged of it.
func totalLive(r *leakback.Result) bool {
	return r.Test.Method == leakback.MethodTotal &&
		slices.ContainsFunc(r.Test.Runs, func(run leakback.Run) bool { return len(run.Readings) > 0 })
}

// totalMethod is the blocks of a merged return alone: its lines stand where
// cylinders do otherwise.
func (w *working) totalMethod() {
	if len(w.lineNames()) > 1 {
		w.returnLines()
	}
	w.fromReadings()
	w.fromCylinders()
	w.fromRuns()
	w.rates()
	w.uncertainty()
	w.limitsThatApply()
	w.total()
	w.totalVerdict()
	w.asWrittenTotal()
}

// lineNames are the return lines of a merged return alone: those of the readings,
// or all that the sheet knows where the readings name one of them.
func (w *working) lineNames() []string {
	var names []string
	for i := range w.r.Test.Runs {
		for k := range w.r.Test.Runs[i].Readings {
			if name := w.r.Test.Runs[i].Readings[k].ReturnLine; !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	known := w.r.Sheet.ReturnLines
	if len(known) == 0 || len(names) == 0 || len(names) == 1 && names[0] == "" {
		return names
	}
	names = nil
	for i := range known {
		names = append(names, known[i].Name)
	}
	return names
}

// numbers are what rates are of: the engine's cylinders, or the return lines of a
// merged return alone, counted.
func (w *working) numbers() []int {
	var all []int
	for i := range w.r.Cylinders {
		all = append(all, w.r.Cylinders[i].Cylinder)
	}
	if w.r.Test.Method == leakback.MethodTotal {
		for i := range w.lineNames() {
			all = append(all, i+1)
		}
	}
	return all
}

// member is the word for one of them.
func (w *working) member() string {
	if w.r.Test.Method == leakback.MethodTotal {
		return "line"
	}
	return "cylinder"
}

// repeated says whether there are several runs of single cylinders, which tell of
// scatter and drift.
func (w *working) repeated() bool {
	return len(w.runs) > 1 && w.r.Test.Method == leakback.MethodIndividual
}

// returnLines gives the return lines their numbers.
func (w *working) returnLines() {
	w.begin("The return lines", "Each line is measured for itself; together they are the total.", "")
	names := w.lineNames()
	w.table("lines", len(names), w.cylinders(), fixedWords("name", "its name", func(i int) string { return names[i] }))
}

// numberOfLine is a formula for the number of a reading's return line.
func (w *working) numberOfLine() string {
	if len(w.lineNames()) < 2 {
		return `1`
	}
	return `IF(in.line="",0,MATCH(in.line,lines[name],0))`
}

// totalAloneFinding says that there is no limit to hold the total against.
func (w *working) totalAloneFinding() finding {
	none := `"no-absolute-limit"`
	if w.gives(kindTotal) {
		none = `IF(applied_total="","no-absolute-limit","")`
	}
	return finding{"a limit of the total", judging(`IF(readable_count=0,"",` + none + `)`), makesNothing}
}

// totalVerdict is the verdict of a merged return alone.
func (w *working) totalVerdict() {
	w.begin("The verdict of the test",
		"Only a limit of the total is held against a merged return alone, which identifies no cylinder. Without one nothing is decided.", "")
	w.findingsTable()
	held := `"undecided"`
	if w.gives(kindTotal) {
		held = `IF(applied_total="","undecided",total_verdict)`
	}
	w.figures(one{"test_verdict", "verdict of the test", "",
		`IF(not_judged=1,"undecided",IF(readable_count=0,"unread",` + held + `))`, inWords, ""})
}

// asWrittenTotal is asWritten for a merged return alone.
func (w *working) asWrittenTotal() {
	w.beginWritten()
	w.constant("written_total", "total", formula.NumOrBlank(w.r.TotalMLMin))
	w.constant("written_expanded", "its U", formula.NumOrBlank(w.r.Total.ExpandedMLMin))
	w.writtenOfTest()
	w.figures(one{"still_same", "all as now? 1 yes", "", `IF(AND(test_verdict=written_verdict,test_findings=written_findings,` +
		strings.Join([]string{near("total_rate", "written_total"), near("total_shown", "written_expanded")}, ",") + `),1,0)`, asCount, ""})
}

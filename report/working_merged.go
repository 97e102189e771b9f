package report

import (
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/blockoff"
)

// mostShares is how many cylinders the grid has columns for, beside
// the run, R₀, drift and D.
const mostShares = gridColumns - 4

// mergedPlain says what of merged returns no formula follows.
const mergedPlain = "Not live: which cylinders a run blocks, its place in time, and which unknowns the schedule can tell apart (shares, drift, D, R₀), which are as the " +
	"test was done; what the page says of a run far out, and of the largest constant return that would fit, which are the program's words."

// solvedLive says whether a result is of merged returns of which every cylinder's
// share was solved, and which the sheet has room for.
func solvedLive(r *leakback.Result) bool {
	return r.Test.Method == leakback.MethodBlockOff && r.BlockOff != nil && len(r.BlockOff.Lines) > 0 &&
		sharesOf(r) == len(r.Cylinders) && len(r.Cylinders) <= mostShares
}

// isMerged says whether the working is of merged returns.
func (w *working) isMerged() bool { return w.r.Test.Method == leakback.MethodBlockOff }

// mergedMethod is the blocks of merged returns in the order of the method.
func (w *working) mergedMethod() {
	w.fromReadings()
	for k := range w.r.BlockOff.Lines {
		if len(w.r.BlockOff.Lines) > 1 {
			w.line = k + 1
		}
		w.solveLine()
	}
	w.allLines()
	w.shares()
	w.shareBudget()
	w.setFigures()
	w.judgement()
}

// solveLine is the blocks of one return line.
func (w *working) solveLine() {
	w.fromRunsOfLine()
	first := w.firstModel()
	w.design("design", "The design: what each run is made of", first)
	w.totals()
	w.solved("first", "design", first)
	w.addsUp(first)
	w.mirrored(first)
	w.constantReturn(first)
}

// solution is the line's as the program found it, for its structure only: which
// unknowns the schedule can tell apart.
func (w *working) solution() *leakback.Line { return &w.r.BlockOff.Lines[max(0, w.line-1)] }

// drains are the cylinders of the line.
func (w *working) drains() []int {
	var all []int
	for i := range w.solution().Shares {
		all = append(all, w.solution().Shares[i].Cylinder)
	}
	return all
}

// firstModel is the model that the program solved first, which depends on the
// schedule alone: a constant return in the place of D came after it.
func (w *working) firstModel() blockoff.Model {
	m := w.solution().Model
	if w.solution().Constant.Origin == blockoff.FromBaselines {
		m.ConstantReturn, m.NotAddingUp = false, true
	}
	return m
}

// unknowns are what a model has beside the shares: the name in full, the head of
// its column and the formula that makes the column from the readings.
type unknowns struct{ name, head, formula string }

// beside are the unknowns beside the shares.
func (w *working) beside(m blockoff.Model) []unknowns {
	var all []unknowns
	if m.ConstantReturn {
		all = append(all, unknowns{"constant return R₀", "R₀", `1`})
	}
	if m.Drift {
		all = append(all, unknowns{"drift from run to run", "drift", `fit.place-mean_place`})
	}
	if m.NotAddingUp {
		all = append(all, unknowns{"what does not add up, D", "D", `IF(` + w.openRow() + `=` + strconv.Itoa(len(w.drains())) + `,1,0)`})
	}
	return all
}

// heads are those of the columns of a design.
func (w *working) heads(m blockoff.Model) []string {
	var all []string
	for _, c := range w.drains() {
		all = append(all, "cyl. "+strconv.Itoa(c))
	}
	for _, u := range w.beside(m) {
		all = append(all, u.head)
	}
	return all
}

// columnIDs are the names of so many columns of a design.
func columnIDs(n int) []string {
	ids := make([]string, n)
	for j := range ids {
		ids[j] = unknown(j)
	}
	return ids
}

// fromRunsOfLine is the runs in the order of time and what of each takes part.
func (w *working) fromRunsOfLine() {
	w.begin("The runs of the merged return"+w.lineName(),
		"One row a run. Its place in time counts runs that were left out too, since time passed in them. A run that was not read "+
			"takes no part; nor does one of another return line, which keeps its row.", "")
	places := w.placesInTime()
	w.table("fit", w.rows,
		live("run", "run", asCount, `in.run`),
		live("blocked", "blocked", inWords, `in.blocked&""`),
		fixedCount("place", "place\nin time", func(i int) int { return places[i] }),
		live("used", "takes\npart?", asCount, w.takesPart()),
		live("rail", "rail\nbar", asEntered, `IF(AND([used]=1,ISNUMBER(in.rail)),in.rail,"")`))
	w.figures(
		one{"fitted_runs", "runs that take part", "", `SUM(fit[used])`, asCount, ""},
		one{"mean_place", "mean of their places", "", `SUMPRODUCT(fit[used],fit[place])/fitted_runs`, asRate, ""},
		one{"pressure_apart", "rail pressure not held? 1 yes", "",
			`IF(COUNT(fit[rail])=0,0,IF(ROUND(MAX(fit[rail]),6)>ROUND(1.05*MIN(fit[rail]),6),1,0))`, asCount,
			"highest more than 5 % above the lowest"},
	)
}

// placesInTime are the places of the rows' runs among all runs with a reading.
func (w *working) placesInTime() []int {
	var all []int
	for i := range w.r.Test.Runs {
		if run := &w.r.Test.Runs[i]; w.measured(run) {
			all = append(all, run.Number)
		}
	}
	slices.Sort(all)
	rows, kept := loggedRows(w.r.Test)
	places := make([]int, kept)
	for i, l := range rows[:kept] {
		places[i] = 1 + slices.Index(all, l.run.Number)
	}
	return places
}

// design is the columns of a model, one row a run, made from the readings.
func (w *working) design(name, title string, m blockoff.Model) {
	w.begin(title, "1 where the cylinder is open, 0 where it is among those that the readings name as blocked. Drift counts runs from "+
		"the middle; R₀ is in every run, D only where nothing was blocked. Which of these unknowns are in it is what the schedule "+
		"can tell apart, and does not follow a change.",
		"total of a run = sum of the open shares (+ R₀) (+ drift × place from the middle) (+ D where nothing is blocked)")
	fields := []field{live("run", "run", asCount, `in.run`)}
	heads, beside, cylinders := w.heads(m), w.beside(m), w.drains()
	n := len(cylinders)
	for j, head := range heads {
		if j >= n {
			fields = append(fields, live(unknown(j), head, asEntered, beside[j-n].formula))
			continue
		}
		among := strings.ReplaceAll(`IF(LEN(SUBSTITUTE("+"&fit.blocked&"+","+NUMBER+","+"))<LEN("+"&fit.blocked&"+"),0,1)`,
			"NUMBER", strconv.Itoa(cylinders[j]))
		fields = append(fields, live(unknown(j), head, asCount, among))
	}
	w.table(name, w.rows, fields...)
}

// totals are what came back in each run, and the weight that it has.
func (w *working) totals() {
	w.begin("The totals and their weights",
		"Half of an upper bound stands only where every cylinder is blocked; no other bound can enter. The variance is what the "+
			"sheet expects of one total: its repeatability at the mean total, and reading to the nearest mark.",
		"weight = 1 ÷ ((repeatability_cv × mean total)² + reading²)")
	var open []string
	for j := range w.drains() {
		open = append(open, "design."+unknown(j))
	}
	w.table("total", w.rows,
		live("run", "run", asCount, `in.run`),
		live("open", "open\ncylinders", asCount, strings.Join(open, "+")),
		live("rate", "total\nmL/min", asRate, `IF(fit.used=0,0,IF(reads.over=1,"",IF(reads.below=0,reads.rate,IF([open]=0,reads.rate/2,""))))`))
	w.figures(one{"mean_total", "mean total", "mL/min", `SUMPRODUCT(fit[used],total[rate])/fitted_runs`, asRate, ""})
	w.further("total",
		live("variance", "variance\n(mL/min)²", asShare, `(repeatability_cv*mean_total)^2+parts.reading`),
		live("weight", "weight", asShare, `IF(fit.used=1,1/[variance],0)`),
		live("timing", "timing²\nrelative", asShare, `IF(fit.used=1,(parts.timing/reads.interval)^2,0)`),
		live("entry", "wrong entry", inWords, `IF([rate]="","a bound","")`))
	w.figures(
		one{"mean_variance", "mean variance", "(mL/min)²", `SUMPRODUCT(fit[used],total[variance])/fitted_runs`, asShare, ""},
		one{"line_timing", "timing of one run, relative", "", `SQRT(SUM(total[timing])/fitted_runs)`, asShare, "root mean square"},
		one{"line_tube", "the tube", "mL/min", `SUMPRODUCT(fit[used],parts[tube])/fitted_runs/SQRT(3)`, asRate, "the same in all runs"},
	)
}

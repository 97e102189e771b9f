package report

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"leakback/leakback"
)

// ofLine are the names of tables and figures that every return line has of its
// own; of several lines the line's number goes behind them.
var ofLine = regexp.MustCompile(`\b(fit|design|redesign|total|(first|again|closed)[a-z_]*|fitted_runs|mean_place|pressure_apart|` +
	`mean_total|mean_variance|line_[a-z]+|open_runs|other_return|d_rate|d_sd|d_bar|constant_used|shares_least|shares_most|sigma_dof|sigma_rate)\b`)

// onLine is a name or a formula with the names of the line that is being solved.
func (w *working) onLine(text string) string {
	if w.line == 0 {
		return text
	}
	return ofLine.ReplaceAllString(text, fmt.Sprintf("${1}_l%d", w.line))
}

// lineName is the name of the line for a heading; nothing where there is one.
func (w *working) lineName() string {
	if w.line == 0 {
		return ""
	}
	return ", return line " + w.solution().Name
}

// eachLine does something with every line.
func (w *working) eachLine(do func()) {
	for k := range w.r.BlockOff.Lines {
		if len(w.r.BlockOff.Lines) > 1 {
			w.line = k + 1
		}
		do()
	}
	w.line = 0
}

// overLines joins a formula of every line.
func (w *working) overLines(template, between string) string {
	var all []string
	w.eachLine(func() { all = append(all, w.onLine(template)) })
	return strings.Join(all, between)
}

// hasTwo says whether the line was solved with a constant return as well.
func (w *working) hasTwo() bool { return w.tables[w.onLine("again")] != nil }

// sharesOf is how many shares the lines of a result have together.
func sharesOf(r *leakback.Result) int {
	n := 0
	for i := range r.BlockOff.Lines {
		n += len(r.BlockOff.Lines[i].Shares)
	}
	return n
}

// takesPart is whether a reading takes part in the line's fit.
func (w *working) takesPart() string {
	if w.line == 0 {
		return `reads.read`
	}
	return `IF(in.line="` + strings.ReplaceAll(w.solution().Name, `"`, `""`) + `",reads.read,0)`
}

// measured says whether a run has a reading of the line.
func (w *working) measured(run *leakback.Run) bool {
	return slices.ContainsFunc(run.Readings, func(r leakback.Reading) bool {
		return w.line == 0 || r.ReturnLine == w.solution().Name
	})
}

// timesMeasured is how many runs have a reading of the line.
func (w *working) timesMeasured() int {
	n := 0
	for i := range w.r.Test.Runs {
		if w.measured(&w.r.Test.Runs[i]) {
			n++
		}
	}
	return n
}

// openRow is a formula for how many of the line's cylinders a row of a design
// has open.
func (w *working) openRow() string {
	all := make([]string, len(w.drains()))
	for j := range all {
		all[j] = "[" + unknown(j) + "]"
	}
	return strings.Join(all, "+")
}

// shareAt is the line that a cylinder drains into and its place there, from 0.
type shareAt struct{ line, at int }

func (w *working) placeOf(i int) shareAt {
	for l := range w.r.BlockOff.Lines {
		for k := range w.r.BlockOff.Lines[l].Shares {
			if w.r.BlockOff.Lines[l].Shares[k].Cylinder == w.r.Cylinders[i].Cylinder {
				return shareAt{l, k}
			}
		}
	}
	return shareAt{}
}

// ofCylinder is a column whose formula starts from the line of each cylinder:
// template takes whether that was solved twice, and the cylinder's place in it.
func (w *working) ofCylinder(template func(two bool, at int) string) func(i int) string {
	return func(i int) string {
		p := w.placeOf(i)
		if len(w.r.BlockOff.Lines) > 1 {
			w.line = p.line + 1
		}
		defer func() { w.line = 0 }()
		return w.onLine(template(w.hasTwo(), p.at))
	}
}

// allLines is what several lines come to together.
func (w *working) allLines() {
	w.line = 0
	if len(w.r.BlockOff.Lines) < 2 {
		return
	}
	w.begin("The return lines together", "What is true of one line holds for the test.", "")
	for _, f := range []one{
		{"pressure_apart", "rail pressure not held? 1 yes", "", "", asCount, ""},
		{"other_return", "beyond what chance explains? 1 yes", "", "", asCount, ""},
		{"shares_least", "may the true shares be larger? 1 yes", "", "", asCount, ""},
		{"shares_most", "may they be smaller? 1 yes", "", "", asCount, ""},
	} {
		f.formula = `MAX(` + w.overLines(f.name, ",") + `)`
		w.figures(f)
	}
}

// spreadFreedom is the degrees of freedom of a weighted sum of shares: of one
// line that of its runs, of several by Welch and Satterthwaite over the lines.
// signs and with are columns whose products add up to the variance.
func (w *working) spreadFreedom(name, signs, with, u string) string {
	if len(w.r.BlockOff.Lines) < 2 {
		return `MIN(10000,sigma_dof)`
	}
	var terms []string
	for l := range w.r.BlockOff.Lines {
		dof := fmt.Sprintf("sigma_dof_l%d", l+1)
		terms = append(terms, fmt.Sprintf(`MAX(0,SUMPRODUCT((share[line]=%d)*%s*%s))^2/%s`, l+1, signs, with, dof))
	}
	w.figures(
		one{name + "_share", "estimates to the 4th, line by line", "", strings.Join(terms, "+"), asShare, ""},
		one{name + "_dof", "its ν", "", freedom(`SQRT(MAX(0,SUMPRODUCT(`+signs+`,`+with+`)))`, name+"_share"), asCount, ""})
	return name + "_dof"
}

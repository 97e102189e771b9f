package report

import (
	"fmt"
	"slices"
	"strings"

	"leakback/leakback/blockoff"
	"leakback/report/formula"
	"leakback/stats"
)

// solved solves one design by its weighted normal equations. Its tables are
// called after it: the unknowns name, the weighted design w, the normal
// equations n, their inverse i, the residuals r.
func (w *working) solved(name, design string, m blockoff.Model) {
	heads := w.heads(m)
	ids := columnIDs(len(heads))
	w.begin("Solved by weighted least squares: "+w.modelWords(m)+w.lineName(),
		"Rows of the design times their weight, the normal equations, their inverse, the unknowns: each a formula of a whole block "+
			"of cells (MMULT, MINVERSE, TRANSPOSE), which your program shows in curly brackets.",
		"unknowns = (Xᵀ W X)⁻¹ Xᵀ W y;   variance of a run = factor × its variance by the sheet;   covariance = factor × (Xᵀ W X)⁻¹")
	fields := []field{live("run", "W X, run", asCount, `in.run`)}
	for j, id := range ids {
		fields = append(fields, live(id, heads[j], asShare, design+`.`+id+`*total.weight`))
	}
	w.table(name+"w", w.rows, fields...)
	weighted, x, y := w.blockOf(name+"w", ids...).Transposed(), w.blockOf(design, ids...), w.blockOf("total", "rate")
	w.square(name+"n", "Xᵀ W X", heads, weighted.Times(x))
	w.square(name+"i", "its inverse", heads, w.blockOf(name+"n", ids...).Inverted())
	w.gap()
	w.table(name, len(heads), fixedWords("unknown", "unknown", func(i int) string { return heads[i] }))
	w.matrix(name, []string{"value"}, asRate, w.blockOf(name+"i", ids...).Times(weighted.Times(y)))
	w.residuals(name, x.Times(w.blockOf(name, unknown(0))))
	w.spread(name, m)
}

// square writes a block with a row and a column for each unknown.
func (w *working) square(name, what string, heads []string, a formula.Array) {
	w.gap()
	w.table(name, len(heads), fixedWords("unknown", what, func(i int) string { return heads[i] }))
	w.matrix(name, heads, asShare, a)
}

// modelWords are the unknowns of a model in words.
func (w *working) modelWords(m blockoff.Model) string {
	words := "shares"
	for _, u := range w.beside(m) {
		words += ", " + u.name
	}
	return words
}

// residuals hold every run against a fit, and pool what they scatter with the
// sheet's repeatability.
func (w *working) residuals(name string, fitted formula.Array) {
	w.gap()
	w.table(name+"r", w.rows, live("run", "run", asCount, `in.run`))
	w.matrix(name+"r", []string{"fitted"}, asRate, fitted)
	w.further(name+"r",
		live("residual", "residual", asRate, `IF(fit.used=0,0,IF(ABS(total.rate-[x1])<0.0000001,0,total.rate-[x1]))`),
		live("square", "W × res.²", asShare, `total.weight*[residual]^2`))
	w.figures(ofFit(name, []one{
		{"NAME_squares", "sum of W × residual²", "", `SUM(NAMEr[square])`, asShare, ""},
		{"NAME_dof", "degrees of freedom of the residuals", "", `fitted_runs-COUNT(NAME[x1])`, asCount, "runs − unknowns"},
		{"NAME_trust", "with the sheet's 8", "", `8+NAME_dof`, asCount, ""},
		{"NAME_factor", "factor", "", `(8+NAME_squares)/NAME_trust`, asShare, "(8 + sum) ÷ (8 + degrees of freedom)"},
	})...)
}

// ofFit is figures with the name of their fit in the place of NAME.
func ofFit(name string, all []one) []one {
	for i := range all {
		f := &all[i]
		f.name, f.formula = strings.ReplaceAll(f.name, "NAME", name), strings.ReplaceAll(f.formula, "NAME", name)
	}
	return all
}

// spread is how well the unknowns of a fit are known, and the return with
// nothing blocked that they make at the middle of the runs.
func (w *working) spread(name string, m blockoff.Model) {
	drift := -1
	if m.Drift {
		drift = slices.Index(w.heads(m), "drift")
	}
	w.further(name,
		liveOf("sd", "its SD", asRate, func(i int) string { return fmt.Sprintf(`SQRT(%s_factor*%[1]si.%s)`, name, unknown(i)) }),
		fixedCount("counts", "in total?", func(i int) int {
			if i == drift {
				return 0
			}
			return 1
		}),
		liveOf("with", "with total", asShare, func(i int) string { return fmt.Sprintf(`SUMPRODUCT(%s[counts],%[1]si[%s])`, name, unknown(i)) }))
	w.figures(ofFit(name, []one{
		{"NAME_total", "return with nothing blocked", "mL/min", `SUMPRODUCT(NAME[counts],NAME[x1])`, asRate, "at the middle of the runs"},
		{"NAME_total_sd", "its SD", "mL/min", `SQRT(MAX(0,SUMPRODUCT(NAME[counts],NAME[with]))*NAME_factor)`, asRate, ""},
	})...)
}

// addsUp asks whether the runs with nothing blocked fit the others.
func (w *working) addsUp(m blockoff.Model) {
	w.begin("Does it add up?",
		"D is how far the runs with nothing blocked lie from what the shares add up to: beyond the two-sided 99 % quantile of Student it "+
			"means something. Below zero: another return, or blocking one raised the others; above: blocking one lowered them.", "")
	if !m.NotAddingUp {
		w.figures(one{"other_return", "beyond what chance explains? 1 yes", "", `0`, asCount, "this schedule cannot show D"})
		return
	}
	at := fmt.Sprint(slices.Index(w.heads(m), "D") + 1)
	w.figures(
		one{"d_rate", "D", "mL/min", `INDEX(first[x1],` + at + `)`, asRate, ""},
		one{"d_sd", "its SD", "mL/min", `INDEX(first[sd],` + at + `)`, asRate, ""},
		one{"d_bar", "what it must exceed", "mL/min", `TINV(0.01,first_trust)*d_sd`, asRate, "t(99 %, two-sided) × SD"},
		one{"other_return", "beyond what chance explains? 1 yes", "", `IF(ROUND(ABS(d_rate),6)>ROUND(d_bar,6),1,0)`, asCount, ""},
	)
}

// constantReturn solves every run again with a constant return in the place of
// D, where the schedule can show one, and says which of the two fits counts.
func (w *working) constantReturn(first blockoff.Model) {
	again := blockoff.Model{Drift: first.Drift, ConstantReturn: true}
	two := first.NotAddingUp && !first.ConstantReturn && w.canShow(again)
	used := `0`
	if two {
		w.design("redesign", "The design with a constant return in the place of D", again)
		w.solved("again", "redesign", again)
		used = fmt.Sprintf(`IF(AND(other_return=1,d_rate<0),IF(INDEX(again[x1],%d)>0,1,0),0)`, len(w.drains())+1)
	}
	w.begin("Which fit counts",
		"Where D lies below zero beyond chance, a constant return that no injector makes is taken out of every run, if it comes out above "+
			"zero. Then, and where blocking one lowered the others, the true shares may be larger; otherwise smaller.", "")
	w.figures(
		one{"constant_used", "constant return taken out? 1 yes", "", used, asCount, ""},
		one{"shares_least", "may the true shares be larger? 1 yes", "", w.least(first), asCount, ""},
		one{"shares_most", "may they be smaller? 1 yes", "", `other_return-shares_least`, asCount, ""},
		one{"sigma_dof", "degrees of freedom of one run's SD", "", either(two, `_trust`), asCount, ""},
		one{"sigma_rate", "SD of one run", "mL/min", `SQRT(` + either(two, `_factor`) + `*mean_variance)`, asRate, "root mean square"},
	)
}

// least is whether the shares as solved are the least that they may be.
func (w *working) least(first blockoff.Model) string {
	if !first.NotAddingUp {
		return `0`
	}
	return `IF(other_return=1,IF(d_rate>0,1,constant_used),0)`
}

// either is the figure or the cell of the fit that counts, by what follows its name.
func either(two bool, suffix string) string { return eitherOf(two, "FIT"+suffix) }

// eitherOf is a formula of the fit that counts, whose name stands for FIT in it.
func eitherOf(two bool, template string) string {
	first := strings.ReplaceAll(template, "FIT", "first")
	if !two {
		return first
	}
	return `IF(constant_used=1,` + strings.ReplaceAll(template, "FIT", "again") + `,` + first + `)`
}

// canShow says whether the runs that take part determine a model.
func (w *working) canShow(m blockoff.Model) bool {
	used := w.names.Values(w.onLine("fit"), "used")
	n := len(w.drains())
	ids := columnIDs(n)
	if m.Drift {
		ids = append(ids, unknown(n)) // the first column beside the shares
	}
	var rows [][]float64
	for i := range used {
		if used[i].Number == 0 {
			continue
		}
		row := []float64{1}
		for _, id := range ids {
			row = append(row, w.names.Values(w.onLine("design"), id)[i].Number)
		}
		rows = append(rows, row)
	}
	return stats.Rank(rows) == len(ids)+1
}

package report

// uncertainty is the blocks of repeatability and of the budget of each cylinder.
func (w *working) uncertainty() {
	if w.repeated() {
		w.scatter()
	}
	w.repeatability()
	w.budget()
}

// scatter is what the runs themselves tell of repeatability.
func (w *working) scatter() {
	w.begin("Scatter between the runs",
		"Over the cylinders that are plain in every run: what is left of ln(rate) when the cylinder's own mean and the run's "+
			"mean are taken out. It takes two such cylinders.",
		"residual = ln(rate) − mean of the cylinder − mean of the run + mean of all")
	w.table("scatter", len(w.r.Cylinders), w.cylinders(),
		live("every", "plain in\nevery run?", asCount, `IF(AND(cyl.plain=1,cyl.runs=run_count),1,0)`))
	w.figures(
		one{"every_count", "plain in every run", "", `SUM(scatter[every])`, asCount, ""},
		one{"scatter_used", "enough to tell? 1 yes", "", `IF(every_count>=2,1,0)`, asCount, ""})
	w.gap()
	whenUsed := func(formula string) string { return `IF([every]=1,` + formula + `,0)` }
	w.table("residuals", w.rows,
		live("run", "run", asCount, `in.run`),
		live("cylinder", "cylinder", asCount, `in.cylinder`),
		live("every", "takes\npart?", asCount, `IF(scatter_used=1,SUMIF(scatter[cylinder],[cylinder],scatter[every]),0)`),
		live("log", "ln(rate)", asShare, whenUsed(`LN(reads.rate)`)),
		live("own", "mean of\ncylinder", asShare, whenUsed(`SUMIF(residuals[cylinder],[cylinder],residuals[log])/run_count`)),
		live("runs", "mean of\nrun", asShare, whenUsed(`SUMIF(residuals[run],[run],residuals[log])/every_count`)),
		live("residual", "residual", asShare, whenUsed(`[log]-[own]-[runs]+SUM(residuals[log])/(run_count*every_count)`)),
		live("square", "its square", asShare, `[residual]^2`))
	w.gap()
	w.unsteady()
}

// unsteady asks which cylinder scatters more than its reading explains.
func (w *working) unsteady() {
	w.say("A cylinder is unsteady where its squares are beyond what reading and the sheet's repeatability explain.", workNote)
	w.figures(one{"steady_bar", "bar for the scaled squares", "",
		`IF(scatter_used=1,CHIINV(1-0.99^(1/every_count),run_count-1),0)`, asRate, "chi-square at 0.99^(1 ÷ cylinders), runs − 1"})
	takesPart := func(formula string) string { return `IF(AND(scatter_used=1,scatter.every=1),` + formula + `,0)` }
	w.table("steady", len(w.r.Cylinders), w.cylinders(),
		live("squares", "sum of\nsquares", asShare, `SUMIF(residuals[cylinder],[cylinder],residuals[square])`),
		live("own", "reading²\nrelative", asShare, `IF(cyl.runs=0,0,`+perCylinder("parts[own]")+`/cyl.runs)`),
		live("scaled", "scaled\nsquares", asShare, takesPart(`[squares]/((1-1/every_count)*(repeatability_cv^2+[own]))`)),
		live("unsteady", "unsteady?", asCount, takesPart(`IF(ROUND([scaled],6)>ROUND(steady_bar,6),1,0)`)))
}

// repeatability pools the sheet's figure with the test's own scatter.
func (w *working) repeatability() {
	measured, squares := `0`, `0`
	if w.repeated() {
		measured, squares = `IF(scatter_used=1,(run_count-1)*(every_count-1),0)`, `SUM(residuals[square])`
	}
	w.begin("Repeatability",
		"How far one injector's reading returns when the same run is done again: the sheet's figure, trusted to a quarter "+
			"(8 degrees of freedom, JCGM 100 G.4.2), together with the scatter between the runs where there is one.",
		"r² = (8 × repeatability_cv² + sum of squares) ÷ (8 + degrees of freedom of the scatter)")
	w.figures(
		one{"scatter_dof", "degrees of freedom of the scatter", "", measured, asCount, "(runs − 1) × (cylinders − 1); 0 with one run"},
		one{"scatter_squares", "sum of squares", "", squares, asShare, ""},
		one{"repeat_r", "r, relative", "", `SQRT((8*repeatability_cv^2+scatter_squares)/(8+scatter_dof))`, asShare, ""},
		one{"repeat_dof", "its degrees of freedom", "", `8+scatter_dof`, asCount, ""},
	)
}

// whenPlain is a formula for plain cylinders, nothing for the others.
func whenPlain(formula string) string { return `IF(cyl.plain=1,` + formula + `,"")` }

// whenReadable is a formula for cylinders that can be read.
func whenReadable(formula string) string { return `IF(cyl.readable=1,` + formula + `,"")` }

// budget is the uncertainty of each rate.
func (w *working) budget() {
	w.begin("The uncertainty of each rate (JCGM 100)",
		"Standard uncertainties in mL/min. Only repeatability and the common part are estimates with degrees of freedom; "+
			"they are rounded to 6 decimals, cut to a whole number and at most 10,000. A bound has no uncertainty of its own.",
		"u = root of the sum of squares;   ν = u⁴ ÷ (repeatability⁴ ÷ its ν + common⁴ ÷ 8);   U = t(95 %, one-sided, ν) × u")
	w.table("budget", len(w.numbers()), w.cylinders(),
		live("reading", "reading\nmL/min", asRate, whenReadable(`SQRT(`+w.widened(perCylinder("parts[reading]"))+`)/cyl.runs`)),
		live("tube", "tube\nmL/min", asRate, whenReadable(perCylinder("parts[tube]")+`/cyl.runs/SQRT(3)`)),
		live("repeat", "repeatab.\nmL/min", asRate, whenPlain(`mean.rate*repeat_r*SQRT(`+w.widened(`1`)+`/cyl.runs)`)),
		live("timing", "timing\nmL/min", asRate, whenPlain(`SQRT(`+w.widened(perCylinder("parts[timing2]"))+`)/cyl.runs`)),
		live("common", "common\nmL/min", asRate, whenPlain(`mean.rate*common_cv/SQRT(cyl.runs)*SQRT(`+w.widened(`1`)+`)`)),
		live("standard", "u\nmL/min", asRate, whenPlain(`SQRT([reading]^2+[tube]^2+[repeat]^2+[timing]^2+[common]^2)`)),
		live("share", "estimates\nto the 4th", asShare, whenPlain(`[repeat]^4/repeat_dof+[common]^4/8`)),
		live("dof", "ν", asCount, whenPlain(freedom("[standard]", "[share]"))),
		live("factor", "t", asRate, whenPlain(`TINV(0.1,[dof])`)),
		live("expanded", "U\nmL/min", asRate, whenPlain(`[factor]*[standard]`)),
		live("own", "own part\nmL/min", asRate,
			whenPlain(`SQRT([reading]^2+[tube]^2+[repeat]^2+IF(shared_runs=1,0,[timing]^2+[common]^2))`)),
	)
}

// freedom is effective degrees of freedom (JCGM 100, G.4.1), rounded and capped
// as the program has them.
func freedom(u, share string) string {
	return `IF(` + share + `=0,10000,MIN(10000,INT(ROUND(` + u + `^4/` + share + `,6))))`
}

package report

import (
	"fmt"
	"strings"

	"leakback/leakback/blockoff"
)

// mirrored shows the closed form of a mirrored schedule beside the fit.
func (w *working) mirrored(m blockoff.Model) {
	var runs []blockoff.Run
	cylinders := w.drains()
	for _, r := range w.solution().Residuals {
		runs = append(runs, *r.Run)
	}
	if _, err := blockoff.SolveMirrored(runs, cylinders); err != nil || len(runs) != w.timesMeasured() || m.ConstantReturn {
		return
	}
	w.begin("The closed form of a mirrored schedule",
		"Every cylinder was blocked alone, equally often and around the same middle of the time, so that drift cancels: the shares "+
			"follow by hand, and must come to those of the first fit as long as all runs were measured alike.",
		"T = sum of Ybar ÷ (n − 1);   share = T − Ybar;   SD = σ ÷ √p × root of ((n − 2)² + n − 1) ÷ (n − 1);   D = mean of the runs with nothing blocked − T")
	w.table("closed", len(cylinders), fixedCount("cylinder", "cylinder", func(i int) int { return cylinders[i] }),
		liveOf("passes", "runs that\nblock it, p", asCount, func(i int) string { return blocking(i) }),
		liveOf("mean", "their mean\nYbar", asRate, func(i int) string {
			return fmt.Sprintf(`SUMPRODUCT(fit[used]*(1-design[%s])*total[rate])/[passes]`, unknown(i))
		}))
	w.figures(
		one{"closed_n", "cylinders, n", "", `COUNT(closed[cylinder])`, asCount, ""},
		one{"closed_total", "T", "mL/min", `SUM(closed[mean])/(closed_n-1)`, asRate, ""},
		one{"closed_sigma", "σ of one run", "mL/min", `SQRT(first_factor*mean_variance)`, asRate, "that of the first fit"})
	w.further("closed",
		live("share", "share\nT − Ybar", asRate, `closed_total-[mean]`),
		live("sd", "its SD", asRate, `closed_sigma/SQRT([passes])*SQRT((closed_n-2)^2+closed_n-1)/(closed_n-1)`),
		live("contrast", "SD beside\nthe mean", asRate, `closed_sigma/SQRT([passes])*SQRT(1-1/closed_n)`),
		live("apart", "off the first\nfit's", asShare, `ROUND(ABS([share]-first.x1)+ABS([sd]-first.sd),9)`))
	check := `MAX(closed[apart])<0.000001`
	if m.NotAddingUp {
		w.figures(
			one{"closed_baselines", "mean with nothing blocked", "mL/min",
				`SUMPRODUCT((total[open]=closed_n)*total[rate])/SUMPRODUCT((total[open]=closed_n)*fit[used])`, asRate, ""},
			one{"closed_d", "D", "mL/min", `closed_baselines-closed_total`, asRate, ""})
		check = `AND(` + check + `,ABS(closed_d-d_rate)<0.000001)`
	}
	w.figures(one{"closed_agrees", "closed form and fit agree?", "", `IF(` + check + `,"yes","no: the runs were not measured alike")`, inWords, ""})
}

// blocking is a formula for how many runs that take part block the i-th cylinder.
func blocking(i int) string { return fmt.Sprintf(`SUMPRODUCT(fit[used]*(1-design[%s]))`, unknown(i)) }

// shares are those of the fits that count, with their covariance, as the rates of
// the cylinders. Lines are independent of one another.
func (w *working) shares() {
	n := len(w.r.Cylinders)
	w.begin("The shares and their covariance",
		"A share below 1.645 standard deviations is not told apart from nothing: there it is an upper bound, half of which stands where "+
			"a number is needed. Beside the mean share: how well a share is known against the others.",
		"covariance = factor × inverse;   SD beside the mean = root of (variance − 2 × sum of its row ÷ n + sum of all ÷ n²)")
	fields, row := []field{w.cylinders()}, make([]string, n)
	for j := range n {
		row[j] = "[" + unknown(j) + "]"
		fields = append(fields, liveOf(unknown(j), fmt.Sprintf("cyl. %d", w.r.Cylinders[j].Cylinder), asShare,
			func(i int) string { return w.covariance(i, j) }))
	}
	w.table("cov", n, append(fields, live("with", "row's\nsum", asShare, strings.Join(row, "+")))...)
	w.figures(one{"cov_all", "sum of all", "(mL/min)²", `SUM(cov[with])`, asShare, ""})
	w.further("cov", liveOf("contrast", "SD beside\nthe mean", asRate, func(i int) string {
		return fmt.Sprintf(`SQRT(MAX(0,[%s]-2*[with]/%d+cov_all/%[2]d^2))`, unknown(i), n)
	}))
	w.gap()
	w.table("share", n, w.cylinders(),
		liveOf("solved", "share\nmL/min", asRate, w.ofCylinder(func(two bool, at int) string {
			return eitherOf(two, fmt.Sprintf(`INDEX(FIT[x1],%d)`, at+1))
		})),
		liveOf("sd", "its SD\nmL/min", asRate, func(i int) string { return `SQRT(cov.` + unknown(i) + `)` }),
		live("least", "told from\nnothing at", asRate, `1.645*[sd]`),
		liveOf("repeats", "runs that\nblock it", asCount, w.ofCylinder(func(_ bool, at int) string { return `MAX(1,` + blocking(at) + `)` })),
		liveOf("line", "return\nline", asCount, func(i int) string { return fmt.Sprint(w.placeOf(i).line + 1) }),
		liveOf("timing", "timing,\nrelative", asShare, w.ofCylinder(func(bool, int) string { return `line_timing` })),
		liveOf("dof", "ν of one\nrun's SD", asCount, w.ofCylinder(func(bool, int) string { return `sigma_dof` })))
	w.sharesAsRates()
}

// covariance is a formula for the covariance of two cylinders' shares.
func (w *working) covariance(i, j int) string {
	a, b := w.placeOf(i), w.placeOf(j)
	if a.line != b.line {
		return `0`
	}
	return w.ofCylinder(func(two bool, at int) string {
		return eitherOf(two, fmt.Sprintf(`FIT_factor*INDEX(FITi[%s],%d)`, unknown(b.at), at+1))
	})(i)
}

// sharesAsRates gives the shares the columns that judging starts from.
func (w *working) sharesAsRates() {
	n := len(w.r.Cylinders)
	w.gap()
	w.table("cyl", n, w.cylinders(),
		live("runs", "runs that\nblock it", asCount, `share.repeats`),
		live("over", "lower\nbound?", asCount, `0`),
		live("below", "upper\nbound?", asCount, `IF(ROUND(share.solved,6)<ROUND(share.least,6),1,0)`),
		live("zero", "nothing\nback?", asCount, `0`),
		live("kind", "known as", inWords, `IF([below]=1,"at most","plain")`),
		live("readable", "can be\nread?", asCount, `1`),
		live("plain", "plain?", asCount, `1-[below]`))
	w.gap()
	w.table("mean", n, w.cylinders(),
		live("rate", "rate\nmL/min", asRate, `IF(cyl.below=1,share.least,share.solved)`),
		live("number", "number\nmL/min", asRate, `IF(cyl.below=1,[rate]/2,[rate])`),
		live("ordered", "rounded,\nto rank", asShare, `ROUND([number],6)`),
		live("first", "told from\nnothing at", asRate, `share.least`))
	w.figures(
		one{"readable_count", "cylinders that can be read", "", `SUM(cyl[readable])`, asCount, ""},
		one{"plain_count", "of them plain", "", `SUM(cyl[plain])`, asCount, "without a bound"})
}

// shareBudget is the uncertainty of each share as it meets absolute limits.
func (w *working) shareBudget() {
	w.begin("The uncertainty of each share (JCGM 100)",
		"What one run's scatter makes of it, and what start, stop and state put on all runs alike. An upper bound has no uncertainty of its "+
			"own; how far beyond it the share may reach is kept for the limits.",
		"timing = share × timing of one run ÷ √runs;   common = share × common_cv ÷ √runs;   ν = u⁴ ÷ (SD⁴ ÷ its ν + common⁴ ÷ 8)")
	w.table("budget", len(w.r.Cylinders), w.cylinders(),
		live("repeat", "SD\nmL/min", asRate, `share.sd`),
		live("timing", "timing\nmL/min", asRate, `ABS(share.solved)*share.timing/SQRT(cyl.runs)`),
		live("common", "common\nmL/min", asRate, `ABS(share.solved)*common_cv/SQRT(cyl.runs)`),
		live("all", "u, of the\nshare", asRate, `SQRT([repeat]^2+[timing]^2+[common]^2)`),
		live("share", "estimates\nto the 4th", asShare, `[repeat]^4/share.dof+[common]^4/8`),
		live("dof", "ν", asCount, freedom("[all]", "[share]")),
		live("factor", "t", asRate, `TINV(0.1,[dof])`),
		live("standard", "u\nmL/min", asRate, whenPlain(`[all]`)),
		live("expanded", "U\nmL/min", asRate, whenPlain(`[factor]*[all]`)),
		live("reach", "beyond the\nbound", asRate, `IF(cyl.plain=1,0,MAX(0,share.solved+[factor]*[all]-mean.rate))`))
}

// mergedTotal is the return with nothing blocked.
func (w *working) mergedTotal() {
	w.begin("The total",
		"The return with nothing blocked at the middle of the runs, as measured where there are such runs, otherwise as the shares add up. "+
			"Of several lines what start, stop and state do adds up, the rest is independent.", "")
	w.eachLine(w.totalOfLine)
	w.figures(
		one{"total_rate", "total", "mL/min", w.overLines("line_total", "+"), asRate, ""},
		one{"total_repeat", "total: SD", "mL/min", `SQRT(` + w.overLines("line_repeat^2", "+") + `)`, asRate, ""},
		one{"total_tube", "total: tube", "mL/min", `SQRT(` + w.overLines("line_tube^2", "+") + `)`, asRate, ""},
		one{"total_timing", "total: timing", "mL/min", w.overLines("ABS(line_total)*line_timing/SQRT(line_runs)", "+"), asRate, ""},
		one{"total_common", "total: common", "mL/min", w.overLines("ABS(line_total)*common_cv/SQRT(line_runs)", "+"), asRate, ""},
		one{"total_standard", "total: u", "mL/min", `SQRT(total_tube^2+total_repeat^2+total_timing^2+total_common^2)`, asRate, ""},
		one{"total_share", "total: estimates to the 4th", "", w.overLines("line_repeat^4/sigma_dof", "+") + `+total_common^4/8`, asShare, ""},
		one{"total_dof", "total: ν", "", freedom("total_standard", "total_share"), asCount, ""},
		one{"total_expanded", "total: U", "mL/min", `TINV(0.1,total_dof)*total_standard`, asRate, ""},
		one{"total_shown", "its U", "mL/min", `total_expanded`, asRate, ""},
	)
	if !w.gives(kindTotal) {
		return
	}
	w.figures(
		one{"total_low", "lower end", "mL/min", `total_rate`, asRate, ""},
		one{"total_open", "no upper end? 1 yes", "", `0`, asCount, ""},
		one{"total_high", "upper end", "mL/min", `total_rate`, asRate, ""},
	)
	w.spanDecision("total", "applied_total", judged)
}

// totalOfLine is the return of one line.
func (w *working) totalOfLine() {
	w.figures(
		one{"line_total", "return of the line" + w.lineName(), "mL/min", either(w.hasTwo(), "_total"), asRate, ""},
		one{"line_repeat", "its SD", "mL/min", either(w.hasTwo(), "_total_sd"), asRate, ""},
		one{"open_runs", "runs with nothing blocked", "", fmt.Sprintf(`SUMPRODUCT((total[open]=%d)*fit[used])`, len(w.drains())), asCount, ""},
		one{"line_runs", "runs behind it", "", `IF(open_runs>0,open_runs,` + w.fewestRuns() + `)`, asCount, ""},
	)
}

// fewestRuns is a formula for how many runs block each cylinder of the line at least.
func (w *working) fewestRuns() string {
	all := make([]string, len(w.drains()))
	for i := range all {
		all[i] = `MAX(1,` + blocking(i) + `)`
	}
	return `MIN(` + strings.Join(all, ",") + `)`
}

// mergedDifference is the highest share less the lowest, by their covariance.
func (w *working) mergedDifference() {
	w.begin("The largest difference",
		"The highest share less the lowest as solved; of equal ones each takes its part. Where all are equal, any two may still differ "+
			"by twice what the least well known of them may differ from the mean. Not judged where the pressure was not held.", "")
	w.extremes()
	w.further("pair",
		liveOf("with", "with the\ndifference", asShare, func(i int) string { return `SUMPRODUCT(pair[sign],cov[` + unknown(i) + `])` }),
		live("runs", "its runs", asCount, `IF([high]+[low]=0,"",cyl.runs)`),
		live("timing", "its timing", asShare, `IF([high]+[low]=0,0,share.timing)`))
	dof := w.spreadFreedom("difference_spread", "pair[sign]", "pair[with]", "difference_repeat")
	const equal = `highest_number=lowest_number`
	w.figures(
		one{"difference_apart", "difference", "mL/min", `MAX(0,SUMPRODUCT(pair[sign],share[solved]))`, asRate, ""},
		one{"difference_repeat", "difference: SD", "mL/min", `IF(` + equal + `,2*MAX(cov[contrast]),SQRT(MAX(0,SUMPRODUCT(pair[sign],pair[with]))))`, asRate, ""},
		one{"difference_runs", "runs behind it", "", `MAX(1,MIN(pair[runs]))`, asCount, ""},
		one{"difference_timing", "difference: timing", "mL/min", `difference_apart*MAX(pair[timing])/SQRT(difference_runs)`, asRate, ""},
		one{"difference_common", "difference: common", "mL/min", `difference_apart*common_cv/SQRT(difference_runs)`, asRate, ""},
		one{"difference_standard", "difference: u", "mL/min",
			`SQRT(difference_repeat^2+difference_timing^2+difference_common^2)`, asRate, ""},
		one{"difference_share", "difference: estimates to the 4th", "",
			`difference_repeat^4/IF(` + equal + `,` + w.leastFreedom() + `,` + dof + `)+difference_common^4/8`, asShare, ""},
		one{"difference_dof", "difference: ν", "", freedom("difference_standard", "difference_share"), asCount, ""},
		one{"difference_expanded", "difference: U", "mL/min", `TINV(0.1,difference_dof)*difference_standard`, asRate, ""},
		one{"difference_low", "lower end", "mL/min",
			`IF(OR(readable_count<2,pressure_apart=1),"",difference_apart)`, asRate, ""},
		one{"difference_open", "no upper end? 1 yes", "", `0`, asCount, ""},
		one{"difference_high", "upper end", "mL/min", `difference_low`, asRate, ""},
	)
	w.spanDecision("difference", "applied_difference", func(decision string) string {
		return judgedBy(decision, "over", "OR(state_above=1,other_return=1)", "OR(state_below=1,other_return=1)")
	})
}

// leastFreedom is the degrees of freedom of the line that has fewest.
func (w *working) leastFreedom() string {
	if len(w.r.BlockOff.Lines) < 2 {
		return `MIN(10000,sigma_dof)`
	}
	all := make([]string, len(w.r.BlockOff.Lines))
	for l := range all {
		all[l] = fmt.Sprintf("sigma_dof_l%d", l+1)
	}
	return `MIN(10000,` + strings.Join(all, ",") + `)`
}

// shareRatio adds the uncertainty of the ratios of shares to one reference, by
// their covariance.
func (w *working) shareRatio(k ratioKind) {
	w.further(k.table(), live("known", "weight,\nif plain", asRate, `[weight]*cyl.plain`))
	known := k.table() + "[known]"
	w.further(k.table(), liveOf("with", "with the\nreference", asShare, func(i int) string {
		return `SUMPRODUCT(` + known + `,cov[` + unknown(i) + `])`
	}))
	w.figures(one{k.figure("spread"), "variance of the reference", "(mL/min)²",
		`SUMPRODUCT(` + known + `,` + k.table() + `[with])`, asShare, ""})
	for l := range w.r.BlockOff.Lines {
		if len(w.r.BlockOff.Lines) > 1 {
			w.figures(one{fmt.Sprintf("%s_l%d", k.figure("spread"), l+1), fmt.Sprintf("of it, line %d", l+1), "(mL/min)²",
				fmt.Sprintf(`SUMPRODUCT((share[line]=%d)*%s*%s[with])`, l+1, known, k.table()), asShare, ""})
		}
	}
	plain := func(formula string) string { return `IF([how]="with U",` + formula + `,"")` }
	w.further(k.table(), w.ratioOf(k)...)
	w.further(k.table(),
		liveOf("u", "u", asShare, func(i int) string {
			return plain(`SQRT(MAX(0,cyl.plain*(cov.` + unknown(i) + `-2*[ratio]*[with])+[ratio]^2*` +
				k.figure("spread") + `))/` + k.figure("referent"))
		}),
		liveOf("dof", "ν", asCount, func(i int) string { return plain(w.ratioFreedom(k, i)) }),
		live("expanded", "U", asRate, plain(`IF(ROUND([u],6)=0,0,TINV(0.1,[dof])*[u])`)))
}

// ratioFreedom is a formula for the degrees of freedom of a share's ratio: those
// of its line, of several lines by Welch and Satterthwaite over what each of
// them adds.
func (w *working) ratioFreedom(k ratioKind, i int) string {
	if len(w.r.BlockOff.Lines) < 2 {
		return `MIN(10000,sigma_dof)`
	}
	var terms []string
	for l := range w.r.BlockOff.Lines {
		adds := fmt.Sprintf(`[ratio]^2*%s_l%d`, k.figure("spread"), l+1)
		if w.placeOf(i).line == l {
			adds = `cyl.plain*(cov.` + unknown(i) + `-2*[ratio]*[with])+` + adds
		}
		terms = append(terms, fmt.Sprintf(`MAX(0,%s)^2/sigma_dof_l%d`, adds, l+1))
	}
	return `IF(ROUND([u],6)=0,10000,MIN(10000,INT(ROUND(([u]*` + k.figure("referent") + `)^4/(` + strings.Join(terms, "+") + `),6))))`
}

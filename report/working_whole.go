package report

// wholeSet is the total and, where a limit names it, the largest difference.
func (w *working) wholeSet() {
	if w.isMerged() {
		w.mergedTotal()
		if w.gives(kindDifference) {
			w.mergedDifference()
		}
		return
	}
	w.total()
	if w.gives(kindDifference) {
		w.difference()
	}
}

// combined are the figures of the uncertainty of a sum of plain cylinders: own
// parts in quadrature, common parts on the sum itself where runs are shared.
// members is a column of squared weights, 0 for what takes no part; runs is a table with a row a run, that has the
// sum in the column called what, and its timing squared in what2.
func (w *working) combined(what, members, runs string) {
	name := func(suffix string) string { return what + "_" + suffix }
	square := func(column string) string {
		return `SQRT(SUMPRODUCT(` + members + `,budget[` + column + `],budget[` + column + `]))`
	}
	times := name("runs")
	together := func(shared, column string) string {
		return `IF(SUM(` + members + `)=0,0,IF(shared_runs=1,` + shared + `,` + square(column) + `))`
	}
	w.figures(
		one{name("reading"), what + ": reading", "mL/min", square("reading"), asRate, ""},
		one{name("tube"), what + ": tube", "mL/min", square("tube"), asRate, ""},
		one{name("repeat"), what + ": repeatability", "mL/min", square("repeat"), asRate, ""},
		one{times, what + ": runs of a cylinder", "", `IF(SUM(` + members + `)=0,0,SUMPRODUCT(` + members +
			`,cyl[runs])/SUM(` + members + `))`, asRate, "where they are shared"},
		one{name("timing"), what + ": timing", "mL/min",
			together(`SQRT(SUM(`+runs+`[`+what+`2]))/`+times, "timing"), asRate, ""},
		one{name("common"), what + ": common", "mL/min",
			together(`ABS(SUM(`+runs+`[`+what+`]))/`+times+`*common_cv/SQRT(`+times+`)`, "common"), asRate, ""},
		one{name("standard"), what + ": u", "mL/min", `SQRT(` + name("reading") + `^2+` + name("tube") + `^2+` + name("repeat") +
			`^2+` + name("timing") + `^2+` + name("common") + `^2)`, asRate, ""},
		one{name("share"), what + ": estimates to the 4th", "",
			name("repeat") + `^4/repeat_dof+` + name("common") + `^4/8`, asShare, ""},
		one{name("dof"), what + ": ν", "", freedom(name("standard"), name("share")), asCount, ""},
		one{name("expanded"), what + ": U", "mL/min", `TINV(0.1,` + name("dof") + `)*` + name("standard"), asRate, ""},
	)
}

// total is the sum of all cylinders.
func (w *working) total() {
	w.begin("The total",
		"A figure only where every cylinder is plain. Against its limit each cylinder is a span: a lower bound has no upper end, "+
			"an upper bound begins at zero, an unread one may be anything.", "")
	w.combined("total", "cyl[plain]", "runs")
	w.figures(
		one{"total_rate", "total", "mL/min", `IF(plain_count=COUNT(cyl[cylinder]),SUM(mean[rate]),"")`, asRate, ""},
		one{"total_shown", "its U, where it is a figure", "mL/min", `IF(ISNUMBER(total_rate),total_expanded,"")`, asRate, ""},
	)
	if !w.gives(kindTotal) {
		return
	}
	w.figures(
		one{"total_low", "lower end", "mL/min", `SUMPRODUCT((cyl[kind]<>"at most")*cyl[readable],mean[rate])`, asRate, ""},
		one{"total_open", "no upper end? 1 yes", "",
			`IF(SUMPRODUCT((cyl[kind]="unread")*1)+SUMPRODUCT((cyl[kind]="at least")*1)>0,1,0)`, asCount, ""},
		one{"total_high", "upper end", "mL/min", `IF(total_open=1,"",SUM(mean[rate]))`, asRate, ""},
	)
	w.spanDecision("total", "applied_total", judged)
}

// spanDecision holds a span against a maximum: over where its lower end is,
// within where its upper end is.
func (w *working) spanDecision(what, limit string, judged func(string) string) {
	low, high, expanded := what+"_low", what+"_high", what+"_expanded"
	w.figures(
		one{what + "_decision", "against its limit", "", `IF(OR(` + limit + `="",` + low + `=""),"",IF(ROUND(` + low + `-` + expanded +
			`,6)>ROUND(` + limit + `,6),"over",IF(` + what + `_open=1,"open",IF(ROUND(` + high + `+` + expanded + `,6)<ROUND(` + limit +
			`,6),"within","open"))))`, inWords, ""},
		one{what + "_verdict", "so", "", judged(what + "_decision"), inWords, ""},
	)
}

// difference is the highest less the lowest.
func (w *working) difference() {
	w.begin("The largest difference",
		"The highest rate less the lowest; of equal ones each takes its part. A lower bound has no upper end, an upper bound begins at "+
			"zero. The uncertainty is that of the plain ones among the highest and the lowest.", "")
	w.extremes()
	w.further("pair",
		live("square", "squared,\nif plain", asShare, `([high]^2+[low]^2)*cyl.plain`),
		live("bottom", "at least\nmL/min", asRate, bottom(`mean.rate`)),
		live("top", "at most\nmL/min", asRate, top(`mean.rate`)))
	w.further("parts", live("sign", "part of the\ndifference", asRate, `SUMIF(pair[cylinder],[cylinder],pair[sign])`))
	w.gap()
	w.table("gap", len(w.runs),
		live("run", "run", asCount, `runs.run`),
		live("difference", "difference\nof the plain", asRate, `SUMPRODUCT((reads[run]=[run])*`+w.rate(true)+`*parts[plain]*parts[sign])`),
		live("difference2", "its timing²\n(mL/min)²", asShare, `([difference]*runs.timing/runs.interval)^2`))
	w.combined("difference", "pair[square]", "gap")
	w.differenceSpan()
	w.spanDecision("difference", "applied_difference", w.judgedApart)
}

// extremes are the highest and the lowest rate, and the cylinders that have it.
func (w *working) extremes() {
	w.figures(
		one{"highest_number", "highest", "mL/min", `IF(readable_count=0,"",MAX(mean[ordered]))`, asShare, ""},
		one{"lowest_number", "lowest", "mL/min", `IF(readable_count=0,"",MIN(mean[ordered]))`, asShare, ""},
	)
	part := func(number string) string {
		return `IF(cyl.readable=0,0,IF(mean.ordered=` + number + `,1/SUMPRODUCT((mean[ordered]=` + number + `)*1),0))`
	}
	w.gap()
	w.table("pair", len(w.r.Cylinders), w.cylinders(),
		live("high", "part of the\nhighest", asRate, part("highest_number")),
		live("low", "part of the\nlowest", asRate, part("lowest_number")),
		live("sign", "part of the\ndifference", asRate, `[high]-[low]`))
}

// differenceSpan is how large and how small the difference can be.
func (w *working) differenceSpan() {
	two := func(formula string) string { return `IF(readable_count<2,"",` + formula + `)` }
	w.figures(
		one{"difference_low", "lower end", "mL/min", two(`MAX(0,MAX(pair[bottom])-MIN(pair[top]))`), asRate, ""},
		one{"difference_open", "no upper end? 1 yes", "", two(`IF(SUMPRODUCT((cyl[kind]="at least")*1)>0,1,0)`), asCount, ""},
		one{"difference_high", "upper end", "mL/min", two(`IF(difference_open=1,"",MAX(pair[top])-MIN(pair[bottom]))`), asRate, ""},
	)
}

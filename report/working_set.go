package report

// setFigures is what the set as a whole gives, and which comparison it allows.
func (w *working) setFigures() {
	w.begin("The set as a whole",
		"With fewer than three cylinders that can be read nothing is compared. A median below the first mark (of the coarsest "+
			"tube) is no median: then the first mark stands for the set.", "")
	w.figures(
		one{"set_median", "median", "mL/min", `IF(readable_count=0,"",MEDIAN(mean[number]))`, asRate, ""},
		one{"first_mark", "first mark", "mL/min", `IF(readable_count=0,"",MAX(mean[first]))`, asRate, ""},
		one{"compared_with", "compared with", "", `IF(readable_count<3,"nothing",IF(ROUND(set_median,6)<ROUND(first_mark,6),` +
			`"first mark","consensus"))`, inWords, ""},
		one{"set_level", "level of the set", "mL/min", `IF(compared_with="first mark",first_mark,set_median)`, asRate, ""},
		one{"shown_median", "median that ratios are taken to", "mL/min",
			`IF(compared_with="first mark","",set_median)`, asRate, ""},
	)
	w.gap()
	w.table("ratio", len(w.r.Cylinders), w.cylinders(),
		live("rank", "rank, from\nthe lowest", asCount, whenReadable(`1+SUMPRODUCT((mean[ordered]<mean.ordered)*1)+`+
			`SUMPRODUCT((mean[ordered]=mean.ordered)*(cyl[cylinder]<[cylinder]))`)),
		live("median", "ratio to\nmedian", asRate,
			`IF(AND(cyl.readable=1,ISNUMBER(shown_median)),mean.rate/shown_median,"")`))
}

// fewestCompared is how many cylinders it takes to compare them.
const fewestCompared = 3

// compares says whether the engine has cylinders enough to compare at all.
func (w *working) compares() bool { return len(w.r.Cylinders) >= fewestCompared }

// comparison is the set held against itself.
func (w *working) comparison() {
	w.variances()
	if !w.compares() {
		w.figures(one{"compared_count", "cylinders compared", "", `0`, asCount, "too few in this engine"})
		return
	}
	w.sorted()
	w.candidates()
	w.outcome()
	w.places()
}

// variances are what of each cylinder's distance from the others is expected.
func (w *working) variances() {
	parts := "r² ÷ runs + (reading ÷ level)² + (tube ÷ level)²"
	if w.isMerged() {
		parts = "(SD beside the mean ÷ level)²"
	}
	w.begin("What distance is to be expected",
		"s: how far good injectors differ from one another (the sheet's healthy_cv). To it comes what measuring adds at the "+
			"level of the set, of the cylinder's own only.",
		"own² = "+parts+";   τ² = s² + own²;   weight = 1 ÷ τ²;   y = ln(number)")
	w.figures(one{"healthy_s", "s", "", `SQRT(LN(1+healthy_cv^2))`, asShare, "log standard deviation of good injectors"})
	own := `repeat_r^2/cyl.runs+(budget.reading/set_level)^2+(budget.tube/set_level)^2`
	if w.repeated() {
		own = w.widened(`(repeat_r^2/cyl.runs+IF(shared_runs=1,0,`+perCylinder("parts[time]")+
			`/cyl.runs^2+common_cv^2/cyl.runs))`) + `+(budget.reading/set_level)^2+(budget.tube/set_level)^2`
	}
	if w.isMerged() {
		own = `(cov.contrast/set_level)^2`
	}
	w.table("comp", len(w.r.Cylinders), w.cylinders(),
		live("own", "own²\nrelative", asShare, `IF(AND(cyl.readable=1,compared_with<>"nothing"),`+own+`,"")`),
		live("tau", "τ", asShare, `IF(ISNUMBER([own]),SQRT(healthy_s^2+[own]),"")`),
		live("weight", "weight", asRate, `IF(ISNUMBER([tau]),1/[tau]^2,"")`),
		live("log", "y", asShare, `IF(AND(cyl.readable=1,compared_with="consensus"),LN(mean.number),"")`))
}

// sorted is the set in rising order, centred on its median.
func (w *working) sorted() {
	w.begin("The set in order",
		"Sorted from the lowest, y less its median. A cut between two that are equal to 6 decimals is not allowed. "+
			"Without a consensus the rows stay empty, with weight 0.", "")
	w.figures(
		one{"compared_count", "cylinders compared", "", `IF(compared_with="consensus",readable_count,0)`, asCount, ""},
		one{"log_median", "median of y", "", `IF(compared_count=0,0,MEDIAN(comp[log]))`, asShare, ""},
	)
	at := func(column string) string { return `INDEX(comp[` + column + `],MATCH([place],ratio[rank],0))` }
	compared := func(formula, otherwise string) string {
		return `IF([place]<=compared_count,` + formula + `,` + otherwise + `)`
	}
	w.table("order", len(w.r.Cylinders),
		fixedCount("place", "place", func(i int) int { return i + 1 }),
		live("cylinder", "cylinder", asCount, compared(at("cylinder"), `""`)),
		live("y", "y less its\nmedian", asShare, compared(at("log")+`-log_median`, `0`)),
		live("weight", "weight", asRate, compared(at("weight"), `0`)),
		liveOf("tie", "equal to\nthat above?", asCount, func(i int) string {
			if i == 0 {
				return `0`
			}
			return compared(`IF(ROUND([y]-[up:y],6)=0,1,0)`, `0`)
		}))
}

// split is a candidate: so many highest and lowest set aside.
type split struct{ high, low int }

// splits are all candidates of n cylinders, in the order in which equal costs
// are decided: fewest aside, then fewest low.
func splits(n int) []split {
	var all []split
	for aside := 0; aside <= n/2; aside++ {
		for low := 0; low <= aside; low++ {
			all = append(all, split{aside - low, low})
		}
	}
	return all
}

// candidates is one row for each way to set some aside, and what it costs.
func (w *working) candidates() {
	w.begin("Every way to set some aside, and its cost",
		"The consensus is what is left when the highest and the lowest are set aside, at most half of the set. The cheapest "+
			"wins; of equal ones the first, which sets fewest aside, then fewest low. Both error chances have their own price.",
		"m = sum of weight × y ÷ sum of weights;   Q = sum of weight × (y − m)²;   cost = Q + c² × (high + low) + 4 × low")
	critical := func(chance string) string {
		return `IF(readable_count<3,"",NORMSINV((1-` + chance + `)^(1/readable_count)))`
	}
	w.figures(
		one{"critical_value", "c at false_alarm", "", critical("false_alarm"), asShare, "one-sided, for the whole set"},
		one{"hint_value", "c at false_hint", "", critical("false_hint"), asShare, ""},
	)
	const (
		kept   = `(order[place]>[low])*(order[place]<=compared_count-[high])*order[weight]`
		uncut  = `SUMPRODUCT((order[place]=[low]+1)*order[tie])+SUMPRODUCT((order[place]=compared_count-[high]+1)*order[tie])=0`
		within = `AND(compared_count>0,[high]+[low]<=INT(compared_count/2))`
	)
	when := func(formula string) string { return `IF([allowed]=1,` + formula + `,"")` }
	cost := func(c string) string { return when(`ROUND([q]+` + c + `^2*([high]+[low])+4*[low],6)`) }
	all := splits(len(w.r.Cylinders))
	w.table("cand", len(all),
		fixedCount("high", "highest\naside", func(i int) int { return all[i].high }),
		fixedCount("low", "lowest\naside", func(i int) int { return all[i].low }),
		live("allowed", "allowed?", asCount, `IF(`+within+`,IF(`+uncut+`,1,0),0)`),
		live("weight", "sum of\nweights", asRate, when(`SUMPRODUCT(`+kept+`)`)),
		live("mean", "m", asShare, when(`SUMPRODUCT(`+kept+`*order[y])/[weight]`)),
		live("q", "Q", asShare, when(`SUMPRODUCT(`+kept+`*(order[y]-[mean])^2)`)),
		live("cost", "cost at\nfalse_alarm", asShare, cost("critical_value")),
		live("hint", "cost at\nfalse_hint", asShare, cost("hint_value")),
	)
}

// whenCompared is a formula that stands only where there is a consensus.
func whenCompared(formula string) string { return `IF(compared_count=0,"",` + formula + `)` }

// outcome is which candidate won, and how well its consensus agrees.
func (w *working) outcome() {
	w.begin("The consensus",
		"It does not agree with itself where Q is beyond the 99 % quantile of chi-square at its size − 1. Half high cannot be "+
			"told from half low.", "")
	cheapest := func(cost string) string {
		return whenCompared(`MATCH(MIN(cand[` + cost + `]),cand[` + cost + `],0)`)
	}
	of := func(column, row string) string { return whenCompared(`INDEX(cand[` + column + `],` + row + `)`) }
	w.figures(
		one{"best_row", "cheapest row at false_alarm", "", cheapest("cost"), asCount, ""},
		one{"set_high", "set aside high", "", of("high", "best_row"), asCount, ""},
		one{"set_low", "set aside low", "", of("low", "best_row"), asCount, ""},
		one{"consensus_size", "cylinders that agree", "", whenCompared(`compared_count-set_high-set_low`), asCount, ""},
		one{"consensus_log", "its mean of y", "", whenCompared(`INDEX(cand[mean],best_row)+log_median`), asShare, ""},
		one{"consensus_weight", "its weight", "", of("weight", "best_row"), asRate, ""},
		one{"consensus_q", "its Q", "", of("q", "best_row"), asShare, ""},
		one{"agreement_bar", "bar for Q", "", whenCompared(`IF(consensus_size<2,"",CHIINV(0.01,consensus_size-1))`), asShare, ""},
		one{"set_disagrees", "does not agree? 1 yes", "", whenCompared(`IF(consensus_size<2,0,` +
			`IF(ROUND(consensus_q,6)>ROUND(agreement_bar,6),1,0))`), asCount, ""},
		one{"half_aside", "half set aside? 1 yes", "",
			whenCompared(`IF(OR(2*set_high=compared_count,2*set_low=compared_count),1,0)`), asCount, ""},
		one{"hint_row", "cheapest row at false_hint", "", cheapest("hint"), asCount, ""},
		one{"hint_high", "set aside high", "", of("high", "hint_row"), asCount, ""},
		one{"hint_low", "set aside low", "", of("low", "hint_row"), asCount, "ignored"},
		one{"hint_log", "its mean of y", "", whenCompared(`INDEX(cand[mean],hint_row)+log_median`), asShare, ""},
	)
}

// places is where the comparison puts each cylinder.
func (w *working) places() {
	w.begin("Where each cylinder stands",
		"High: set aside high and at least practical_ratio times the consensus; hint: the same only at false_hint; low: too low to "+
			"trust. An upper bound above the lowest other is a hint. Against the first mark, high: 5 marks or more and beyond the biting "+
			"ratio, surely only where two runs agree. Where one cylinder's place hangs on another's bound the program writes no formulas; "+
			"a bound typed here is not tried so.",
		"ratio = exp(y − m);   biting ratio = the larger of practical_ratio and exp(c × τ × root of (1 + 1 ÷ size));   "+
			"z = (y − m of the others) ÷ root of (τ² + 1 ÷ weight of the others)")
	w.table("places", len(w.r.Cylinders), w.cylinders(),
		live("under", "at or below\nfirst mark?", asCount,
			`IF(cyl.readable=1,IF(ROUND(mean.number,6)<=ROUND(first_mark,6),1,0),0)`))
	w.figures(
		one{"agreeing_count", "cylinders behind the comparison", "",
			`IF(compared_with="nothing",0,IF(compared_with="first mark",SUM(places[under]),consensus_size))`, asCount, ""},
		one{"compared_rate", "what ratios are taken to", "mL/min",
			`IF(compared_with="nothing","",IF(compared_with="first mark",first_mark,EXP(consensus_log)))`, asRate, ""},
	)
	w.distances()
	w.placeOfEach()
}

// read is a formula for cylinders that take part in a comparison of either kind.
func read(formula string) string { return `IF(ISNUMBER(comp.own),` + formula + `,"")` }

// distances are how far each cylinder lies from the others.
func (w *working) distances() {
	high := func(count string) string {
		return read(`IF(compared_count=0,0,IF(ratio.rank>compared_count-` + count + `,1,0))`)
	}
	w.further("places",
		live("low", "set aside\nlow?", asCount, read(`IF(compared_count=0,0,IF(ratio.rank<=set_low,1,0))`)),
		live("high", "set aside\nhigh?", asCount, high("set_high")),
		live("ratio", "ratio", asRate, read(`IF(compared_count=0,mean.number/first_mark,EXP(comp.log-consensus_log))`)),
		live("hinted", "high at\nfalse_hint?", asCount, high("hint_high")),
		live("hint", "ratio at\nfalse_hint", asRate, read(whenCompared(`EXP(comp.log-hint_log)`))),
		live("biting", "biting\nratio", asRate,
			read(`MAX(practical_ratio,EXP(critical_value*comp.tau*SQRT(1+1/agreeing_count)))`)),
		live("others", "weight of\nthe others", asRate,
			read(whenCompared(`consensus_weight-IF(AND([high]=0,[low]=0),comp.weight,0)`))),
		live("apart", "y less m of\nthe others", asShare, read(whenCompared(`IF(AND([high]=0,[low]=0),`+
			`IF(consensus_size=1,"",comp.log-log_median-((consensus_log-log_median)*consensus_weight-`+
			`comp.weight*(comp.log-log_median))/[others]),comp.log-consensus_log)`))),
		live("z", "z", asRate, `IF(ISNUMBER([apart]),[apart]/SQRT(comp.tau^2+1/[others]),"")`))
}

// placeOfEach is the place that a cylinder's distance makes.
func (w *working) placeOfEach() {
	agree, marks := `SUMPRODUCT((reads[cylinder]=[cylinder])*(ROUND(`+w.rate(true)+`/first_mark,6)>ROUND([biting],6))*`+
		`(ROUND(parts[marks],6)>=5))`, `mean.marks`
	if w.isMerged() { // the runs that block it all speak in it
		agree, marks = `cyl.runs`, `mean.rate/first_mark`
	}
	bites := `AND(cyl.kind<>"at most",ROUND(mean.rate/first_mark,6)>ROUND([biting],6),ROUND(` + marks + `,6)>=5)`
	const (
		high = `AND([high]=1,ROUND([ratio],6)>=ROUND(practical_ratio,6))`
		hint = `AND([high]=0,[hinted]=1,ROUND([hint],6)>=ROUND(practical_ratio,6))`
		amid = `AND(cyl.kind="at most",SUMPRODUCT((cyl[kind]<>"at most")*(cyl[readable]=1)*(mean[ordered]<ROUND(mean.rate,6)))>0)`
	)
	w.further("places",
		live("agree", "runs that\nbite", asCount, read(`IF(compared_count>0,"",`+agree+`)`)),
		live("place", "place", inWords, whenReadable(`IF(compared_with="nothing","none",IF(compared_count=0,`+
			`IF(`+bites+`,"high","none"),IF([low]=1,"low",IF(`+amid+`,"hint",IF(`+high+`,"high",IF(`+hint+`,"hint","fine"))))))`)),
		live("unsure", "on one run\nonly?", asCount,
			`IF(AND(compared_with="first mark",[place]="high"),IF([agree]<2,1,0),0)`))
}

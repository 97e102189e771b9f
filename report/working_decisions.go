package report

import "strings"

// decision is a formula that holds a value with its expanded uncertainty against
// a limit (JCGM 106): over, within or open. What a bound cannot prove is open
// too: over and within are the words for the two, "open" for one that it cannot.
func decision(value, expanded, limit, over, within string) string {
	return `IF(ROUND(` + value + `-` + expanded + `,6)>ROUND(` + limit + `,6),` + over + `,IF(ROUND(` + value + `+` + expanded +
		`,6)<ROUND(` + limit + `,6),` + within + `,"open"))`
}

// judged is what the recorded state leaves of a decision against a maximum.
func judged(decision string) string {
	return judgedBy(decision, "over", "state_above=1", "state_below=1")
}

// judgedApart is the same for what compares cylinders with one another, which
// drift or another return may feign.
func (w *working) judgedApart(decision string) string {
	return judgedBy(decision, "over", "OR(state_above=1,"+w.doubt()+"=1)", "state_below=1")
}

// doubt is the figure that says that a cylinder may stand apart for another
// reason than its own return.
func (w *working) doubt() string {
	if w.isMerged() {
		return "other_return"
	}
	return "drift_unknown"
}

// judgedRate is judged for the rate of one cylinder, which of a share may be the
// least that is possible, or the most: fails is the decision that fails.
func (w *working) judgedRate(decision, fails string) string {
	below, above := "state_below=1", "state_above=1"
	if w.isMerged() {
		below, above = "OR(state_below=1,shares_least=1)", "OR(state_above=1,shares_most=1)"
	}
	if fails == "within" { // a minimum is the mirror image
		below, above = above, below
	}
	return judgedBy(decision, fails, above, below)
}

// judgedBy names the decision that fails, and the states in which failing and
// passing prove nothing. For a minimum they are mirrored.
func judgedBy(decision, fails, failOpen, passOpen string) string {
	return `IF(` + decision + `="","",IF(` + decision + `="open","undecided",IF(cranks_differ=1,"undecided",` +
		`IF(` + decision + `="` + fails + `",IF(` + failOpen + `,"undecided","fail"),` +
		`IF(OR(` + passOpen + `,state_unknown=1),"undecided","pass")))))`
}

// limitDecision is where single cylinders were held against a limit: a table and
// its columns of verdicts and findings.
type limitDecision struct{ table, verdict, finding string }

// againstLimits are the decisions against limits of one cylinder.
func (w *working) againstLimits() {
	if w.gives(kindMost) || w.gives(kindLeast) {
		w.againstRates()
	}
	for _, k := range []ratioKind{
		{kindMedian, "the median", "the middle cylinder, or the two",
			`IF(cyl.readable=0,0,IF(OR(ratio.rank=INT((readable_count+1)/2),ratio.rank=INT(readable_count/2)+1),1,0))`},
		{kindMean, "the mean", "all that can be read", `cyl.readable`},
		{kindLowest, "the lowest", "the lowest cylinder", `IF(cyl.readable=0,0,IF(ratio.rank=1,1,0))`},
	} {
		if w.gives(k.id) {
			w.againstRatio(k)
		}
	}
}

// againstRates holds rates against maximum and minimum.
func (w *working) againstRates() {
	w.begin("Against the limits of one cylinder (JCGM 106)",
		"Over or within only where the rate is clear of the limit by more than U, else open. A lower bound proves over and never "+
			"within, an upper bound the reverse. For a minimum, within means under it.",
		"over: rate − U > limit;   within: rate + U < limit;   probability over = T((rate − limit) ÷ u, ν)")
	beyond := `0`
	if w.isMerged() {
		beyond = `budget.reach`
	}
	w.table("rates", len(w.r.Cylinders), w.cylinders(),
		live("expanded", "U\nmL/min", asRate, `IF(cyl.plain=1,budget.expanded,`+beyond+`)`))
	if w.gives(kindMost) {
		w.againstRate(kindMost, "maximum", "over-limit", w.judgedRate("["+kindMost+"]", "over"))
		w.further("rates", live("probability", "probability\nover", asShare,
			`IF(OR(cyl.plain=0,applied_max="",`+w.unjudged()+`),"",IF(mean.rate>=applied_max,`+
				`1-TDIST((mean.rate-applied_max)/budget.standard,budget.dof,1),`+
				`TDIST((applied_max-mean.rate)/budget.standard,budget.dof,1)))`))
	}
	if w.gives(kindLeast) {
		w.againstRate(kindLeast, "minimum", "under-limit", w.judgedRate("["+kindLeast+"]", "within"))
	}
}

// againstRate adds the decisions against one limit, with what the state leaves
// of them and the finding that each makes.
func (w *working) againstRate(id, name, code, judged string) {
	limit := kindOf(id).name
	bounded := decision("mean.rate", "[expanded]", limit,
		`IF(cyl.kind="at most","open","over")`, `IF(cyl.kind="at least","open","within")`)
	verdict := "[" + id + "_verdict]"
	w.further("rates",
		live(id, "against\n"+name, inWords, `IF(OR(cyl.readable=0,`+limit+`=""),"",`+bounded+`)`),
		live(id+"_verdict", "so", inWords, judged),
		live(id+"_finding", "finding", inWords, `IF(`+verdict+`="fail","`+code+`",IF(AND(`+verdict+`="undecided",[`+id+
			`]="open",cyl.kind<>"at least"),"close-to-limit",""))`))
	w.further("rates", spaces(id, 1)...)
	w.decisions = append(w.decisions, limitDecision{"rates", id + "_verdict", id + "_finding"})
}

// ratioKind is a ratio that limits may be given for: to what, who are its
// members, and the formula that finds them.
type ratioKind struct{ id, to, members, member string }

// figure is the name of a figure of the reference.
func (k ratioKind) figure(suffix string) string { return k.id + "_" + suffix }

// table is the name of its table.
func (k ratioKind) table() string { return "to" + k.id }

// againstRatio holds the ratios to one reference against their limit.
func (w *working) againstRatio(k ratioKind) {
	w.begin("Against the limit of the ratio to "+k.to,
		"The reference is the mean of its members: "+k.members+". It proves nothing where one of them is an upper bound. "+
			"The cylinder that is the reference itself has ratio 1 without doubt.",
		"u = ratio × root of ((own part ÷ rate)² + (own part of the reference ÷ its rate)²)")
	w.table(k.table(), len(w.r.Cylinders), w.cylinders(), live("member", "in the\nreference?", asCount, k.member))
	members := k.table() + "[member]"
	w.figures(
		one{k.figure("members"), "members of the reference", "", `SUM(` + members + `)`, asCount, ""},
		one{k.figure("referent"), "the reference", "mL/min", `IF(` + k.figure("members") + `=0,"",SUMPRODUCT(` + members +
			`,mean[number])/` + k.figure("members") + `)`, asRate, ""},
		one{k.figure("below"), "upper bounds in it", "", `SUMPRODUCT(` + members + `*(cyl[kind]="at most"))`, asCount, ""},
		one{k.figure("over"), "lower bounds in it", "", `SUMPRODUCT(` + members + `*(cyl[kind]="at least"))`, asCount, ""},
	)
	if w.isMerged() {
		w.shareRatio(k)
	} else {
		w.ownRatio(k, members)
	}
	w.ratioDecision(k)
}

// ownRatio adds the uncertainty of the ratios, as if cylinder and reference were
// independent.
func (w *working) ownRatio(k ratioKind, members string) {
	square := func(column string) string {
		return `SUMPRODUCT(` + members + `,budget[` + column + `],budget[` + column + `])`
	}
	w.figures(
		one{k.figure("sum"), "sum of its rates", "mL/min", `SUMPRODUCT(` + members + `,mean[rate])`, asRate, ""},
		one{k.figure("own"), "its own part, squared", "(mL/min)²", square("own"), asShare, ""},
		one{k.figure("repeat"), "repeatability of it, squared", "(mL/min)²", square("repeat"), asShare, ""},
		one{k.figure("common"), "common part of it, squared", "(mL/min)²",
			`IF(shared_runs=1,0,` + square("common") + `)`, asShare, "0 where the runs are shared"},
	)
	w.ratioUncertainty(k)
}

// ratioUncertainty adds the ratios and their uncertainties.
func (w *working) ratioUncertainty(k ratioKind) {
	both := func(own, reference string) string {
		return `IF([how]="with U",[ratio]*SQRT((` + own + `/mean.rate)^2+` + k.figure(reference) + `/` + k.figure("sum") + `^2),"")`
	}
	plain := func(formula string) string { return `IF([how]="with U",` + formula + `,"")` }
	w.further(k.table(), w.ratioOf(k)...)
	w.further(k.table(),
		live("u", "u", asShare, both("budget.own", "own")),
		live("repeat", "of it,\nrepeatab.", asShare, both("budget.repeat", "repeat")),
		live("common", "of it,\ncommon", asShare, both("IF(shared_runs=1,0,budget.common)", "common")),
		live("share", "estimates\nto the 4th", asShare, plain(`[repeat]^4/repeat_dof+[common]^4/8`)),
		live("dof", "ν", asCount, plain(freedom("[u]", "[share]"))),
		live("expanded", "U", asRate, plain(`TINV(0.1,[dof])*[u]`)))
}

// ratioOf is the ratios to one reference, and how each can be decided.
func (w *working) ratioOf(k ratioKind) []field {
	return []field{
		live("ratio", "ratio", asRate, `IF(OR(cyl.readable=0,`+kindOf(k.id).name+`=""),"",mean.rate/`+k.figure("referent")+`)`),
		live("how", "decided\nas", inWords, `IF([ratio]="","",IF(AND([member]=1,`+k.figure("members")+`=1),"itself",`+
			`IF(`+k.figure("below")+`>0,"not",IF(`+k.figure("over")+`=0,IF(cyl.plain=1,"with U",cyl.kind),`+
			`IF(cyl.kind="at least","not","at most")))))`),
	}
}

// ratioDecision adds the decisions about ratios.
func (w *working) ratioDecision(k ratioKind) {
	limit, over, within := kindOf(k.id).name, `"over"`, `"within"`
	w.further(k.table(),
		live("decision", "against\nits limit", inWords, `IF([how]="","",IF([how]="not","open",IF([how]="itself",`+
			decision("1", "0", limit, over, within)+`,IF([how]="with U",`+decision("[ratio]", "[expanded]", limit, over, within)+
			`,IF([how]="at least",`+decision("[ratio]", "0", limit, over, `"open"`)+`,`+
			decision("[ratio]", "0", limit, `"open"`, within)+`)))))`),
		live("verdict", "so", inWords, w.judgedApart("[decision]")),
		live("finding", "finding", inWords, `IF([verdict]="fail","over-ratio",`+
			`IF(AND([verdict]="undecided",[decision]="open"),"close-to-limit",""))`))
	w.decisions = append(w.decisions, limitDecision{k.table(), "verdict", "finding"})
}

// each joins a formula for every decision, its columns in the place of VERDICT
// and FINDING.
func (w *working) each(template, between string) string {
	all := make([]string, len(w.decisions))
	for i, d := range w.decisions {
		all[i] = strings.NewReplacer("VERDICT", d.table+"."+d.verdict, "FINDING", d.table+"."+d.finding).Replace(template)
	}
	return strings.Join(all, between)
}

package report

import (
	"strings"

	"leakback/leakback"
	"leakback/limits/quantity"
)

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
	ranked := func(rank string) string { return `SUMIF(ratio[rank],` + rank + `,mean[ordered])` }
	const lowest, highest = `MIN(mean[ordered])`, `MAX(mean[ordered])`
	for _, k := range []ratioKind{
		{kindMedian, "the median", "the middle one, or half of each of the two; equal ones share alike",
			ranked(`INT((readable_count+1)/2)`), ranked(`INT(readable_count/2)+1`), halfOfEach},
		{kindMean, "the mean", "all that can be read, alike", lowest, highest, `cyl.readable/readable_count`},
		{kindLowest, "the lowest", "the lowest; equal ones share alike", lowest, lowest, halfOfEach},
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
// members, and formulas for the lowest and the highest number among them and for
// the weight of a cylinder in the reference, FROM and TILL standing for the two.
type ratioKind struct{ id, to, members, from, till, weight string }

// halfOfEach is the weight in a reference that is the mean of two numbers, which
// may be one and the same: cylinders that have the number share it alike.
const halfOfEach = `IF(mean.ordered=FROM,0.5/SUMPRODUCT((mean[ordered]=FROM)*1),0)+IF(mean.ordered=TILL,0.5/SUMPRODUCT((mean[ordered]=TILL)*1),0)`

// figure is the name of a figure of the reference.
func (k ratioKind) figure(suffix string) string { return k.id + "_" + suffix }

// table is the name of its table.
func (k ratioKind) table() string { return "to" + k.id }

// in puts the names of its figures in the place of FROM and so on.
func (k ratioKind) in(formula string) string {
	return strings.NewReplacer("FROM", k.figure("from"), "TILL", k.figure("till"), "RISES", k.figure("rises"),
		"FALLS", k.figure("falls"), "REFERENT", k.figure("referent"), "TABLE", k.table(),
		"LEAST", quantity.Plain(leakback.LeastReferenceMLMin, -1)).Replace(formula)
}

// noTop stands for the upper end of a lower bound, which has none.
const noTop = `10^15`

// bottom and top are where a cylinder's rate can lie, before or after rounding.
func bottom(rate string) string { return whenReadable(`IF(cyl.kind="at most",0,` + rate + `)`) }
func top(rate string) string {
	return whenReadable(`IF(cyl.kind="at least",` + noTop + `,` + rate + `)`)
}

// againstRatio holds the ratios to one reference against their limit.
func (w *working) againstRatio(k ratioKind) {
	w.begin("Against the limit of the ratio to "+k.to,
		"The reference is the mean of its members: "+k.members+". A bound that may lie on the other side of it leaves open how large "+
			"it is: what may be larger proves nothing over, what may be smaller nothing within. The cylinder that is the reference by itself has ratio 1 without doubt.",
		"u = ratio × root of ((own part ÷ rate)² + (own part of the reference ÷ its rate)²)")
	w.figures(
		one{k.figure("from"), "lowest number in the reference", "mL/min", `IF(readable_count=0,"",` + k.from + `)`, asShare, ""},
		one{k.figure("till"), "highest number in it", "mL/min", `IF(readable_count=0,"",` + k.till + `)`, asShare, ""})
	w.gap()
	w.table(k.table(), len(w.r.Cylinders), w.cylinders(),
		live("weight", "weight in\nreference", asRate, `IF(cyl.readable=0,0,`+k.in(k.weight)+`)`),
		live("bottom", "at least,\nrounded", asShare, bottom(`ROUND(mean.rate,6)`)),
		live("top", "at most,\nrounded", asShare, top(`ROUND(mean.rate,6)`)))
	w.figures(
		one{k.figure("referent"), "the reference", "mL/min", k.in(`IF(readable_count=0,"",SUMPRODUCT(TABLE[weight],mean[number]))`), asRate, ""},
		one{k.figure("falls"), "may it be smaller? 1 yes", "",
			k.in(`IF(readable_count=0,0,IF(FROM<LEAST,1,IF(SUMPRODUCT((cyl[kind]="at most")*(mean[ordered]>=FROM))>0,1,0)))`), asCount, "upper bounds in it or above; or too small"},
		one{k.figure("rises"), "may it be larger? 1 yes", "", k.in(`IF(readable_count=0,0,IF(FROM<LEAST,1,IF(SUMPRODUCT((cyl[kind]="at least")*(mean[ordered]<=TILL))+` +
			`SUMPRODUCT((cyl[kind]="at most")*(mean[ordered]<=TILL)*(TABLE[top]>FROM))>0,1,0)))`), asCount, "bounds in it or below; or too small"},
	)
	if w.isMerged() {
		w.shareRatio(k)
	} else {
		w.ownRatio(k)
	}
	w.ratioDecision(k)
}

// ownRatio adds the uncertainty of the ratios, as if cylinder and reference were
// independent.
func (w *working) ownRatio(k ratioKind) {
	square := func(column string) string {
		return k.in(`SUMPRODUCT(TABLE[weight],TABLE[weight],budget[` + column + `],budget[` + column + `])`)
	}
	w.figures(
		one{k.figure("own"), "its own part, squared", "(mL/min)²", square("own"), asShare, "a bound has none"},
		one{k.figure("repeat"), "repeatability of it, squared", "(mL/min)²", square("repeat"), asShare, ""},
		one{k.figure("common"), "common part of it, squared", "(mL/min)²",
			`IF(shared_runs=1,0,` + square("common") + `)`, asShare, "0 where the runs are shared"},
	)
	w.ratioUncertainty(k)
}

// ratioUncertainty adds the ratios and their uncertainties.
func (w *working) ratioUncertainty(k ratioKind) {
	both := func(own, reference string) string {
		return k.in(`IF([how]="with U",[ratio]*SQRT(IF(cyl.plain=1,(` + own + `/mean.rate)^2,0)+` + k.figure(reference) + `/REFERENT^2),"")`)
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
		live("ratio", "ratio", asRate, k.in(`IF(OR(cyl.readable=0,`+kindOf(k.id).name+`=""),"",mean.rate/REFERENT)`)),
		live("how", "decided\nas", inWords, k.in(`IF([ratio]="","",IF(AND(ROUND([weight],6)=1,SUMPRODUCT((TABLE[bottom]<[top])*`+
			`(TABLE[top]>[bottom])*(cyl[readable]=1)*(cyl[cylinder]<>[cylinder]))=0),"itself",IF(AND(OR(cyl.kind="at most",RISES=1),OR(cyl.kind="at least",FALLS=1)),`+
			`"not","with U")))`)),
	}
}

// ratioDecision adds the decisions about ratios.
func (w *working) ratioDecision(k ratioKind) {
	limit := kindOf(k.id).name
	over := `IF(OR(cyl.kind="at most",RISES=1),"open","over")`
	within := `IF(OR(cyl.kind="at least",FALLS=1),"open","within")`
	w.further(k.table(),
		live("decision", "against\nits limit", inWords, k.in(`IF([how]="","",IF([how]="not","open",IF([how]="itself",`+
			decision("1", "0", limit, `"over"`, `"within"`)+`,`+decision("[ratio]", "[expanded]", limit, over, within)+`)))`)),
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

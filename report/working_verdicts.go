package report

import (
	"strings"

	"leakback/leakback"
)

// verdicts are those of the cylinders, then of the test.
func (w *working) verdicts() {
	w.begin("The verdict of each cylinder",
		"The worst of what the limits and the comparison say. A lower bound never passes; an unsteady cylinder does not pass.", "")
	place, unsteady := `"none"`, `0`
	if w.compares() {
		place = `places.place`
	}
	if w.repeated() {
		unsteady = `steady.unsteady`
	}
	worst := `IF(cyl.readable=0,"unread",IF(` + w.unjudged() + `,"undecided",IF(OR([limits]="fail",[set]="fail"),"fail",` +
		`IF(OR([limits]="undecided",[set]="undecided",cyl.kind="at least",[unsteady]=1),"undecided","pass"))))`
	w.table("verdict", len(w.r.Cylinders), w.cylinders(),
		live("limits", "limits say", inWords, whenReadable(w.limitsSay())),
		live("spoke", "held to\na limit?", asCount, w.limitSpoke()),
		live("place", "place in\nthe set", inWords, whenReadable(place)),
		live("set", "the set\nsays", inWords, w.setSays()),
		live("unsteady", "unsteady?", asCount, unsteady),
		live("verdict", "verdict", inWords, worst),
		live("findings", "findings", inWords, `IF(OR(cyl.readable=0,`+w.unjudged()+`),"",MID(`+w.findingsJoined()+`,2,250))`),
	)
	w.testFindings()
}

// unjudged is a condition in which no cylinder is judged.
func (w *working) unjudged() string {
	if w.isMerged() {
		return `OR(not_judged=1,pressure_apart=1)`
	}
	return `not_judged=1`
}

// limitsSay is the worst verdict of all decisions against limits.
func (w *working) limitsSay() string {
	if len(w.decisions) == 0 {
		return `"pass"`
	}
	return `IF(OR(` + w.each(`VERDICT="fail"`, ",") + `),"fail",IF(OR(` + w.each(`VERDICT="undecided"`, ",") +
		`),"undecided","pass"))`
}

// limitSpoke is whether a limit on the high side is held against single cylinders.
func (w *working) limitSpoke() string {
	var applied []string
	for _, id := range []string{kindMost, kindMedian, kindMean, kindLowest} {
		if w.gives(id) {
			applied = append(applied, `ISNUMBER(`+kindOf(id).name+`)`)
		}
	}
	if len(applied) == 0 {
		return `0`
	}
	return `IF(OR(` + strings.Join(applied, ",") + `),1,0)`
}

// setSays is what the comparison says, with the absolute maximum in mind.
func (w *working) setSays() string {
	most, unsure, disagrees := `"pass"`, `0`, `0`
	if w.gives(kindMost) {
		most = `rates.most_verdict`
	}
	if w.compares() {
		unsure, disagrees = `places.unsure`, `IF(set_disagrees=1,1,0)`
	}
	fail, within := `IF(DOUBT=1,"undecided","fail")`, `IF(AND(DOUBT=1,within_limit="fail"),"undecided",within_limit)`
	fail, within = strings.ReplaceAll(fail, "DOUBT", w.doubt()), strings.ReplaceAll(within, "DOUBT", w.doubt())
	return strings.NewReplacer("MOST", most, "UNSURE", unsure, "DISAGREES", disagrees, "FAIL", fail, "WITHIN", within).Replace(
		`IF([place]="","",IF([place]="high",IF(UNSURE=1,"undecided",IF(has_max=0,FAIL,IF(MOST<>"pass","undecided",WITHIN))),` +
			`IF([place]="hint",IF(AND(has_max=1,MOST="pass",within_limit="pass"),"pass","undecided"),` +
			`IF([place]="low","undecided",IF([place]="fine",IF(AND(DISAGREES=1,has_max=0),"undecided","pass"),` +
			`IF([spoke]=1,"pass","undecided"))))))`)
}

// findingsJoined is the codes of a cylinder's findings in their order, each once,
// with a semicolon before each.
func (w *working) findingsJoined() string {
	var terms []string
	for i, d := range w.decisions {
		one := d.table + "." + d.finding
		silent := one + `=""`
		for _, before := range w.decisions[:i] {
			silent += "," + one + "=" + before.table + "." + before.finding
		}
		terms = append(terms, `IF(OR(`+silent+`),"",";"&`+one+`)`)
	}
	return strings.Join(append(terms,
		`IF([place]="high",";high-in-set",IF([place]="hint",";close-in-set",IF([place]="low",";low-in-set","")))`,
		`IF(cyl.over>0,";over-range","")`,
		`IF(cyl.zero>0,";no-return","")`,
		`IF(cyl.below-cyl.zero>0,";below-first-mark","")`,
		`IF([unsteady]=1,";unsteady","")`), "&")
}

// finding is one row of the test's findings: what it is about, and formulas for
// its code and the verdict that it makes.
type finding struct{ about, code, verdict string }

// makesNothing is the verdict of a finding that makes none by itself.
const makesNothing = `""`

// judging is a formula for tests in which anything is judged.
func judging(formula string) string { return `IF(not_judged=1,"",` + formula + `)` }

// findings are what may be found of the test, in the order of the results.
func (w *working) findings() []finding {
	all := []finding{{"back-pressure", `IF(not_judged=1,"back-pressure","")`, `IF([code]="","","undecided")`}}
	switch {
	case w.isMerged():
		all = append(all, finding{"rail pressure, held", `IF(pressure_apart=1,"pressure-not-held","")`, makesNothing},
			finding{"what does not add up", `IF(other_return=1,"other-return","")`, `IF([code]="","","undecided")`})
	case w.repeated():
		all = append(all, finding{"drift over the runs", `IF(drift_unknown=1,"sequential","")`, makesNothing})
	}
	if len(w.limits) > 0 {
		all = append(all, stateFindings()...)
	}
	for _, what := range []string{kindTotal, kindDifference} {
		if w.gives(what) {
			one := spanFinding(what)
			if w.r.Test.Method == leakback.MethodTotal {
				one.code = `IF(readable_count=0,"",` + one.code + `)`
			}
			all = append(all, one)
		}
	}
	if w.r.Test.Method == leakback.MethodTotal {
		return append(all, w.totalAloneFinding())
	}
	return append(all, w.setFindings()...)
}

// stateFindings are about the recorded state.
func stateFindings() []finding {
	outside := func(row string) string {
		return `IF(INDEX(state[below],` + row + `)+INDEX(state[above],` + row + `)>0,"outside-limit-state","")`
	}
	return []finding{
		{"rail pressure, recorded", `IF(MAX(state[unknown])=1,"state-unknown","")`, makesNothing},
		{"rail pressure, the limit's", outside("1"), makesNothing},
		{"fuel temperature, the limit's", outside("2"), makesNothing},
		{"engine speed, the limit's", outside("3"), makesNothing},
		{"injectors, recorded", `IF(injectors_unknown=1,"state-unknown","")`, makesNothing},
		{"crank pattern, the limit's", `IF(cranks_differ=1,"other-crank-pattern","")`, makesNothing},
	}
}

// spanFinding is about the total or the largest difference.
func spanFinding(what string) finding {
	return finding{"the " + what,
		strings.ReplaceAll(judging(`IF(WHAT_verdict="fail","over-WHAT",`+
			`IF(AND(WHAT_verdict="undecided",WHAT_decision="open"),"close-to-WHAT",""))`), "WHAT", what),
		strings.ReplaceAll(judging(`IF(WHAT_verdict="pass","",WHAT_verdict)`), "WHAT", what)}
}

// setFindings are about the comparison, and about how limits and set meet.
func (w *working) setFindings() []finding {
	all := []finding{{"the comparison", judging(`"few-cylinders"`), makesNothing}}
	if w.compares() {
		all = []finding{
			{"the comparison", judging(`IF(compared_with="nothing","few-cylinders",IF(compared_with="first mark","too-little-return",` +
				`IF(set_disagrees=1,"no-consensus","")))`), `IF([code]="no-consensus","undecided","")`},
			{"half of the set", judging(`IF(half_aside=1,"half-set","")`), makesNothing}}
	}
	if w.gives(kindMost) {
		all = append(all, finding{"two thirds over the limit", judging(`IF(` + w.unjudged() + `,"",IF(AND(readable_count>0,` +
			`3*SUMPRODUCT((rates[most_finding]="over-limit")*1)>=2*readable_count),"set-together-high",""))`), makesNothing})
	}
	if w.unknownTime {
		all = append(all, finding{"the length of the collection", judging(`"no-interval"`), makesNothing})
	}
	return append(all, finding{"an absolute maximum", judging(`IF(has_max=0,"no-absolute-limit","")`), makesNothing})
}

// testFindings are the findings and the verdict of the test.
func (w *working) testFindings() {
	w.begin("The verdict of the test",
		"The worst of its cylinders' and of its own findings'. A total or difference that the recorded state takes away counts as "+
			"undecided.", "")
	w.findingsTable()
	count := func(verdict string) string {
		return `SUMPRODUCT((verdict[verdict]="` + verdict + `")*1)+SUMPRODUCT((test[verdict]="` + verdict + `")*1)>0`
	}
	w.figures(one{"test_verdict", "verdict of the test", "", `IF(` + count("fail") + `,"fail",IF(` + count("undecided") +
		`,"undecided",IF(` + count("unread") + `,"unread","pass")))`, inWords, ""})
}

// findingsTable is the findings of the test, each once.
func (w *working) findingsTable() {
	all := w.findings()
	fields := []field{fixedCount("row", "row", func(i int) int { return i + 1 }),
		fixedWords("about", "about", func(i int) string { return all[i].about })}
	fields = append(fields, spaces("about", 2)...)
	fields = append(fields, liveOf("code", "finding", inWords, func(i int) string { return all[i].code }))
	fields = append(fields, spaces("code", 1)...)
	w.table("test", len(all), append(fields,
		liveOf("verdict", "makes it", inWords, func(i int) string { return all[i].verdict }),
		liveOf("joined", "findings so far", inWords, joinedSoFar))...)
	w.figures(one{"test_findings", "findings of the test", "", `MID(INDEX(test[joined],COUNT(test[row])),2,250)`, inWords, ""})
}

// joinedSoFar adds a row's code to those above, unless it stands there already.
func joinedSoFar(i int) string {
	if i == 0 {
		return `IF([code]="","",";"&[code])`
	}
	return `IF([code]="",[up:joined],IF(MATCH([code],test[code],0)<[row],[up:joined],[up:joined]&";"&[code]))`
}

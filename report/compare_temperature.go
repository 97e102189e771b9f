package report

import (
	"fmt"
	"math"
	"strings"

	"leakback/leakback/repair"
	"leakback/report/formula"
)

// temperature is the change over the exponent m of the temperature, at both its
// ends and half-way.
func (c *comparison) temperature() {
	id := c.id
	c.begin("Temperature, "+c.page.pairName(c.pair),
		"At the earlier test's temperature the later rate would be the one measured times scale to the power m, where m is not known: 0 for a leak that does not "+
			"follow the viscosity (a damaged seat), 1 for one that goes with 1/viscosity (clearances). The cylinders that agree are taken to leak through clearances: a ratio to them goes with "+
			"scale to the power m − 1. Nothing is corrected: what is decided must hold from m = 0 to m = 1. Every decision is monotone in m, so that the two ends tell.",
		"scale = viscosity after ÷ viscosity before")
	c.figures(
		one{id + "_scale", "scale", "", fmt.Sprintf(`IF(AND(ISNUMBER(fuel_t%[1]d_viscosity),ISNUMBER(fuel_t%[2]d_viscosity)),fuel_t%[2]d_viscosity/fuel_t%[1]d_viscosity,1)`,
			c.pair.From+1, c.pair.To+1), asShare, ""},
		one{id + "_kelvin", "temperatures apart by", "K", fmt.Sprintf(`IF(AND(ISNUMBER(fuel_t%[1]d_temp),ISNUMBER(fuel_t%[2]d_temp)),ABS(fuel_t%[2]d_temp-fuel_t%[1]d_temp),"")`,
			c.pair.From+1, c.pair.To+1), asRate, "more than 5 K count as apart"})
	if len(rangedOver(c.pair)) == 0 && c.pair.Total.Range == nil {
		c.say("The temperatures lie together: rates are compared as they were measured.", workNote)
		return
	}
	c.limits()
	c.say("The change of the rate at m = 1; at m = 0 it is as measured:", workNote)
	c.shift("rate_m1", shiftOf{before: "before", after: "after", times: id + "_scale"})
	c.say("The change of the ratio at m = 0; at m = 1 it is as measured:", workNote)
	c.shift("set_m0", shiftOf{table: "_set.", before: "before", after: "after", times: "1/" + id + "_scale"})
}

// limits holds the later rate, at the earlier test's temperature, against the
// maximum, and says at which exponents a decision changes.
func (c *comparison) limits() {
	in := func(formula string) string { return strings.ReplaceAll(formula, "PAIR", c.id) }
	rows := c.changes()
	maximum := func(i int) string {
		r := rows[i].Range
		if r == nil || math.IsNaN(r.MaxMLMin) {
			return `""`
		}
		return c.maximum(rows[i])
	}
	decided := func(times string) string {
		return strings.ReplaceAll(in(`IF(OR([most]="",PAIR.after=""),"",`+
			`IF(AND(PAIR.after_kind<>"at most",ROUND(PAIR.after*TIMES-[expanded]*TIMES,6)>ROUND([most],6)),"over",`+
			`IF(AND(PAIR.after_kind<>"at least",ROUND(PAIR.after*TIMES+[expanded]*TIMES,6)<ROUND([most],6)),"within","open")))`), "TIMES", times)
	}
	crossing := func(of string) string {
		return in(`IF(AND(ISNUMBER([most]),ISNUMBER(PAIR.after),PAIR_scale<>1),IF(` + of + `>0,LN([most]/(` + of + `))/LN(PAIR_scale),""),"")`)
	}
	c.table(c.id+"_over", len(rows), c.cylinderColumn(),
		live("zero", "m = 0\nmL/min", asRate, in(`PAIR.after`)),
		live("half", "m = 1/2\nmL/min", asRate, in(`IF(ISNUMBER(PAIR.after),PAIR.after*PAIR_scale^0.5,"")`)),
		live("one", "m = 1\nmL/min", asRate, in(`IF(ISNUMBER(PAIR.after),PAIR.after*PAIR_scale,"")`)),
		liveOf("most", "limit\nmL/min", asEntered, maximum),
		live("expanded", "U, one-\nsided", asRate, in(`IF(AND(PAIR.after_kind="plain",ISNUMBER(PAIR.after_u)),TINV(0.1,PAIR.after_dof)*PAIR.after_u,0)`)),
		live("limit0", "at m = 0", inWords, decided(`1`)),
		live("limit1", "at m = 1", inWords, decided(c.id+`_scale`)),
		live("within", "within the\nlimit at m", asRate, crossing(in(`PAIR.after+[expanded]`))),
		live("over", "over it\nat m", asRate, crossing(in(`PAIR.after-[expanded]`))))
	c.say("The last two columns are the exponents at which rate + U and rate − U meet the limit; outside 0 to 1 they do not count.", workNote)
}

// maximum is the maximum that a later rate is held against at the earlier test's
// temperature: that of the later test, else of the earlier one.
func (c *comparison) maximum(change *repair.Change) string {
	name := "applied_max"
	if change.Cylinder == 0 {
		name = "applied_total"
	}
	for _, side := range []int{c.pair.To, c.pair.From} {
		c.names.Within(testScope(side))
		v := c.names.Value(name)
		c.names.Within("")
		if c.live(side) && v.Kind == formula.Number && math.Abs(v.Number-change.Range.MaxMLMin) < 1e-9 {
			return testScope(side) + name
		}
	}
	return string(appendNumber(nil, change.Range.MaxMLMin))
}

// conclusion is what tells each change, and how it compares with noise.
func (c *comparison) conclusion() {
	c.begin("What the changes come to, "+c.page.pairName(c.pair),
		"More than noise at 95 % or 99 %, two-sided; where temperatures lie apart at both ends of m, and in one direction. Where that differs it depends on m.", "")
	expanded := func(of string) string {
		return strings.NewReplacer("PAIR", c.id, "OF", of).Replace(`IF(AND(PAIR.OF_kind="plain",ISNUMBER(PAIR.OF_u)),TINV(0.1,PAIR.OF_dof)*PAIR.OF_u,"")`)
	}
	rows := c.changes()
	c.table(c.id+"_so", len(rows), c.cylinderColumn(),
		c.taken("before", "verdict\nbefore", inWords, "verdict", c.pair.From),
		c.taken("after", "verdict\nafter", inWords, "verdict", c.pair.To),
		live("before_expanded", "U before,\none-sided", asRate, expanded("before")),
		live("after_expanded", "U after,\none-sided", asRate, expanded("after")),
		fixedWords("told", "told by", func(i int) string { return decidedBy(rows[i]) }),
		liveOf("direction0", "direction\nat m = 0", asCount, c.atEnd("direction", 0)),
		liveOf("direction1", "direction\nat m = 1", asCount, c.atEnd("direction", 1)),
		liveOf("level0", "level\nat m = 0", asEntered, c.atEnd("level", 0)),
		liveOf("level1", "level\nat m = 1", asEntered, c.atEnd("level", 1)),
		live("level", "more than\nnoise at", asEntered, `IF(AND(ISNUMBER([level0]),ISNUMBER([level1])),IF([direction0]=[direction1],MIN([level0],[level1]),""),"")`),
		live("words", "so", inWords, `IF(ISNUMBER([level]),IF([level]=0.99,"yes, 99 %",IF([level]=0.95,"yes, 95 %","no")),`+
			`IF(AND(ISNUMBER([level0]),ISNUMBER([level1])),"depends on m","cannot be told"))`))
}

// atEnd is a column of what tells each change, at m = 0 or m = 1: the ratio at m = 1
// and the rate at m = 0 are as measured.
func (c *comparison) atEnd(column string, m int) func(int) string {
	rows := c.changes()
	return func(i int) string {
		table := "_change"
		switch byRatio, ranged := rows[i].RatioCounts, rows[i].Range != nil; {
		case byRatio && ranged && m == 0:
			table = "_set_m0"
		case byRatio:
			table = "_set_change"
		case ranged && m == 1:
			table = "_rate_m1"
		}
		return c.id + table + "." + column
	}
}

// sameAsWritten asks whether the readings still give what the page's sentences were
// written from.
func (c *comparison) sameAsWritten() {
	c.begin("As the page was written",
		"The sentences of the page are text and do not follow a change. What they were written from is kept here, only to say whether they still hold.", "")
	pairs := c.page.pairs()
	c.pair, c.id = pairs[len(pairs)-1], pairID(len(pairs)-1)
	rows := c.changes()
	number := func(of func(*repair.Change) float64) func(int) formula.Value {
		return func(i int) formula.Value { return formula.NumOrBlank(of(rows[i])) }
	}
	in := func(formula string) string { return strings.ReplaceAll(formula, "PAIR", c.id) }
	c.table("kept", len(rows), c.cylinderColumn(),
		field{id: "before", head: "before\nmL/min", format: asRate, value: number(func(c *repair.Change) float64 { return c.Before.RateMLMin })},
		field{id: "after", head: "after\nmL/min", format: asRate, value: number(func(c *repair.Change) float64 { return c.After.RateMLMin })},
		field{id: "change", head: "change\nmL/min", format: asRate, value: number(func(c *repair.Change) float64 { return c.Rate.Value })},
		field{id: "ratio", head: "change of\nratio", format: asRate, value: number(func(c *repair.Change) float64 { return c.Ratio.Value })},
		fixedWords("words", "more than noise?", func(i int) string { return noiseWord(rows[i]) }),
		field{id: "gap"},
		live("same", "as now?", asCount, in(`IF(AND(`+near("PAIR.before", "[before]")+`,`+near("PAIR.after", "[after]")+`,`+
			near("PAIR_change.change", "[change]")+`,`+near("PAIR_set_change.change", "[ratio]")+`,PAIR_so.words=[words]),1,0)`)))
	conditions := []string{`SUM(kept[same])=COUNT(kept[cylinder])`}
	for side := range c.page.Tests {
		c.names.Within(testScope(side))
		if c.names.Has("still_same") {
			conditions = append(conditions, testScope(side)+"still_same=1")
		}
		c.names.Within("")
	}
	c.keptAnswer()
	c.figures(one{"repair_same", "all as now? 1 yes", "", `IF(AND(` + strings.Join(conditions, ",") + `),1,0)`, asCount, ""})
}

// keptAnswer is the answer as it was written, which the page shows as long as it
// holds.
func (c *comparison) keptAnswer() {
	text, _ := shownAnswer(c.page)
	row, l := c.row, workNote.with(func(l *look) { l.quote, l.color = true, ink })
	c.say(text, l)
	c.pen.figure("kept_answer", 1, row, formula.Str(text))
}

// noiseWord is how a change compares with noise, in the words of the sheet.
func noiseWord(c *repair.Change) string {
	switch level := levelOf(c); {
	case math.IsNaN(level):
		return "cannot be told"
	case c.Range != nil && !settled(c):
		return "depends on m"
	case level == repair.Certain:
		return "yes, 99 %"
	case level == repair.Likely:
		return "yes, 95 %"
	}
	return "no"
}

// settled says whether the direction of a change does not depend on the exponent.
func settled(c *repair.Change) bool {
	_, yes := c.Direction()
	return yes
}

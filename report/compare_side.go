package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/report/formula"
)

// orNothing is a formula with nothing where it gives no number.
func orNothing(of string) string { return `IF(ISNUMBER(` + of + `),` + of + `,"")` }

// valueOf is a column of one figure of each cylinder and of the whole return.
func valueOf(id, head, format string, values []float64) field {
	return field{id: id, head: head, format: format, value: func(i int) formula.Value { return formula.NumOrBlank(values[i]) }}
}

// side is what is taken from one test: rates, and ratios to the cylinders that
// agree, each with its uncertainty. Cylinder 0 is the whole return.
func (c *comparison) side(side int) {
	c.begin(fmt.Sprintf("Test %d: %s", side+1, c.page.label(side)),
		"Rates, standard uncertainties u and degrees of freedom ν as the test's working has them. Ratios are to the cylinders that agree; their u is "+
			"made of own parts only, of the cylinder and of those that agree, because what a run does to all of them cancels. Cylinder 0 is the whole return.",
		"u of a ratio = ratio × root of ((own ÷ rate)² + relative²);   its ν = own⁴ ÷ (u⁴ ÷ ν − common⁴ ÷ 8)")
	if c.live(side) {
		c.sideLive(side)
		return
	}
	c.sideFigures(side)
}

// sideFigures are the figures of the program.
func (c *comparison) sideFigures(side int) {
	all := c.figuresOf(side)
	of := func(one func(*repair.Figures) float64) []float64 {
		values := make([]float64, len(all))
		for i := range all {
			values[i] = one(&all[i].figures)
		}
		return values
	}
	c.table(sideTable(side), len(all),
		fixedCount("cylinder", "cylinder", func(i int) int { return all[i].cylinder }),
		valueOf("rate", "rate\nmL/min", asRate, of(func(f *repair.Figures) float64 { return f.RateMLMin })),
		fixedWords("kind", "known as", func(i int) string { return kindOfFigures(&all[i].figures) }),
		valueOf("u", "u\nmL/min", asRate, of(func(f *repair.Figures) float64 { return f.UMLMin })),
		valueOf("dof", "ν", asCount, of(func(f *repair.Figures) float64 { return f.DoF })),
		valueOf("ratio", "ratio", asRate, of(func(f *repair.Figures) float64 { return f.RatioToConsensus })),
		valueOf("ratio_u", "its u", asShare, of(func(f *repair.Figures) float64 { return f.RatioU })),
		valueOf("ratio_dof", "its ν", asRate, of(func(f *repair.Figures) float64 { return f.RatioDoF })),
		fixedWords("verdict", "verdict", func(i int) string { return all[i].figures.Verdict.String() }))
}

// ofSide is what one test says of a cylinder.
type ofSide struct {
	cylinder int
	figures  repair.Figures
}

// figuresOf are the figures of a test as the comparison has them, the whole
// return last.
func (c *comparison) figuresOf(side int) []ofSide {
	var all []ofSide
	for i := range c.page.Comparison.Steps {
		p := &c.page.Comparison.Steps[i]
		for _, change := range append(slices.Clone(p.Cylinders), p.Total) {
			f, its := change.Before, p.From == side
			if p.To == side {
				f, its = change.After, true
			}
			has := change.Cylinder == 0 || cylinder(c.page.Tests[side].Result, change.Cylinder) != nil
			if its && has {
				all = append(all, ofSide{change.Cylinder, f})
			}
		}
		if len(all) > 0 {
			return all
		}
	}
	return all
}

// kindOfFigures is the word of the working for what is known of a cylinder.
func kindOfFigures(f *repair.Figures) string {
	switch {
	case !f.Read():
		return "unread"
	case f.Bound == leakback.AtLeast:
		return "at least"
	case f.Bound == leakback.AtMost:
		return "at most"
	}
	return "plain"
}

// liveSide are the formulas that take a test's figures from its working.
type liveSide struct {
	r     *leakback.Result
	table string
	scope string
	// own is the part of a cylinder's uncertainty that is its own, and shared asks
	// whether what the runs have in common is apart from it.
	own, shared string
}

func (c *comparison) liveSide(side int) liveSide {
	s := liveSide{r: c.page.Tests[side].Result, table: sideTable(side), scope: testScope(side),
		own: `TEST_budget.own`, shared: `TEST_shared_runs=1`}
	if s.r.Test.Method != leakback.MethodIndividual {
		s.own, s.shared = `TEST_budget.repeat`, `1=1`
		if s.r.Has(leakback.Sequential) || !math.IsNaN(s.r.DriftPerRun) {
			s.own, s.shared = `TEST_budget.standard`, `1=0`
		}
	}
	return s
}

// in puts the names of the test and its table into a formula.
func (s liveSide) in(formula string) string {
	return strings.NewReplacer("TEST_", s.scope, "TABLE", s.table).Replace(formula)
}

// each is a formula of every cylinder, and another of the whole return.
func (s liveSide) each(formula, whole string) func(int) string {
	return func(i int) string {
		if i == len(s.r.Cylinders) {
			return s.in(whole)
		}
		return s.in(formula)
	}
}

// total is a formula that stands where the whole return is a figure.
func (s liveSide) total(formula string) string {
	return `IF(ISNUMBER(TEST_total_rate),IF(ISNUMBER(TEST_total_shown),` + formula + `,""),"")`
}

// compared is a formula for engines with cylinders enough to compare, or another.
func (s liveSide) compared(formula, otherwise string) string {
	if len(s.r.Cylinders) < fewestCompared {
		return otherwise
	}
	return formula
}

// cylinder is the number of the i-th row, 0 for the whole return.
func (s liveSide) cylinder(i int) int {
	if i == len(s.r.Cylinders) {
		return 0
	}
	return s.r.Cylinders[i].Cylinder
}

// sideLive are formulas on the working of a test.
func (c *comparison) sideLive(side int) {
	s := c.liveSide(side)
	c.table(s.table, len(s.r.Cylinders)+1, fixedCount("cylinder", "cylinder", s.cylinder),
		liveOf("rate", "rate\nmL/min", asRate, s.each(orNothing(`TEST_mean.rate`), s.total(`TEST_total_rate`))),
		liveOf("kind", "known as", inWords, s.each(`TEST_cyl.kind`, `IF(ISNUMBER([rate]),"plain","unread")`)),
		liveOf("u", "u\nmL/min", asRate, s.each(orNothing(`TEST_budget.standard`), s.total(`TEST_total_standard`))),
		liveOf("dof", "ν", asCount, s.each(`IF(ISNUMBER([u]),TEST_budget.dof,"")`, s.total(`TEST_total_dof`))),
		liveOf("own", "own part\nmL/min", asRate, s.each(`IF([kind]="plain",`+s.own+`,"")`, `""`)),
		liveOf("agrees", "agrees?", asCount, s.each(s.compared(
			`IF(AND(ISNUMBER(TEST_places.ratio),TEST_places.low=0,TEST_places.high=0),1,0)`, `0`), `0`)),
		live("known", "of them\nknown", asCount, `IF(AND([agrees]=1,ISNUMBER([own])),1,0)`),
		live("part", "(own÷rate)²", asShare, `IF([known]=1,([own]/[rate])^2,0)`))
	c.figures(
		one{s.table + "_usable", "ratios can be taken? 1 yes", "", s.in(s.compared(`IF(AND(TEST_agreeing_count>0,`+
			`SUMPRODUCT((TEST_test[code]="no-consensus")*1)+SUMPRODUCT((TEST_test[code]="too-little-return")*1)=0),1,0)`, `0`)), asCount, "a consensus there is"},
		one{s.table + "_relative", "relative u of those that agree", "",
			s.in(`SQRT(SUM(TABLE[part])/MAX(1,SUM(TABLE[known]))/MAX(1,SUM(TABLE[agrees])))`), asShare, ""})
	c.sideRatios(s)
}

// sideRatios are the ratios of a test to the cylinders that agree.
func (c *comparison) sideRatios(s liveSide) {
	c.further(s.table,
		liveOf("ratio", "ratio", asRate, s.each(s.compared(
			`IF(AND(TABLE_usable=1,ISNUMBER(TEST_places.ratio)),IF([kind]="at most",2,1)*TEST_places.ratio,"")`, `""`), `""`)),
		live("ratio_u", "its u", asShare, s.in(`IF(AND(ISNUMBER([ratio]),ISNUMBER([own])),[ratio]*SQRT(([own]/[rate])^2+TABLE_relative^2),"")`)),
		liveOf("rest", "u⁴÷ν less\ncommon", asShare, s.each(
			`IF(ISNUMBER([ratio_u]),[u]^4/[dof]-IF(`+s.shared+`,TEST_budget.common^4/8,0),"")`, `""`)),
		live("ratio_dof", "its ν", asRate, `IF(ISNUMBER([rest]),IF([rest]<=0,10000,MIN(10000,MAX(1,[own]^4/[rest]))),"")`),
		liveOf("verdict", "verdict", inWords, s.each(`TEST_verdict.verdict`, `""`)))
}

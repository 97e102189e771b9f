package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/report/formula"
)

// sheetComparison is the sheet that holds the tests of a repair against one
// another in live formulas.
const sheetComparison = "Comparison"

// comparison is that sheet in the making. It has the grid, the tables and the
// figures of the working, and starts from those of each test.
type comparison struct {
	*working
	page *RepairPage
	// pair is the one that is being written, and id what formulas call it.
	pair *repair.Pair
	id   string
}

// testScope is what stands before the names of a test's working, by its place.
func testScope(side int) string { return fmt.Sprintf("t%d_", side+1) }

// sideTable is the table of a test's figures on the sheet.
func sideTable(side int) string { return fmt.Sprintf("side%d", side+1) }

// pairID is what formulas call the i-th pair, from 0.
func pairID(i int) string { return fmt.Sprintf("pair%d", i+1) }

// comparisonSheet writes the sheet.
func (b *book) comparisonSheet(p *RepairPage) {
	c := &comparison{page: p, working: &working{pen: pen{b, sheetComparison}, r: p.last().Result, row: 1, tables: map[string]*laid{}}}
	c.widths(slices.Repeat([]float64{gridWidth}, gridColumns)...)
	c.opening()
	for side := range p.Tests {
		c.side(side)
	}
	c.fuel()
	for i, pair := range p.pairs() {
		c.pair, c.id = pair, pairID(i)
		c.ofPair()
	}
	c.sameAsWritten()
	c.closing(&Page{Result: p.last().Result, Version: p.Version, Job: p.job()})
}

// opening is the title and how to read the sheet.
func (c *comparison) opening() {
	c.text(1, 1, sheetComparison, body.with(func(l *look) {
		l.size, l.bold, l.color, l.wrap, l.valign = 16, true, accent, false, "center"
	}))
	c.next(gridTitle)
	c.say("Every test has its own sheets "+sheetReadings+", "+sheetLimits+" and "+sheetWorking+" with its number behind the name. The figures here are "+
		"live formulas that start from those workings, and so from the readings: change a reading there and everything follows. "+
		"Names in formulas that begin with t1_ are those of the working of test 1. Which cylinders there are, whether rates or ratios tell a "+
		"change, and the reasons in words are structure and text, and do not follow; the page shows its answer as long as that holds.", workNote)
	for i := range c.page.Tests {
		c.say(fmt.Sprintf("Test %d is %s", i+1, c.page.testLine(i))+". "+c.sideNote(i), workNote)
	}
}

// sideNote says where the figures of a test come from, where that is not its
// working.
func (c *comparison) sideNote(side int) string {
	if c.live(side) {
		return ""
	}
	return "Its working is not in live formulas, or no interval is known: its rates, uncertainties and degrees of freedom below are figures of the program."
}

// live says whether a test's figures are formulas on its working.
func (c *comparison) live(side int) bool {
	r := c.page.Tests[side].Result
	return liveRates(r) && !r.Has(leakback.BackPressure)
}

// rowOf is the place of a cylinder in the table of a test, from 1; 0 where the test
// does not have it.
func (c *comparison) rowOf(side, cylinder int) int {
	for i, f := range c.figuresOf(side) {
		if f.cylinder == cylinder {
			return i + 1
		}
	}
	return 0
}

// taken is a column of a pair that takes a column of one of its tests.
func (c *comparison) taken(id, head, format, column string, side int) field {
	rows := c.changes()
	return liveOf(id, head, format, func(i int) string {
		at := c.rowOf(side, rows[i].Cylinder)
		if at == 0 {
			if column == "kind" || column == "verdict" {
				return `"unread"`
			}
			return `""`
		}
		cell := fmt.Sprintf("INDEX(%s[%s],%d)", sideTable(side), column, at)
		if format == inWords {
			return cell
		}
		return orNothing(cell)
	})
}

// changes are those of the pair, the whole return last.
func (c *comparison) changes() []*repair.Change {
	var list []*repair.Change
	for i := range c.pair.Cylinders {
		list = append(list, &c.pair.Cylinders[i])
	}
	return append(list, &c.pair.Total)
}

// cylinderColumn is the column of cylinder numbers of a pair's tables.
func (c *comparison) cylinderColumn() field {
	rows := c.changes()
	return fixedCount("cylinder", "cylinder", func(i int) int { return rows[i].Cylinder })
}

// ofPair is one test held against an earlier one.
func (c *comparison) ofPair() {
	c.rates()
	c.ratios()
	if !math.IsNaN(c.pair.Temperature.Scale()) {
		c.temperature()
	}
	c.conclusion()
}

// rates are the rates of both tests and their change.
func (c *comparison) rates() {
	c.begin("Rates, "+c.page.pairName(c.pair),
		"The difference of two independent means, after less before. Of a bound only a bound of the change is known: 1 at least, −1 at most.",
		"u = root of (u before² + u after²);   ν = (u before² + u after²)² ÷ (u before² ÷ √ν before + u after² ÷ √ν after)², cut to a whole number")
	c.table(c.id, len(c.changes()), c.cylinderColumn(),
		c.taken("before", "before\nmL/min", asRate, "rate", c.pair.From),
		c.taken("before_u", "u", asRate, "u", c.pair.From),
		c.taken("before_dof", "ν", asCount, "dof", c.pair.From),
		c.taken("before_kind", "known as", inWords, "kind", c.pair.From),
		c.taken("after", "after\nmL/min", asRate, "rate", c.pair.To),
		c.taken("after_u", "u", asRate, "u", c.pair.To),
		c.taken("after_dof", "ν", asCount, "dof", c.pair.To),
		c.taken("after_kind", "known as", inWords, "kind", c.pair.To),
		live("toward", "of before", asCount, `IF([before_kind]="at least",-1,IF([before_kind]="at most",1,0))`),
		live("bound", "bound of\nthe change", asCount, `IF([after_kind]="at least",IF([toward]=-1,"",1),IF([after_kind]="at most",IF([toward]=1,"",-1),[toward]))`))
	c.gap()
	c.shift("change", shiftOf{before: "before", after: "after", times: "1"})
}

// ratios are the ratios of both tests and their change.
func (c *comparison) ratios() {
	c.begin("Ratios to the cylinders that agree, "+c.page.pairName(c.pair),
		"Temperature, pressure and speed cancel in them as far as they change all cylinders alike.", "")
	c.table(c.id+"_set", len(c.changes()), c.cylinderColumn(),
		c.taken("before", "before", asRate, "ratio", c.pair.From),
		c.taken("before_u", "u", asShare, "ratio_u", c.pair.From),
		c.taken("before_dof", "ν", asRate, "ratio_dof", c.pair.From),
		c.taken("after", "after", asRate, "ratio", c.pair.To),
		c.taken("after_u", "u", asShare, "ratio_u", c.pair.To),
		c.taken("after_dof", "ν", asRate, "ratio_dof", c.pair.To))
	c.gap()
	c.shift("set_change", shiftOf{table: "_set.", before: "before", after: "after", times: "1"})
}

// shiftOf says which figures a change is taken of: those of a table of the pair,
// the later one times something.
type shiftOf struct{ table, before, after, times string }

// shift is a table with the change of each row, its uncertainty and how it
// compares with measurement noise.
func (c *comparison) shift(name string, s shiftOf) {
	from := c.id + strings.TrimSuffix(s.table, ".") + "."
	before, after := from+s.before, from+s.after
	template := strings.NewReplacer("BEFORE", before, "AFTER", after, "TIMES", s.times, "KIND", c.id, "BOUND", c.id+".bound")
	in := func(formula string) string { return template.Replace(formula) }
	when := func(formula string) string { return `IF(ISNUMBER([change]),` + formula + `,"")` }
	exact := func(formula string) string { return `IF(ISNUMBER([t]),` + formula + `,"")` }
	c.table(c.id+"_"+name, len(c.changes()), c.cylinderColumn(),
		live("after", "after, as\ncompared", asRate, in(`IF(ISNUMBER(AFTER),AFTER*TIMES,"")`)),
		live("change", "change", asRate, in(`IF(AND(ISNUMBER(BEFORE),ISNUMBER([after]),ISNUMBER(BOUND)),[after]-BEFORE,"")`)),
		live("before2", "u before²", asShare, in(`IF(AND(KIND.before_kind="plain",ISNUMBER(BEFORE_u)),BEFORE_u^2,0)`)),
		live("after2", "u after²", asShare, in(`IF(AND(KIND.after_kind="plain",ISNUMBER(AFTER_u)),(AFTER_u*TIMES)^2,0)`)),
		live("u", "u", asRate, when(`SQRT([before2]+[after2])`)),
		live("rest", "for ν", asShare, in(`IF([before2]>0,[before2]/SQRT(BEFORE_dof),0)+IF([after2]>0,[after2]/SQRT(AFTER_dof),0)`)),
		live("dof", "ν", asCount, when(`IF([rest]=0,10000,MIN(10000,INT(ROUND(([before2]+[after2])^2/[rest]^2,6))))`)),
		live("t", "t", asRate, in(when(`IF(AND(BOUND=0,[u]>0),[change]/[u],"")`))),
		live("p", "p, two-\nsided", asShare, exact(`TDIST(ABS([t]),[dof],2)`)),
		live("expanded", "U at\n95 %", asRate, when(`TINV(0.05,[dof])*[u]`)),
		live("certain", "U at\n99 %", asRate, when(`TINV(0.01,[dof])*[u]`)),
		live("level", "more than\nnoise at", asEntered, in(when(`IF(OR(BOUND=0,AND(BOUND=1,[change]>0),AND(BOUND=-1,[change]<=0)),`+
			`IF(ROUND(ABS([change]),6)>ROUND([certain],6),0.99,IF(ROUND(ABS([change]),6)>ROUND([expanded],6),0.95,0)),0)`))),
		live("direction", "direction", asCount, `IF(ISNUMBER([level]),IF([level]=0,0,IF([change]<0,-1,1)),0)`))
}

// fuel is how the viscosity of the fuel changes with temperature.
func (c *comparison) fuel() {
	f := c.page.Comparison.Fuel
	note := "Two points of the fuel, open to change."
	if f.Assumed {
		note = "Nobody gave two points of the fuel: a typical diesel is assumed. Open to change."
	}
	c.begin("The fuel", note+" The equation is that of Walther, as ASTM D341 takes it, with ν in mm²/s and T in K.",
		"log₁₀ log₁₀ (ν + 0.7) = A − B × log₁₀ T")
	entry := func(name, label, unit string, x float64) {
		c.figureWith(one{name: name, label: label, unit: unit, format: asEntered}, func(col, row int, l look) formula.Value {
			l.open, l.fill = true, entryFill
			c.value(col, row, formula.Num(x), l)
			return formula.Num(x)
		})
	}
	for i, p := range f.Points {
		entry(fmt.Sprintf("fuel_temp_%d", i+1), "temperature "+strconv.Itoa(i+1), "°C", p.TempC)
		entry(fmt.Sprintf("fuel_viscosity_%d", i+1), "viscosity there", "mm²/s", p.ViscosityMM2S)
	}
	c.figures(
		one{"fuel_slope", "B", "", `(LOG10(LOG10(fuel_viscosity_1+0.7))-LOG10(LOG10(fuel_viscosity_2+0.7)))/` +
			`(LOG10(fuel_temp_2+273.15)-LOG10(fuel_temp_1+273.15))`, asShare, ""},
		one{"fuel_constant", "A", "", `LOG10(LOG10(fuel_viscosity_1+0.7))+fuel_slope*LOG10(fuel_temp_1+273.15)`, asShare, ""})
	for side := range c.page.Tests {
		c.fuelOf(side)
	}
}

// fuelOf is the temperature of the fuel in a test, the mean over its runs.
func (c *comparison) fuelOf(side int) {
	scope, name := testScope(side), fmt.Sprintf("fuel_t%d", side+1)
	rows, kept := loggedRows(c.page.Tests[side].Result.Test)
	var runs []int
	for _, l := range rows[:kept] {
		if !slices.Contains(runs, l.run.Number) {
			runs = append(runs, l.run.Number)
		}
	}
	c.gap()
	c.table(name, len(runs), fixedCount("run", "run", func(i int) int { return runs[i] }),
		live("temp", fmt.Sprintf("fuel °C,\ntest %d", side+1), asEntered, strings.ReplaceAll(
			`IF(ISNUMBER(INDEX(TEST_in[fuel],MATCH([run],TEST_in[run],0))),INDEX(TEST_in[fuel],MATCH([run],TEST_in[run],0)),"")`, "TEST_", scope)))
	c.figures(
		one{name + "_temp", fmt.Sprintf("fuel in test %d", side+1), "°C", strings.ReplaceAll(`IF(COUNT(NAME[temp])=COUNT(NAME[run]),SUM(NAME[temp])/COUNT(NAME[run]),"")`, "NAME", name), asRate, "mean over its runs"},
		one{name + "_viscosity", "its viscosity there", "mm²/s", strings.ReplaceAll(`IF(ISNUMBER(NAME_temp),10^(10^(fuel_constant-fuel_slope*LOG10(NAME_temp+273.15)))-0.7,"")`, "NAME", name), asRate, ""})
}

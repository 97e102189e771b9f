package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/blockoff"
	"leakback/limits/quantity"
)

// grid is a small table: heads, rows, and which columns stand to the left.
type grid struct {
	heads []string
	rows  [][]string
	left  map[int]bool
}

// runsGrid is ways to collect: each a row of so many runs.
func runsGrid(c *leakback.CollectionPlan, ways []leakback.Collection) grid {
	g := grid{heads: []string{"runs", "each", "in all", "chance", "± mL/min"}}
	if c.Take.Cranks > 0 {
		g.heads = []string{"runs", "each", "cranks", "in all", "with rests", "chance", "± mL/min"}
	}
	for i := range ways {
		g.rows = append(g.rows, runsRow(&ways[i], c.Take.Cranks > 0))
	}
	if math.IsNaN(c.Goal.LimitMLMin) {
		g.drop("chance")
	}
	return g
}

func runsRow(c *leakback.Collection, cranked bool) []string {
	row := []string{strconv.Itoa(c.Runs)}
	if math.IsNaN(c.CollectS) {
		row = append(row, "no time does it", "", "", "")
		if cranked {
			row = append(row, "", "")
		}
		return row
	}
	row = append(row, secondsText(c.CollectS))
	if cranked {
		row = append(row, fmt.Sprintf("%d of %s", c.Cranks, secondsText(c.CrankS)))
	}
	row = append(row, durationText(c.TotalS()))
	if cranked {
		row = append(row, durationText(c.TotalS()+c.RestsS))
	}
	u := c.Budget.ExpandedMLMin
	return append(row, chanceText(c.Chance), quantity.Fixed(u, quantity.Decimals(u)))
}

// drop leaves out a column.
func (g *grid) drop(head string) {
	at := slices.Index(g.heads, head)
	g.heads = slices.Delete(g.heads, at, at+1)
	for i := range g.rows {
		g.rows[i] = slices.Delete(g.rows[i], at, at+1)
	}
}

// tubesGrid is the common tubes that do it.
func tubesGrid(c *leakback.CollectionPlan) grid {
	g := grid{heads: []string{"tube", "marks", "runs", "each", "full at", ""}, left: map[int]bool{5: true}}
	g.heads[4] = "full at " + quantity.Fixed(c.SpareMLMin, quantity.Decimals(c.SpareMLMin))
	for i := range c.Tubes {
		t := &c.Tubes[i]
		note := ""
		switch {
		case i == c.Best:
			note = "the one to take"
		case t.Overflows:
			note = "full too soon"
		}
		g.rows = append(g.rows, []string{
			quantity.Format(quantity.Volume, t.Tube.CapacityML), quantity.Format(quantity.Volume, t.Tube.GraduationML),
			strconv.Itoa(t.Runs), secondsText(t.CollectS), fullText(t.SpareFullS), note,
		})
	}
	return g
}

// passesGrid is what more passes gain.
func passesGrid(b *leakback.BlockOffPlan) grid {
	g := grid{heads: []string{"passes", "runs", "share", "against the mean", ""}, left: map[int]bool{4: true}}
	for i := range b.Lines {
		l := &b.Lines[i]
		for _, r := range l.Reaches {
			e := blockoff.Expect(len(l.Schedule.Cylinders), r.Passes, r.Passes/2+1)
			note := ""
			if r.Enough {
				note = "enough"
			}
			if l.Name != "" {
				note = strings.TrimSpace(l.Name + " " + note)
			}
			g.rows = append(g.rows, []string{strconv.Itoa(r.Passes),
				strconv.Itoa(r.Passes*len(l.Schedule.Cylinders) + r.Passes/2 + 1),
				"± " + quantity.Fixed(100*r.SigmaMLMin*e.Share/b.Goal.ExpectMLMin, 1) + " %",
				"± " + percentOf(r.Contrast) + " %", note})
		}
	}
	return g
}

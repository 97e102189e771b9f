package report

import (
	"fmt"
	"io"
	"strings"

	"github.com/clipperhouse/displaywidth"

	"leakback/leakback"
)

// Plan writes a plan as people read it in a terminal, and pin it up: what to
// do, how sure that is, and what else would do.
func Plan(w io.Writer, p *PlanPage, o TableOptions) error {
	t := &planText{table: blankTable(o), p: p}
	t.head()
	if p.BlockOff != nil {
		t.blockOff(p.BlockOff)
	} else {
		t.collection(p.Collection)
	}
	t.foot()
	_, err := w.Write(t.out.Bytes())
	return err
}

// planText is a plan in the making.
type planText struct {
	*table
	p *PlanPage
}

func (t *planText) head() {
	title := "Plan of a return-flow test"
	if t.p.Engine != "" {
		title += ": " + t.p.Engine
	}
	t.prose(" ", title, hueTitle)
	t.prose(" ", planAsked(t.p), huePlain)
	t.line()
	t.prose(" ", PlanAnswer(t.p), hueTitle)
	for _, text := range t.p.Concerns {
		t.prose(" ", text, hueUndecided)
	}
	if len(t.p.Concerns) > 0 {
		t.line()
	}
}

func (t *planText) texts(list ...string) {
	for _, text := range list {
		if text != "" {
			t.prose(" ", text, huePlain)
		}
	}
}

func (t *planText) collection(c *leakback.CollectionPlan) {
	t.texts(planTexts(t.p)...)
	if len(c.ByRuns) > 0 {
		t.grid("Time against number of runs, from a tube "+planTube(c.Take.Tube), runsGrid(c, c.ByRuns))
	}
	if len(c.Longer) > 0 {
		t.grid("What a longer run gains", runsGrid(c, c.Longer))
	}
	if len(c.Tubes) > 0 {
		t.grid("Common tubes that do it, each at its best", tubesGrid(c))
		t.texts(bestTubeText(c))
	}
}

func (t *planText) blockOff(b *leakback.BlockOffPlan) {
	widest := 0
	for i := range b.Runs {
		widest = max(widest, displaywidth.String(t.clean(blockedText(&b.Runs[i]))))
	}
	for i := range b.Runs {
		t.run(&b.Runs[i], widest)
	}
	t.line()
	t.texts(blockOffTexts(b)...)
	if g := passesGrid(b); len(g.rows) > 0 {
		t.grid("What more passes gain, as parts of the share expected", g)
	}
}

// run is one line of the list, with room to write into.
func (t *planText) run(r *leakback.BlockOffRun, widest int) {
	text := t.clean(blockedText(r))
	lead := fmt.Sprintf(" %3d.  %s%s", r.Number, text, strings.Repeat(" ", widest-displaywidth.String(text)))
	for _, box := range []string{"  ________ mL", "  ________ bar", "  ________ deg C"} {
		if displaywidth.String(lead+box) <= t.Width {
			lead += box
		}
	}
	t.line(piece{lead, huePlain})
}

// grid writes a small table below its heading; what does not fit the width
// loses its last columns.
func (t *planText) grid(heading string, g grid) {
	t.line()
	t.prose(" ", heading, hueTitle)
	widths := make([]int, len(g.heads))
	lines := append([][]string{g.heads}, g.rows...)
	for _, row := range lines {
		for i, text := range row {
			widths[i] = max(widths[i], displaywidth.String(t.clean(text)))
		}
	}
	for k, row := range lines {
		hue := huePlain
		if k == 0 {
			hue = hueQuiet
		}
		t.line(piece{t.row(g, row, widths), hue})
	}
}

func (t *planText) row(g grid, row []string, widths []int) string {
	line := "  "
	for i, text := range row {
		text = t.clean(text)
		pad := strings.Repeat(" ", max(0, widths[i]-displaywidth.String(text)))
		cell := pad + text
		if g.left[i] {
			cell = text + pad
		}
		if i > 0 && displaywidth.String(line+"  "+cell) > t.Width {
			break
		}
		line += "  " + cell
	}
	return line
}

func (t *planText) foot() {
	t.line()
	if text := stateToKeep(t.p); text != "" {
		t.texts(text)
	}
	t.texts(t.p.Notes...)
	t.texts(planLimits(t.p))
	t.prose(" ", t.p.CautionLine, hueTitle)
}

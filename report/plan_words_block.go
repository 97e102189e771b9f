package report

import (
	"fmt"
	"math"

	"leakback/leakback"
	"leakback/leakback/blockoff"
	"leakback/limits/quantity"
)

// blockOffAnswer is what the schedule asks for in one sentence.
func blockOffAnswer(b *leakback.BlockOffPlan) string {
	text := fmt.Sprintf("block one injector at a time: %d runs", len(b.Runs))
	switch {
	case math.IsNaN(b.IntervalS):
		text += ", all of the same time"
	case b.Cranks > 1:
		text += fmt.Sprintf(", each over %d cranks of %s", b.Cranks, secondsText(b.CrankS))
	case b.Cranks == 1:
		text += " of one crank, " + secondsText(b.CrankS) + " each"
	default:
		text += " of " + secondsText(b.IntervalS)
	}
	return Sentence(text) + restText(b.Cranks*len(b.Runs), b.Goal.Measurement.RestS)
}

func blockOffAsked(p *PlanPage, b *leakback.BlockOffPlan) []string {
	parts := []string{fmt.Sprintf("%d cylinders, each blocked in %d runs", len(b.Goal.Order), b.Goal.Passes)}
	if len(b.Lines) > 1 {
		parts = append(parts, fmt.Sprintf("%d return lines, one after the other", len(b.Lines)))
	}
	if !math.IsNaN(b.Goal.ExpectMLMin) {
		parts = append(parts, mlMin(b.Goal.ExpectMLMin)+" expected of each")
	}
	parts = append(parts, "a tube "+planTube(b.Goal.Tube)+" for the total")
	return append(parts, planState(p)...)
}

// blockOffTexts are the paragraphs below the list.
func blockOffTexts(b *leakback.BlockOffPlan) []string {
	texts := []string{
		"Collect the merged return each time, in this order and without a change of speed or load: the list is its own " +
			"mirror image, so that fuel which warms up or an engine which settles points at no cylinder.",
	}
	if text := starterText(b.TotalS(), b.RestsS, b.Cranks*len(b.Runs)); text != "" {
		texts = append(texts, text)
	}
	for i := range b.Lines {
		texts = append(texts, lineTexts(b, &b.Lines[i])...)
	}
	if b.Goal.Cranking {
		texts = append(texts, "Where the maker allows it, one more run with every injector blocked measures what no "+
			"injector returns.")
	}
	return texts
}

// lineTexts say what to expect of one return line.
func lineTexts(b *leakback.BlockOffPlan, l *leakback.LinePlan) []string {
	of := ""
	if l.Name != "" {
		of = "line " + l.Name + ": "
	}
	e := l.Schedule.Expected
	if len(l.Reaches) == 0 {
		return []string{Sentence(of + fmt.Sprintf("with σ for the standard deviation of one run, a share comes with %s σ and "+
			"a share against the mean share with %s σ; what that is in mL/min, and how many passes it takes, depends on the "+
			"share to expect and the time of a run", quantity.Fixed(e.Share, 2), quantity.Fixed(e.Contrast, 2)))}
	}
	return []string{Sentence(of + totalText(b, l)), Sentence(of + reachedText(l))}
}

func totalText(b *leakback.BlockOffPlan, l *leakback.LinePlan) string {
	text := fmt.Sprintf("with nothing blocked some %s come back, %s mL in %s", roughly(l.TotalMLMin),
		quantity.Fixed(l.TotalMLMin*b.IntervalS/60, 0), secondsText(b.IntervalS))
	if math.IsNaN(l.FullS) {
		return text + "."
	}
	return text + "; the tube is full after " + fullText(l.FullS) + ", and a total that ran over cannot be used."
}

// reachedText holds the passes asked for against the target.
func reachedText(l *leakback.LinePlan) string {
	text := fmt.Sprintf("expect a standard deviation of %s for a share and of %s for a share against the mean share",
		roughly(l.ShareSDMLMin()), roughly(l.Reached.ContrastSDMLMin))
	target := quantity.Fixed(100*blockoff.TargetContrast, 0)
	last := l.Reaches[len(l.Reaches)-1]
	switch {
	case l.Reached.Enough:
		text += fmt.Sprintf(", %s %% of the median share: under the %s %% aimed at.", percentOf(l.Reached.Contrast), target)
	case last.Enough:
		text += fmt.Sprintf(", %s %% of the median share; %d passes get under the %s %% aimed at, and fewer can be gone "+
			"on with.", percentOf(l.Reached.Contrast), last.Passes, target)
	default:
		text += fmt.Sprintf(", %s %% of the median share; not even %d passes get under the %s %% aimed at.",
			percentOf(l.Reached.Contrast), blockoff.MostPasses, target)
	}
	return text + fmt.Sprintf(" Of one run's %s, %s are repeatability, which a longer run does not lower.",
		roughly(l.Reached.SigmaMLMin), roughly(l.RepeatMLMin))
}

// percentOf shows a contrast so that it never rounds to the wrong side of the target.
func percentOf(contrast float64) string {
	return quantity.Fixed(100*contrast, quantity.Apart(100*contrast, 100*blockoff.TargetContrast, 1))
}

// blockedText is what a run of the list blocks.
func blockedText(r *leakback.BlockOffRun) string {
	text := "nothing blocked"
	if len(r.Blocked) > 0 {
		text = "block " + leakback.CylinderNames(r.Blocked)
	}
	if r.Line != "" {
		text += ", line " + r.Line
	}
	return text
}

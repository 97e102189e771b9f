package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
)

// PlanAnswer is the plan in one sentence.
func PlanAnswer(p *PlanPage) string {
	if p.BlockOff != nil {
		return blockOffAnswer(p.BlockOff)
	}
	c := p.Collection
	rests := restText(c.Take.Cranks*c.Take.Runs, c.Goal.Measurement.RestS)
	switch c.Outcome {
	case leakback.OutOfReach:
		if math.IsNaN(c.Goal.LimitMLMin) {
			return "However it is collected, measuring stays the larger doubt."
		}
		return "Collecting cannot decide this."
	case leakback.OtherTube:
		return Sentence("take tubes "+planTube(c.Take.Tube)+", and "+takeText(&c.Take)) + rests
	}
	return Sentence(takeText(&c.Take)) + rests
}

// restText asks for the starter's rest, where it turns more than once.
func restText(cranks int, restS float64) string {
	if cranks < 2 {
		return ""
	}
	return " Rest the starter for " + secondsText(restS) + " after every crank."
}

// takeText is what to do for one way to collect: "collect 2 times for 50 s each".
func takeText(c *leakback.Collection) string {
	switch length := secondsText(c.CollectS); {
	case c.Cranks == 0 && c.Runs == 1:
		return "collect once, for " + length
	case c.Cranks == 0:
		return fmt.Sprintf("collect %d times, for %s each", c.Runs, length)
	case c.Cranks == 1 && c.Runs == 1:
		return "crank once, for " + length
	case c.Cranks == 1:
		return fmt.Sprintf("collect %d times over one crank of %s each", c.Runs, length)
	case c.Runs == 1:
		return fmt.Sprintf("collect once, over %d cranks of %s", c.Cranks, secondsText(c.CrankS))
	}
	return fmt.Sprintf("collect %d times, over %d cranks of %s each time", c.Runs, c.Cranks, secondsText(c.CrankS))
}

func secondsText(s float64) string { return quantity.Format(quantity.Interval, s) }

// durationText is a long time in minutes and seconds.
func durationText(s float64) string {
	s = math.Ceil(s)
	if s <= 120 {
		return secondsText(s)
	}
	text := quantity.Fixed(math.Floor(s/60), 0) + " min"
	if rest := math.Mod(s, 60); rest > 0 {
		text += " " + secondsText(rest)
	}
	return text
}

func mlMin(x float64) string { return quantity.Format(quantity.Rate, x) }

// roughly is a rate to two digits, for what is only estimated.
func roughly(x float64) string {
	return quantity.Fixed(x, quantity.Decimals(x)) + " " + quantity.Rate.Unit()
}

// planTube is a tube behind the word: "of 100 mL with 1 mL marks".
func planTube(t leakback.Tube) string {
	marks := quantity.Format(quantity.Volume, t.GraduationML) + " marks"
	if t.CapacityML == 0 {
		return "with " + marks
	}
	return "of " + quantity.Format(quantity.Volume, t.CapacityML) + " with " + marks
}

// chanceText prints a chance so that it never reads as certain.
func chanceText(chance float64) string {
	switch {
	case math.IsNaN(chance):
		return ""
	case chance > 0.99:
		return "over 99 %"
	case chance < 0.01:
		return "under 1 %"
	}
	return quantity.Fixed(100*chance, 0) + " %"
}

// planAsked is what was planned for.
func planAsked(p *PlanPage) string {
	if b := p.BlockOff; b != nil {
		return Sentence(strings.Join(blockOffAsked(p, b), "; "))
	}
	g := &p.Collection.Goal
	parts := []string{mlMin(g.ExpectMLMin) + " expected"}
	if math.IsNaN(g.LimitMLMin) {
		parts = append(parts, "no limit: the set of "+strconv.Itoa(g.Cylinders)+" alone decides")
	} else {
		parts = append(parts, "limit "+limitText(p, g.LimitMLMin))
	}
	parts = append(parts, "tubes "+planTube(g.Tube)+", the scale good to "+quantity.Format(quantity.Volume, g.Tube.ToleranceML))
	if !math.IsNaN(g.IntervalS) {
		parts = append(parts, "runs of "+secondsText(g.IntervalS))
	}
	return Sentence(strings.Join(append(parts, planState(p)...), "; "))
}

// limitText is the limit planned for and, where the book gives a volume, as the
// book has it.
func limitText(p *PlanPage, mostMLMin float64) string {
	text := mlMin(mostMLMin)
	if l := p.Limit; l != nil && l.MaxVolumeML != nil && !isMinimum(l, mostMLMin) {
		text += fmt.Sprintf(" (%s in %s)", quantity.Format(quantity.Volume, *l.MaxVolumeML),
			quantity.Format(quantity.Interval, *l.IntervalS))
	}
	return text
}

func isMinimum(l *limits.Limit, rateMLMin float64) bool {
	return l.MinRateMLMin != nil && *l.MinRateMLMin == rateMLMin
}

// planState is engine, condition and injectors, as far as they were said.
func planState(p *PlanPage) []string {
	var parts []string
	if p.Condition != "" {
		parts = append(parts, p.Condition)
	}
	if p.Injectors != "" {
		parts = append(parts, "injectors "+p.Injectors)
	}
	return parts
}

// planTexts are the paragraphs of a plan below its answer.
func planTexts(p *PlanPage) []string {
	if p.BlockOff != nil {
		return blockOffTexts(p.BlockOff)
	}
	c := p.Collection
	var texts []string
	add := func(text string) {
		if text != "" {
			texts = append(texts, text)
		}
	}
	add(expectText(c))
	add(reachText(c))
	add(starterText(c.Take.TotalS(), c.Take.RestsS, c.Take.Cranks*c.Take.Runs))
	add(overflowText(c))
	add(repeatText(c))
	add(setText(p))
	return texts
}

// expectText is what a run brings and how sure the answer is.
func expectText(c *leakback.CollectionPlan) string {
	if c.Outcome == leakback.OutOfReach {
		return ""
	}
	text := "at the expected rate a run brings " + quantity.Fixed(c.Take.VolumeML, 1) + " mL, and the rate is then known to ± " +
		roughly(c.Take.Budget.ExpandedMLMin)
	if math.IsNaN(c.Take.Chance) {
		return Sentence(text)
	}
	return Sentence(text + "; the chance of a decided answer is " + chanceText(c.Take.Chance))
}

// reachText says why it takes more than was asked for.
func reachText(c *leakback.CollectionPlan) string {
	g := &c.Goal
	switch c.Outcome {
	case leakback.MoreRuns:
		return Sentence(counted(g.Runs, "run") + " cannot do it, however long within the tube: empty the tubes and " +
			"collect again, " + strconv.Itoa(c.Take.Runs) + " times in all")
	case leakback.OtherTube:
		longest := c.LongestS
		if !math.IsNaN(g.IntervalS) {
			longest = g.IntervalS
		}
		if marks := g.ExpectMLMin * longest / 60 / g.Tube.GraduationML; marks < 10 {
			return fmt.Sprintf("The tube at hand takes up only %s of its marks in %s, and ten are the least.",
				quantity.Fixed(math.Floor(10*marks)/10, 1), secondsText(longest))
		}
		return "The tube at hand cannot do it within " + strconv.Itoa(leakback.MostRuns) + " runs."
	case leakback.OutOfReach:
		return outOfReachText(c)
	}
	return ""
}

// outOfReachText says how far from reach a goal is, and what else there is.
func outOfReachText(c *leakback.CollectionPlan) string {
	g := &c.Goal
	if math.IsNaN(g.LimitMLMin) {
		return "Neither more runs nor another tube make measuring the smaller doubt: the repeatability in the limits " +
			"sheet is more than half of the spread of healthy injectors. Get the maker's limit."
	}
	text := fmt.Sprintf("What is expected lies %s from the limit", mlMin(math.Abs(g.ExpectMLMin-g.LimitMLMin)))
	if math.IsInf(c.LeastMLMin, 1) {
		return text + ", and no common tube collects ten of its marks in the time given without running over."
	}
	return text + fmt.Sprintf("; even %d runs, from whichever tube, decide only what lies %s from it. Do a swap test "+
		"where the maker allows it, or leave undecided what is so close.", leakback.MostRuns, roughly(c.LeastMLMin))
}

// manyCranks is how many cranks of one test are a lot: our choice, no source.
const manyCranks = 12

// starterText is what a plan asks of the starter.
func starterText(totalS, restsS float64, cranks int) string {
	if cranks == 0 || math.IsNaN(totalS) {
		return ""
	}
	text := "The starter turns for " + durationText(totalS) + " in all"
	if restsS > 0 {
		text += fmt.Sprintf(", in %d cranks, and rests for %s: %s from the first crank to the last",
			cranks, durationText(restsS), durationText(totalS+restsS))
	}
	text += "."
	if cranks > manyCranks {
		text += " That is a lot for starter, battery and aftertreatment: see first whether a condition with " +
			"the engine running does it."
	}
	return text
}

// overflowText is when the tube is full.
func overflowText(c *leakback.CollectionPlan) string {
	t := &c.Take
	if math.IsNaN(t.FullS) {
		return "The tube's capacity was not said: make sure that it holds a cylinder that leaks."
	}
	at := "a rate of " + mlMin(c.SpareMLMin)
	switch {
	case math.IsNaN(c.Goal.LimitMLMin):
		at = "the " + roughly(c.SpareMLMin) + " from which the set speaks"
	case c.SpareMLMin == c.Goal.LimitMLMin:
		at = "the limit"
	}
	text := "the expected rate fills the tube in " + fullText(t.FullS)
	if c.SpareMLMin > c.Goal.ExpectMLMin {
		text += ", " + at + " in " + fullText(t.SpareFullS)
	}
	switch {
	case c.Outcome == leakback.OutOfReach:
	case t.Overflows:
		text += "; a cylinder that overflows before the time is up is then not known to be over: collect that one " +
			"again for a shorter time"
	default:
		text += "; a cylinder that overflows before the time is up returns more than that"
	}
	return Sentence(text)
}

// fullText is a time to overflow, never later than it is.
func fullText(s float64) string {
	if s > 120 {
		return durationText(math.Floor(s))
	}
	if s >= 10 {
		s = math.Floor(s)
	}
	return quantity.Format(quantity.Interval, math.Floor(10*s)/10)
}

// repeatText is what a longer run cannot lower, and when repeating beats it.
func repeatText(c *leakback.CollectionPlan) string {
	what := "repeatability, and what a run does to all cylinders"
	if math.IsNaN(c.Goal.LimitMLMin) {
		what = "repeatability"
	}
	text := fmt.Sprintf("of the standard uncertainty of one run, %s stays however long it is (%s)", roughly(c.FixedMLMin), what)
	if math.IsNaN(c.RepeatFromS) {
		return Sentence(text + "; as far as tube and starter allow, twice the time says more than a second run")
	}
	return Sentence(text + fmt.Sprintf("; from %s on, a second run says more than twice the time",
		secondsText(math.Ceil(c.RepeatFromS))))
}

// setText is what the comparison within the set makes of the collection.
func setText(p *PlanPage) string {
	c := p.Collection
	s := c.Set
	if s == nil || c.Outcome == leakback.OutOfReach && !math.IsNaN(c.Goal.LimitMLMin) {
		return ""
	}
	text := fmt.Sprintf("Among %d cylinders the rule then bites at %s times the others", s.Cylinders, quantity.Fixed(s.BitingRatio, 2))
	if best := quantity.Fixed(s.BitingAtBest, 2); best != quantity.Fixed(s.BitingRatio, 2) {
		text += ", at " + best + " if measuring were perfect"
	}
	text += ": "
	own, half := quantity.Fixed(100*c.Take.OwnCV, 1), quantity.Fixed(50*s.SpreadLog, 1)+" %"
	if limits.Assumed(p.Sheet.Set.SourceOf("healthy_cv")) {
		half += ", assumed"
	}
	if s.MeasuredWell {
		return text + fmt.Sprintf("measuring (%s %%) is not the larger doubt, being no more than half of the spread of "+
			"healthy injectors (%s).", own, half)
	}
	return text + fmt.Sprintf("measuring (%s %%) is the larger doubt, being more than half of the spread of healthy "+
		"injectors (%s).", own, half)
}

// bestTubeText says which of the common tubes to take.
func bestTubeText(c *leakback.CollectionPlan) string {
	if c.Best < 0 {
		return ""
	}
	best := &c.Tubes[c.Best]
	if own := c.Goal.Tube; own.CapacityML == best.Tube.CapacityML && own.GraduationML == best.Tube.GraduationML {
		return "Your tube is the one to take of the common sizes (ASTM E1272)."
	}
	text := fmt.Sprintf("Of the common sizes (ASTM E1272) take one %s: %s.", planTube(best.Tube), takeText(best))
	if own := c.Goal.Tube; own.CapacityML > 0 && c.Outcome == leakback.AsAsked && best.Runs == c.Take.Runs && best.Cranks == c.Take.Cranks {
		text += " Your tube does it as well."
	}
	return text
}

// stateToKeep lists what the limit asks of the running state.
func stateToKeep(p *PlanPage) string {
	l := p.Limit
	if l == nil {
		return ""
	}
	var parts []string
	if l.Injectors != "" {
		parts = append(parts, "injectors "+l.Injectors)
	}
	if l.Cranks > 0 {
		parts = append(parts, counted(l.Cranks, "crank"))
	}
	for _, f := range []struct {
		what, unit string
		r          *limits.Range
	}{
		{"rail pressure", "bar", l.RailPressureBar}, {"fuel temperature", "°C", l.FuelTempC}, {"engine speed", "rpm", l.EngineRPM},
	} {
		if f.r != nil {
			parts = append(parts, f.what+" "+plainFigure(f.r.Low)+" to "+plainFigure(f.r.High)+" "+f.unit)
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "The limit holds for " + quantity.Listed(parts, "and") + ": measure in that state, and record it."
}

// planLimits names where the figures come from, and what is assumed.
func planLimits(p *PlanPage) string {
	text := "Figures from the limits sheet " + p.Sheet.Name
	if p.Limit != nil {
		text += " (limit: " + p.Limit.Source + ")"
	}
	var assumed []string
	for _, key := range planKeys(p) {
		if limits.Assumed(key.source) {
			assumed = append(assumed, key.name+" "+plainFigure(key.value))
		}
	}
	if len(assumed) == 0 {
		return Sentence(text)
	}
	return text + ". Assumed: " + strings.Join(assumed, ", ") + "."
}

type planKey struct {
	name, source string
	value        float64
}

// planKeys are the figures of the sheet that the plan rests on.
func planKeys(p *PlanPage) []planKey {
	m, set := &p.Sheet.Measurement, &p.Sheet.Set
	keys := []planKey{{"repeatability_cv", m.SourceOf("repeatability_cv"), m.RepeatabilityCV}}
	if p.BlockOff != nil {
		return keys
	}
	keys = append(keys, planKey{"common_cv", m.SourceOf("common_cv"), m.CommonCV}, planKey{"timing_s", m.SourceOf("timing_s"), m.TimingS})
	if p.Collection.Set != nil {
		keys = append(keys, planKey{"healthy_cv", set.SourceOf("healthy_cv"), set.HealthyCV},
			planKey{"false_alarm", set.SourceOf("false_alarm"), set.FalseAlarm},
			planKey{"practical_ratio", set.SourceOf("practical_ratio"), set.PracticalRatio})
	}
	return keys
}

package report

import (
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/limits"
)

// limitsThatApply is the block that finds the limit for the recorded state, and
// what the state leaves standing of decisions.
func (w *working) limitsThatApply() {
	w.begin("The limit that applies",
		"A limit that is alone for the condition applies. Of several the one applies that the recorded state tells from all the "+
			"others: of what tells two apart something is recorded, and nothing recorded is the other's.", "")
	w.backPressure()
	w.figures(
		one{"test_injectors", "injectors in this test", "", `INDEX(in[injectors],1)&""`, inWords, "empty: not recorded"},
		one{"test_cranks", "most cranks of a run", "", `MAX(in[cranks])`, asCount, "0: not recorded"},
	)
	if len(w.limits) == 0 {
		w.figures(
			one{"limit_number", "number of the limit that applies", "", `0`, asCount, "the sheet has none for this condition"},
			one{"has_max", "a maximum of one cylinder? 1 yes", "", `0`, asCount, ""})
		return
	}
	w.limitStates()
	if len(w.limits) > 1 {
		w.pairs()
	}
	w.chosen()
	w.limitFigures()
	w.stateGuard()
}

// backPressure says whether anything may be judged at all.
func (w *working) backPressure() {
	unjudged, note := `0`, "open tubes, as far as the limits sheet says"
	if w.r.Sheet.BackPressureBar != nil {
		unjudged = `IF(AND(COUNT(in[back])=COUNT(in[run]),ROUND(MIN(in[back]),6)>=ROUND(hold_back_pressure_bar_from,6),` +
			`ROUND(MAX(in[back]),6)<=ROUND(hold_back_pressure_bar_to,6)),0,1)`
		note = "the return must be held up, in every run"
	}
	w.figures(one{"not_judged", "back-pressure missing? 1 yes", "", unjudged, asCount, note})
}

// ranged are the parts of a state that a limit gives ranges of: what they are
// called, the key of the sheet, and the column of the readings.
var ranged = []struct{ label, unit, key, column string }{
	{"rail pressure", "bar", "rail_pressure_bar", "rail"},
	{"fuel temp.", "°C", "fuel_temp_c", "fuel"},
	{"speed", "rpm", "engine_rpm", "rpm"},
}

// ofLimit is a column with a figure of every limit; blank where a limit has none.
func (w *working) ofLimit(id, head, key, format string) field {
	return liveOf(id, head, format, func(i int) string {
		name := limitName(i) + "_" + key
		if !w.names.Has(name) {
			return ""
		}
		return `IF(` + name + `="","",` + name + `)`
	})
}

// numbered is a column that numbers the limits.
func numbered() field { return fixedCount("number", "limit", func(i int) int { return i + 1 }) }

// limitStates are the states that the limits are given for, and how the test's
// lies to them.
func (w *working) limitStates() {
	w.gap()
	fields := []field{numbered(),
		w.ofLimit("injectors", "injectors", "injectors", inWords), w.ofLimit("cranks", "cranks", "cranks", asCount)}
	for _, s := range ranged {
		fields = append(fields, w.ofLimit(s.column+"_from", s.label+"\nfrom, "+s.unit, s.key+"_from", asEntered),
			w.ofLimit(s.column+"_to", "to, "+s.unit, s.key+"_to", asEntered))
	}
	fields = append(fields, live("open", "injectors\nfit?", asCount,
		`IF(OR(test_injectors="",[injectors]="",test_injectors=[injectors]),1,0)`))
	if len(w.limits) > 1 {
		fields = append(fields, fits()...)
	}
	w.table("lim", len(w.limits), fields...)
}

// parts of a state, as columns of the limits' states call them.
var stateParts = []string{"injectors", "cranks", "rail", "fuel", "rpm"}

// fits are, for each part of the state, 1 where it is the limit's, −1 where it
// is not, 0 where it was not recorded.
func fits() []field {
	all := []field{
		live("fit_injectors", "injectors\n1 as given", asCount, `IF(test_injectors="",0,IF(test_injectors=[injectors],1,-1))`),
		live("fit_cranks", "cranks\n1 as given", asCount, `IF(test_cranks=0,0,IF(test_cranks=[cranks],1,-1))`),
	}
	for _, s := range ranged {
		all = append(all, live("fit_"+s.column, s.label+"\n1 as given", asCount, ofPart(s.column,
			`IF(OR([PART_from]="",COUNT(in[PART])=0),0,IF(AND(ROUND(MIN(in[PART]),6)>=ROUND([PART_from],6),`+
				`ROUND(MAX(in[PART]),6)<=ROUND([PART_to],6)),1,-1))`)))
	}
	return all
}

// ofPart is a template for one part of the state.
func ofPart(part, template string) string { return strings.ReplaceAll(template, "PART", part) }

// pairs holds every limit against every other, and so finds the one that is told
// from all.
func (w *working) pairs() {
	var all [][2]int
	for i := range w.limits {
		for k := range w.limits {
			if i != k {
				all = append(all, [2]int{i + 1, k + 1})
			}
		}
	}
	w.gap()
	w.say("Each limit against each other: what tells the two apart (1), and whether the recorded state is the first one's.", workNote)
	fields := []field{
		fixedCount("first", "limit", func(i int) int { return all[i][0] }),
		fixedCount("second", "other", func(i int) int { return all[i][1] }),
	}
	w.table("pairs", len(all), append(fields, toldApart()...)...)
	w.further("lim", live("chosen", "chosen?", asCount,
		`IF([open]=0,0,IF(SUMPRODUCT((pairs[first]=[number])*(1-pairs[holds]))=0,1,0))`))
}

// toldApart are the parts of the state in which two limits share nothing, and
// whether the recorded state is there the first one's.
func toldApart() []field {
	const named = `IF(OR(INDEX(lim[PART],[first])="",INDEX(lim[PART],[second])=""),0,` +
		`IF(INDEX(lim[PART],[first])<>INDEX(lim[PART],[second]),1,0))`
	const span = `IF(OR(INDEX(lim[PART_from],[first])="",INDEX(lim[PART_from],[second])=""),0,` +
		`IF(OR(INDEX(lim[PART_to],[first])<INDEX(lim[PART_from],[second]),` +
		`INDEX(lim[PART_to],[second])<INDEX(lim[PART_from],[first])),1,0))`
	fields := []field{
		live("injectors", "injectors\napart?", asCount, ofPart("injectors", named)),
		live("cranks", "cranks\napart?", asCount, ofPart("cranks", named)),
	}
	for _, s := range ranged {
		fields = append(fields, live(s.column, s.label+"\napart?", asCount, ofPart(s.column, span)))
	}
	var met, unmet []string
	for _, part := range stateParts {
		met = append(met, ofPart(part, `[PART]*IF(INDEX(lim[fit_PART],[first])=1,1,0)`))
		unmet = append(unmet, ofPart(part, `[PART]*IF(INDEX(lim[fit_PART],[first])=-1,1,0)`))
	}
	return append(fields,
		live("met", "parts as\nthe first's", asCount, strings.Join(met, "+")),
		live("unmet", "not as\nthe first's", asCount, strings.Join(unmet, "+")),
		live("holds", "told\napart?", asCount, `IF(INDEX(lim[open],[second])=0,1,IF(AND([met]>0,[unmet]=0),1,0))`))
}

// chosen is the number of the limit that applies.
func (w *working) chosen() {
	number := `IF(INDEX(lim[open],1)=1,1,0)`
	if len(w.limits) > 1 {
		number = `IF(SUM(lim[open])=0,0,IF(SUM(lim[open])=1,MATCH(1,lim[open],0),IF(SUM(lim[chosen])=0,0,MATCH(1,lim[chosen],0))))`
	}
	w.figures(one{"limit_number", "number of the limit that applies", "", number, asCount, "0: none applies"})
}

// limitKind is a figure that limits may give: its column, head, key and unit; the
// name and the label of the one that applies; and whether a limit has it.
type limitKind struct {
	id, head, key, unit, name, label string
	given                            func(*limits.Limit) bool
}

// Kinds of limits, by their columns.
const (
	kindMost       = "most"
	kindLeast      = "least"
	kindTotal      = "total"
	kindMedian     = "median"
	kindMean       = "mean"
	kindLowest     = "lowest"
	kindDifference = "difference"
)

var limitKinds = []limitKind{
	{kindMost, "maximum\nmL/min", "", "mL/min", "applied_max", "maximum of one cylinder",
		func(l *limits.Limit) bool { _, ok := l.MaxMLMin(); return ok }},
	{kindLeast, "minimum\nmL/min", "min_rate_ml_min", "mL/min", "applied_min", "minimum of one cylinder",
		func(l *limits.Limit) bool { return l.MinRateMLMin != nil }},
	{kindTotal, "total\nmL/min", "max_total_ml_min", "mL/min", "applied_total", "maximum of the total",
		func(l *limits.Limit) bool { return l.MaxTotalMLMin != nil }},
	{kindMedian, "ratio to\nmedian", "max_ratio_to_median", "", "applied_to_median", "maximum ratio to the median",
		func(l *limits.Limit) bool { return l.MaxRatioToMedian != nil }},
	{kindMean, "ratio to\nmean", "max_ratio_to_mean", "", "applied_to_mean", "maximum ratio to the mean",
		func(l *limits.Limit) bool { return l.MaxRatioToMean != nil }},
	{kindLowest, "ratio to\nlowest", "max_ratio_to_lowest", "", "applied_to_lowest", "maximum ratio to the lowest",
		func(l *limits.Limit) bool { return l.MaxRatioToLowest != nil }},
	{kindDifference, "difference\nmL/min", "max_difference_ml_min", "mL/min", "applied_difference", "maximum difference",
		func(l *limits.Limit) bool { return l.MaxDifferenceMLMin != nil }},
}

// kindOf is the kind of limit by its column.
func kindOf(id string) limitKind {
	return limitKinds[slices.IndexFunc(limitKinds, func(k limitKind) bool { return k.id == id })]
}

// gives says whether a limit for the condition has a figure of that kind that can
// be held against the test: without an interval only ratios can.
func (w *working) gives(id string) bool {
	if w.unknownTime && id != kindMedian && id != kindMean && id != kindLowest {
		return false
	}
	if w.r.Test.Method == leakback.MethodTotal && id != kindTotal {
		return false
	}
	return slices.ContainsFunc(w.limits, kindOf(id).given)
}

// limitFigures are the figures of the limits, and those of the one that applies.
func (w *working) limitFigures() {
	w.gap()
	fields := []field{numbered(),
		w.ofLimit("max_rate", "max. rate\nmL/min", "max_rate_ml_min", asEntered),
		w.ofLimit("volume", "max. volume\nmL", "max_volume_ml", asEntered),
		w.ofLimit("interval", "collected\nfor, s", "interval_s", asEntered),
		live(kindMost, kindOf(kindMost).head, asEntered, `IF([max_rate]<>"",[max_rate],`+
			`IF(OR([volume]="",[interval]=""),"",60*[volume]/[interval]))`),
	}
	apply := []one{{"applied_max", "maximum of one cylinder", "mL/min", applied("figs", kindMost), asEntered, "of the limit that applies"}}
	for _, k := range limitKinds[1:] {
		if w.gives(k.id) {
			fields = append(fields, w.ofLimit(k.id, k.head, k.key, asEntered))
			apply = append(apply, one{k.name, k.label, k.unit, applied("figs", k.id), asEntered, ""})
		}
	}
	w.table("figs", len(w.limits), fields...)
	w.figures(apply...)
	w.figures(one{"has_max", "a maximum of one cylinder? 1 yes", "", w.known(`IF(ISNUMBER(applied_max),1,0)`, `0`), asCount, ""})
}

// applied is a column's cell of the limit that applies, nothing where it is blank.
func applied(table, column string) string {
	cell := `INDEX(` + table + `[` + column + `],limit_number)`
	return `IF(limit_number=0,"",IF(` + cell + `="","",` + cell + `))`
}

// stateGuard is how the recorded state lies to that of the limit that applies.
func (w *working) stateGuard() {
	w.begin("What the recorded state leaves standing",
		"Return rises with pressure, temperature and speed. Below the limit's state a maximum that is exceeded there is exceeded, "+
			"but one that is met proves nothing; above it the reverse; mirrored for a minimum. Another crank pattern proves nothing.", "")
	of := func(template string) func(int) string {
		return func(i int) string { return ofPart(ranged[i].column, template) }
	}
	const outside = `IF(AND(ISNUMBER([from]),ISNUMBER([to]),[rows]>0),IF(CONDITION,1,0),0)`
	side := func(condition string) string { return strings.Replace(outside, "CONDITION", condition, 1) }
	w.table("state", len(ranged),
		fixedWords("what", "state", func(i int) string { return ranged[i].label + ", " + ranged[i].unit }),
		spaces("gap", 1)[0],
		liveOf("from", "limit's\nfrom", asEntered, of(applied("lim", "PART_from"))),
		liveOf("to", "to", asEntered, of(applied("lim", "PART_to"))),
		liveOf("rows", "readings\nwith it", asCount, of(`COUNT(in[PART])`)),
		liveOf("lowest", "lowest", asEntered, of(`IF([rows]=0,"",MIN(in[PART]))`)),
		liveOf("highest", "highest", asEntered, of(`IF([rows]=0,"",MAX(in[PART]))`)),
		live("below", "below?", asCount, side(`ROUND([lowest],6)<ROUND([from],6)`)),
		live("above", "above?", asCount, side(`ROUND([highest],6)>ROUND([to],6)`)),
		liveOf("unknown", "not known,\nthough asked?", asCount, func(i int) string {
			if ranged[i].column != "rail" { // the others are said, and the verdict stands
				return `0`
			}
			return `IF(AND(ISNUMBER([from]),ISNUMBER([to]),[rows]<COUNT(in[run])),1,0)`
		}))
	w.guardFigures()
}

// guardFigures are what the state comes to.
func (w *working) guardFigures() {
	w.figures(
		one{"state_below", "below the limit's state? 1 yes", "", `MAX(state[below])`, asCount, ""},
		one{"state_above", "above it? 1 yes", "", `MAX(state[above])`, asCount, ""},
		one{"injectors_unknown", "injectors not recorded? 1 yes", "",
			`IF(limit_number=0,0,IF(AND(INDEX(lim[injectors],limit_number)<>"",test_injectors=""),1,0))`, asCount,
			"where the limit names them"},
		one{"state_unknown", "state not known? 1 yes", "", `MAX(MAX(state[unknown]),injectors_unknown)`, asCount, ""},
		one{"cranks_differ", "another crank pattern? 1 yes", "", `IF(limit_number=0,0,IF(INDEX(lim[cranks],limit_number)="",0,` +
			`IF(SUMPRODUCT((parts[cranks]<>INDEX(lim[cranks],limit_number))*1)>0,1,0)))`, asCount, ""},
	)
}

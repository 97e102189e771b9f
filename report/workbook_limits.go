package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/report/formula"
)

// figureWords are the keys of a limits sheet in words.
var figureWords = map[string]string{
	"max_rate_ml_min":       "maximum rate",
	"min_rate_ml_min":       "minimum rate",
	"max_volume_ml":         "maximum volume",
	"interval_s":            "collected for",
	"max_total_ml_min":      "maximum total",
	"max_ratio_to_median":   "maximum ratio to the median",
	"max_ratio_to_mean":     "maximum ratio to the mean",
	"max_ratio_to_lowest":   "maximum ratio to the lowest",
	"max_difference_ml_min": "maximum difference",
	"healthy_cv":            "spread of healthy injectors",
	"false_alarm":           "chance of a false alarm",
	"false_hint":            "chance of a false doubt",
	"practical_ratio":       "smallest ratio that is flagged",
	"within_limit":          "high in its set, yet within the limit",
	"repeatability_cv":      "repeatability of a reading",
	"common_cv":             "variation from run to run",
	"timing_s":              "start and stop, each",
	"max_crank_s":           "longest crank",
	"rest_s":                "rest between cranks",
}

// wordsOf is a key in words, the key itself where there are none.
func wordsOf(key string) string {
	if words, ok := figureWords[key]; ok {
		return words
	}
	return key
}

// limitRow is one row of the limits sheet: a number or a text as its value.
type limitRow struct {
	part, key string
	words     string
	value     float64 // not shown where text stands; NaN for neither
	text      string
	unit      string
	source    string
	standing  string
	// name is what formulas call the value, which a reader may then change; ""
	// where none starts from it.
	name string
	// formula stands in the place of a value that follows from others.
	formula string
}

// Columns of the limits sheet.
const (
	colPart = iota + 1
	colFigure
	colKey
	colValue
	colUnit
	colSource
	colStanding
)

var limitHeads = []struct {
	head  string
	width float64
	right bool
}{
	{"part", 145, false}, {"figure", 190, false}, {"key in the sheet", 110, false}, {"value", 110, true},
	{"unit", 50, false}, {"source", 230, false}, {"in this test", 90, false},
}

// limits writes every figure of the limits sheet with its source, and whether
// it was applied or assumed.
func (b *book) limits(p *Page) {
	s := pen{b, b.sheetOf(sheetLimits)}
	s.height(1, 16)
	var widths []float64
	for i, h := range limitHeads {
		head := columnHead
		if !h.right {
			head.align = "left"
		}
		head.indent = indentOf(i + 1)
		s.text(i+1, 1, h.head, head)
		widths = append(widths, h.width)
	}
	s.widths(widths...)
	row := 1
	for _, l := range limitRows(p.Result) {
		row++
		s.limitRow(row, l)
	}
	s.list(len(limitHeads), row, paper{landscape: true, footer: footer(p)})
	s.protect()
}

// limitRow is one row; free text may take several lines.
func (p pen) limitRow(row int, l limitRow) {
	cell := body.with(func(l *look) { l.bottom = thinRule })
	free := cell.with(func(l *look) { l.quote = true })
	lines := 1
	for _, c := range []struct {
		col  int
		text string
		look look
	}{
		{colPart, l.part, free}, {colFigure, l.words, free}, {colKey, l.key, cell}, {colUnit, l.unit, cell},
		{colSource, l.source, free}, {colStanding, l.standing, cell},
	} {
		c.look.indent = indentOf(c.col)
		p.text(c.col, row, c.text, c.look)
		lines = max(lines, len(c.look.lines(visible(c.text), limitHeads[c.col-1].width)))
	}
	lines = max(lines, p.limitValue(row, l, cell))
	p.height(row, body.tall(lines))
}

// limitValue writes the value of a row, and gives the lines that it takes.
func (p pen) limitValue(row int, l limitRow, cell look) (lines int) {
	right := cell.with(func(look *look) {
		look.align = "right"
		if l.name != "" {
			look.open, look.fill = true, entryFill
		}
	})
	lines, v := 1, formula.NumOrBlank(l.value)
	switch {
	case l.formula != "":
		p.formula(colValue, row, l.formula, formula.Here{}, right)
		return lines
	case l.text != "":
		v, right.quote = formula.Str(l.text), true
		lines = len(right.face().wrap(visible(l.text), limitHeads[colValue-1].width))
	}
	p.value(colValue, row, v, right)
	if l.name != "" {
		p.figure(l.name, colValue, row, v)
	}
	return lines
}

// indentOf sets the unit off from the value before it.
func indentOf(col int) int {
	if col == colUnit {
		return 1
	}
	return 0
}

// limitRows are the rows of the limits sheet in its own order.
func limitRows(r *leakback.Result) []limitRow {
	sheet := r.Sheet
	rows := sheetRows(sheet)
	rows = append(rows, setRows(r)...)
	rows = append(rows, measurementRows(r)...)
	for i := range sheet.Limits {
		rows = append(rows, rowsOfLimit(r, &sheet.Limits[i])...)
	}
	for _, step := range sheet.Tightening {
		rows = append(rows, stepRow(step))
	}
	for _, note := range r.Notes {
		rows = append(rows, limitRow{part: "Note", value: math.NaN(), source: note})
	}
	return rows
}

// sheetRows say which sheet it is and for which engine.
func sheetRows(s *limits.Sheet) []limitRow {
	var rows []limitRow
	text := func(words, text string) {
		if text != "" {
			rows = append(rows, limitRow{part: "Sheet", words: words, text: text})
		}
	}
	text("name", s.Name)
	if s.Path != "" {
		text("file", fileName(s.Path))
	}
	text("engine", s.Engine)
	if s.Cylinders > 0 {
		rows = append(rows, limitRow{part: "Sheet", words: "cylinders", key: "cylinders", value: float64(s.Cylinders)})
	}
	text("firing order", numbers(s.FiringOrder, "-"))
	for _, line := range s.ReturnLines {
		text("return line "+line.Name, numbers(line.Cylinders, ", "))
	}
	if s.BackPressureBar != nil {
		rows = append(rows, rangeRows("back-pressure", "back_pressure_bar", *s.BackPressureBar,
			quantity.Pressure.Unit(), "hold")...)
		for i := range rows[len(rows)-2:] {
			rows[len(rows)-2+i].part = "Sheet"
		}
	}
	return rows
}

// rangeRows are the two ends of a range that formulas know by its key and prefix.
func rangeRows(words, key string, r limits.Range, unit, prefix string) []limitRow {
	return []limitRow{
		{words: words + ", from", key: key, value: r.Low, unit: unit, name: prefix + "_" + key + "_from"},
		{words: words + ", to", key: key, value: r.High, unit: unit, name: prefix + "_" + key + "_to"},
	}
}

// numbers joins cylinder numbers.
func numbers(list []int, between string) string {
	texts := make([]string, len(list))
	for i, n := range list {
		texts[i] = strconv.Itoa(n)
	}
	return strings.Join(texts, between)
}

// standing says what became of a figure in this test.
func standing(r *leakback.Result, key, source string) string {
	var words []string
	for _, a := range r.Applied {
		if a.What == key {
			words = append(words, "applied")
			break
		}
	}
	if limits.Assumed(source) {
		words = append(words, "assumed")
	}
	return strings.Join(words, ", ")
}

// setRows are the figures of the comparison within the engine.
func setRows(r *leakback.Result) []limitRow {
	set := r.Sheet.Set
	row := func(key string, value float64) limitRow {
		source := set.SourceOf(key)
		return limitRow{part: "Comparison within the engine", key: key, words: wordsOf(key), value: value,
			source: source, standing: standing(r, key, source), name: key}
	}
	within := row("within_limit", 0)
	within.text = string(set.WithinLimit)
	return []limitRow{row("healthy_cv", set.HealthyCV), row("false_alarm", set.FalseAlarm),
		row("false_hint", set.FalseHint), row("practical_ratio", set.PracticalRatio), within}
}

// measurementRows are the figures that the uncertainty of a rate rests on.
func measurementRows(r *leakback.Result) []limitRow {
	m := r.Sheet.Measurement
	var rows []limitRow
	add := func(key string, value float64, unit string) {
		if !math.IsNaN(value) {
			source := m.SourceOf(key)
			row := limitRow{part: "Measurement", key: key, words: wordsOf(key), value: value, unit: unit,
				source: source, standing: standing(r, key, source)}
			if key != "max_crank_s" && key != "rest_s" { // these take part in advice alone
				row.name = key
			}
			rows = append(rows, row)
		}
	}
	seconds := quantity.Interval.Unit()
	add("repeatability_cv", m.RepeatabilityCV, "")
	add("common_cv", m.CommonCV, "")
	add("timing_s", m.TimingS, seconds)
	add("max_crank_s", known(m.MaxCrankS), seconds)
	add("rest_s", known(m.RestS), seconds)
	return rows
}

// rowsOfLimit are the figures of one limit and the state they hold for.
func rowsOfLimit(r *leakback.Result, l *limits.Limit) []limitRow {
	prefix := ""
	if i := slices.Index(candidates(r), l); i >= 0 {
		prefix = limitName(i)
	}
	rows := slices.Concat(figureRows(l, prefix), stateRows(l, prefix))
	for i := range rows {
		rows[i].part, rows[i].source, rows[i].standing = "Limit for "+l.Condition, l.Source, "not applied"
		if l == r.Limit {
			rows[i].standing = "applied"
		}
		if prefix == "" { // for another condition than the test's
			rows[i].name = ""
		}
	}
	return rows
}

// limitName is what formulas call the i-th limit for the test's condition; the
// names of its figures begin so.
func limitName(i int) string { return "limit_" + strconv.Itoa(i+1) }

// candidates are the limits for the test's condition, in the order of the sheet.
// Which of them applies follows from the recorded state.
func candidates(r *leakback.Result) []*limits.Limit {
	var all []*limits.Limit
	for i := range r.Sheet.Limits {
		alone := limits.Sheet{Limits: r.Sheet.Limits[i : i+1]}
		if alone.For(r.Test.Condition, "", limits.State{}).Limit != nil {
			all = append(all, &r.Sheet.Limits[i])
		}
	}
	return all
}

// figureRows are the figures of a limit, and its maximum as it is compared
// where the book gives a volume.
func figureRows(l *limits.Limit, prefix string) []limitRow {
	var rows []limitRow
	for _, f := range l.Figures() {
		rows = append(rows, limitRow{words: wordsOf(f.Key), key: f.Key, value: f.Value, unit: f.Unit,
			name: prefix + "_" + f.Key})
	}
	most, ok := l.MaxMLMin()
	if !ok || l.MaxRateMLMin != nil {
		return rows
	}
	row := limitRow{words: "maximum, compared as a rate", value: most, unit: quantity.Rate.Unit()}
	if prefix != "" {
		row.formula = fmt.Sprintf("60*%s_max_volume_ml/%s_interval_s", prefix, prefix)
	}
	return append(rows, row)
}

// stateRows are the state that a limit holds for.
func stateRows(l *limits.Limit, prefix string) []limitRow {
	var rows []limitRow
	if l.Injectors != "" {
		rows = append(rows, limitRow{words: "holds for injectors", key: "injectors", text: l.Injectors,
			name: prefix + "_injectors"})
	}
	if l.Cranks > 0 {
		rows = append(rows, limitRow{words: "holds for cranks", key: "cranks", value: float64(l.Cranks),
			name: prefix + "_cranks"})
	}
	for _, state := range []struct {
		words, key string
		held       *limits.Range
		unit       string
	}{
		{"holds for rail pressure", "rail_pressure_bar", l.RailPressureBar, quantity.Pressure.Unit()},
		{"holds for fuel temperature", "fuel_temp_c", l.FuelTempC, quantity.Temperature.Unit()},
		{"holds for engine speed", "engine_rpm", l.EngineRPM, "rpm"},
	} {
		if state.held != nil {
			rows = append(rows, rangeRows(state.words, state.key, *state.held, state.unit, prefix)...)
		}
	}
	return rows
}

// stepRow is one tightening step, with the tolerances that the sheet gives.
func stepRow(s limits.Step) limitRow {
	var how []string
	if s.TorqueText != "" {
		how = append(how, s.TorqueText+toleranceText(s.TorqueToleranceNM, quantity.Torque))
	}
	if s.AngleDeg > 0 {
		text := plainFigure(s.AngleDeg) + "°"
		if s.AngleToleranceDeg > 0 {
			text += " ± " + plainFigure(s.AngleToleranceDeg) + "°"
		}
		how = append(how, text)
	}
	if s.NewFastener {
		how = append(how, "new fastener")
	}
	return limitRow{part: fmt.Sprintf("Tightening step %d", s.Step), words: s.Part, value: math.NaN(),
		text: strings.Join(how, ", "), source: s.Source}
}

// toleranceText is " ± 2 N·m"; "" where the sheet gives none.
func toleranceText(tolerance float64, k quantity.Kind) string {
	if !(tolerance > 0) {
		return ""
	}
	return " ± " + quantity.Format(k, tolerance)
}

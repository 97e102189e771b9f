package entry

import (
	"math"
	"strings"
	"unicode"

	"leakback/leakback"
	"leakback/limits/quantity"
)

// cell is the current row's cell, trimmed; "" where there is no such column.
func (r *Reader) cell(c column) string {
	if at := r.head.at[c]; at >= 0 && at < len(r.record) {
		return strings.TrimSpace(r.record[at])
	}
	return ""
}

// typedUnits name the unit of a reading as typed where it is not mL, so that
// nobody takes one for the other later.
var typedUnits = map[string]string{"volume_cc": " cc", "volume_floz": " fl oz", massName: " g"}

// reading reads what belongs to the reading alone.
func (r *Reader) reading() leakback.Reading {
	before := len(r.faults)
	rd := leakback.Reading{Typed: r.cell(colVolume), ReturnLine: r.word(colReturnLine)}
	factor := r.head.factor[colVolume]
	if rd.ReturnLine == "" {
		rd.ReturnLine = r.def.ReturnLine
	}
	var p problem
	rd.Tube, p = r.def.tube(r.number(colGraduation), r.number(colCapacity), r.number(colTolerance))
	rd.Bound, rd.VolumeML = r.level(rd.Typed)
	if rd.Typed != "" {
		rd.Typed += typedUnits[r.head.name[colVolume]]
	}
	if r.head.mass {
		factor = r.weigh(&rd)
	}
	start, over := r.number(colStart), r.number(colOverRange)
	if rd.StartRead = !math.IsNaN(start); rd.StartRead {
		rd.StartML = start
	}
	if len(r.faults) > before {
		return rd // what rests on a faulty cell is not faulty itself
	}
	r.report(p)
	if p.expected == "" && over == 1 {
		p = r.overRange(&rd)
		r.report(p)
	}
	if p.expected == "" {
		r.report(checkLevels(&rd, factor))
	}
	return rd
}

// weigh makes a volume of a mass; it gives the volume of a gram.
func (r *Reader) weigh(rd *leakback.Reading) (mlPerG float64) {
	density := orElse(r.number(colDensity), r.def.DensityGML)
	assumed := math.IsNaN(density)
	if assumed {
		density = leakback.AssumedDensityGML
	}
	if rd.Typed != "" {
		rd.VolumeML, rd.DensityGML, rd.DensityAssumed = rd.VolumeML/density, density, assumed
	}
	if start := r.cell(colStart); start != "" {
		r.fault(colStart, start, "nothing beside "+massName+": weigh what was added alone")
	}
	return 1 / density
}

func (r *Reader) report(p problem) {
	if p.expected != "" {
		r.fault(p.column, r.cell(p.column), p.expected)
	}
}

// level is the volume's cell as a level in mL; NaN where it is empty or faulty.
func (r *Reader) level(text string) (leakback.Bound, float64) {
	if text == "" {
		return leakback.Exact, math.NaN()
	}
	bound, figure := cutBound(text)
	x, err := r.figure(figure)
	switch {
	case err != nil || figure != strings.TrimSpace(figure):
		r.fault(colVolume, text, r.commaHint(figure, r.levelExpected(text, figure, err)))
		return bound, math.NaN()
	case !r.head.levels().holds(x):
		r.fault(colVolume, text, r.head.levels().expected)
		return bound, math.NaN()
	}
	return bound, x
}

// figure is a level without its bound, in mL or g. Where people typed it, it may
// carry its unit.
func (r *Reader) figure(text string) (float64, error) {
	x, err := quantity.ParseNumber(text, r.head.mark != ',')
	if err != nil && r.takesUnits() {
		return quantity.Parse(quantity.Volume, text)
	}
	return x * r.head.factor[colVolume], err
}

// takesUnits says whether the readings' column may name units: its own is the
// one that a plain figure has.
func (r *Reader) takesUnits() bool { return r.typed && r.head.name[colVolume] == volumeName }

// levelExpected says what should stand where text is no level.
func (r *Reader) levelExpected(text, figure string, err error) string {
	if r.takesUnits() && err != nil && figure != "" && !countsDrops(text) && strings.ContainsFunc(figure, unicode.IsLetter) {
		return expectedBy(err, figure)
	}
	return levelExpected(text, figure)
}

// levels is the span of the readings' column.
func (h *header) levels() *span {
	if h.mass {
		return &massSpan
	}
	return &spans[colVolume]
}

// overRange makes a lower bound of a reading whose tube overflowed.
func (r *Reader) overRange(rd *leakback.Reading) problem {
	switch full := rd.Tube.CapacityML; {
	case rd.Bound == leakback.AtMost:
		return problem{colOverRange, "0 or nothing beside a reading with <"}
	case !rd.Read() && full == 0:
		return problem{colOverRange, "the level that was reached, or the tube's capacity (capacity_ml or --capacity)"}
	case !rd.Read():
		// An empty Typed would mean that the cylinder was not read.
		rd.VolumeML, rd.Typed = full, ">"+typed(full)
	}
	rd.Bound = leakback.AtLeast
	return problem{}
}

// number is a cell of a column of numbers, in its inside unit; NaN where it is
// empty or faulty.
func (r *Reader) number(c column) float64 {
	text := r.cell(c)
	if text == "" {
		return math.NaN()
	}
	if c == colInterval && strings.EqualFold(text, Unknown) {
		return unknownS
	}
	x, err := quantity.ParseNumber(text, r.head.mark != ',')
	x *= r.head.factor[c]
	if err == nil && spans[c].holds(x) {
		return x
	}
	r.fault(c, text, r.commaHint(text, spans[c].expected))
	return math.NaN()
}

// commaHint is what was expected, or the hint that the decimal comma of an
// otherwise good number has to be a point here.
func (r *Reader) commaHint(text, expected string) string {
	if _, err := quantity.ParseNumber(text, true); err == nil && r.head.mark == ',' && strings.Contains(text, ",") {
		return pointPlease
	}
	return expected
}

// word is a cell of a column of words in its usual form; "" where it is empty
// or faulty. The same words come again in every row and are kept once.
func (r *Reader) word(c column) string {
	text := r.cell(c)
	if text == "" {
		return ""
	}
	if last := &r.last[c]; last.text == text {
		return last.word
	}
	if word, known := r.words[c][text]; known {
		r.last[c].text, r.last[c].word = strings.Clone(text), word
		return word
	}
	word, ok := wordKinds[c].usual(text)
	if !ok {
		r.fault(c, text, wordKinds[c].expected)
		return ""
	}
	return r.keep(c, strings.Clone(text), strings.Clone(word))
}

// mostWords is how many different words of a column are kept.
const mostWords = 1024

func (r *Reader) keep(c column, text, word string) string {
	if r.words[c] == nil || len(r.words[c]) >= mostWords {
		r.words[c] = map[string]string{}
	}
	r.words[c][text] = word
	return word
}

// fault reports a cell of the current row.
func (r *Reader) fault(c column, value, expected string) {
	r.add(Fault{Row: r.row, Column: r.head.name[c], Value: value, Expected: expected})
}

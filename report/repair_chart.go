package report

import (
	"fmt"
	"math"
	"strings"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits/quantity"
)

// pairChart draws the rates of the first and the last test beside one another,
// from a row on and so high in points.
func (s *repairSheet) pairChart(top int, high float64) {
	union := &leakback.Result{Cylinders: make([]leakback.Cylinder, len(s.pair.Cylinders))}
	for i := range s.pair.Cylinders {
		union.Cylinders[i].Cylinder = s.pair.Cylinders[i].Cylinder
	}
	f := figureSheet{reportSheet: &reportSheet{pen: s.pen, r: union, live: true}, top: top, col: colFigures}
	s.text(colFigures, top-1, "Figures behind the chart", small.with(func(l *look) { l.bold, l.wrap = true, false }))
	c := chart{Beside: true, Cylinders: f.numbers(), Across: axisTitle{Text: "cylinder"}, Upright: axisTitle{"return rate, mL/min", true}}
	c.Bars = []series{
		s.bars(&f, wordBefore, s.pair.From, func(c *repair.Change) *repair.Figures { return &c.Before }, series{Fill: accent, Edge: accent, Hatched: true}),
		s.bars(&f, wordAfter, s.pair.To, func(c *repair.Change) *repair.Figures { return &c.After }, series{Fill: "D3DADA", Edge: ink}),
	}
	for _, line := range s.limitLines() {
		c.Lines = append(c.Lines, f.column(line))
	}
	c.number()
	c.layout(high, across(1, lastColumn))
	c.Y, c.H = 6/high, 1-(6+32+13)/high
	s.draw(c, top, high, anchor{Name: "Return rates before and after", Alt: s.altText()})
}

// bars are the bars of one of the tests, with whiskers for the uncertainty and
// signs over bounds.
func (s *repairSheet) bars(f *figureSheet, word string, side int, of func(*repair.Change) *repair.Figures, style series) series {
	in := func(template string) string {
		return strings.NewReplacer("PAIR", s.id, "SIDE", word).Replace(template)
	}
	for i := range s.pair.Cylinders {
		figures := of(&s.pair.Cylinders[i])
		if sign := map[leakback.Bound]string{leakback.AtLeast: "≥", leakback.AtMost: "≤"}[figures.Bound]; sign != "" && !math.IsNaN(figures.RateMLMin) {
			style.Marks = append(style.Marks, pointLabel{i + 1, sign})
		}
	}
	one := f.column(drawn{name: word + ", " + clipped(oneLine(s.repair.label(side)), 40), style: style, formula: in(`IF(ISNUMBER(PAIR.SIDE),PAIR.SIDE,0)`)})
	whiskers := f.column(drawn{name: "± U " + word, formula: in(`IF(ISNUMBER(PAIR_so.SIDE_expanded),PAIR_so.SIDE_expanded,0)`)})
	one.Expanded = whiskers.Values
	return one
}

// limitLines are the maximum of a cylinder, of both tests where it differs.
func (s *repairSheet) limitLines() []drawn {
	var all []drawn
	d := s.decimals()
	line := func(name string, most float64, dash string) {
		all = append(all, drawn{name: name + limitFigure(most, d), line: true, level: most, formula: string(appendNumber(nil, most)),
			style: series{Fill: ink, Width: 22225, Dash: dash}})
	}
	_, before := bounds(s.repair.Comparison.Sides[s.pair.From].Result)
	_, after := bounds(s.repair.Comparison.Sides[s.pair.To].Result)
	switch {
	case !math.IsNaN(after) && before == after:
		line("limit ", after, "solid")
		return all
	case !math.IsNaN(after):
		line("limit after ", after, "solid")
	}
	if !math.IsNaN(before) {
		line("limit before ", before, "sysDash")
	}
	return all
}

// altText says in words what the chart shows.
func (s *repairSheet) altText() string {
	d := s.decimals()
	texts := make([]string, len(s.pair.Cylinders))
	for i := range s.pair.Cylinders {
		c := &s.pair.Cylinders[i]
		texts[i] = fmt.Sprintf("cylinder %d %s before (%s), %s after (%s)", c.Cylinder, figuresText(&c.Before, d), VerdictWord(c.Before.Verdict),
			figuresText(&c.After, d), VerdictWord(c.After.Verdict))
	}
	text := fmt.Sprintf("Bar chart of the return rates in mL/min, %s hatched and %s plain: %s.", s.repair.label(s.pair.From), s.repair.label(s.pair.To), strings.Join(texts, "; "))
	for _, l := range s.limitLines() {
		text += " Line: " + l.name + "."
	}
	return text
}

// figuresText is a rate without its uncertainty, a bound marked as one.
func figuresText(f *repair.Figures, decimals int) string {
	if math.IsNaN(f.RateMLMin) {
		return "none"
	}
	return strings.TrimPrefix(f.Bound.String()+" "+quantity.Fixed(f.RateMLMin, decimals), " ")
}

package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
)

// said is a paragraph with a lead in bold, such as "Cylinder 4".
type said struct{ lead, text string }

// String is the paragraph as plain text.
func (p said) String() string {
	if p.lead == "" {
		return p.text
	}
	return p.lead + ": " + p.text
}

// leftTo is the last column of the left of two blocks of text side by side.
const leftTo = colLimit

// texts are the blocks of text under the results.
func (s *reportSheet) texts() {
	s.block("Limits and decision rule", limitsSaid(s.r), small, 10)
	s.block("Cautions", cautions(s.p), small.with(func(l *look) { l.size = 7.5 }), 16)
}

// pair is a block of text with what the test does not see beside it.
func (s *reportSheet) pair(name string, paragraphs []said, most int) {
	if len(paragraphs)+len(s.p.NotSeen) == 0 {
		return
	}
	if len(paragraphs) > 0 {
		s.heading(1, leftTo, name)
	}
	if len(s.p.NotSeen) > 0 {
		s.heading(colChart, lastColumn, headUnseen)
	}
	s.row++
	s.grow(s.prose(1, leftTo, paragraphs, body, most, name))
	s.grow(s.prose(colChart, lastColumn, plainSaid(s.p.NotSeen), small.with(set), unseenLines, headUnseen))
	s.row++
	s.gap(5)
}

// set sets the right of two blocks off from the left.
func set(l *look) { l.indent = 1 }

// heading writes a heading into the cells from one column to another of this row.
func (s *reportSheet) heading(from, to int, text string) {
	l := heading
	if from > 1 {
		l = l.with(set)
	}
	s.height(s.row, 15)
	s.merge(from, to, s.row, l)
	s.text(from, s.row, text, l)
}

// block is a heading with its text across the page.
func (s *reportSheet) block(name string, paragraphs []said, l look, most int) {
	if len(paragraphs) == 0 {
		return
	}
	s.heading(1, lastColumn, name)
	s.row++
	s.grow(s.prose(1, lastColumn, paragraphs, l, most, name))
	s.row++
	s.gap(4)
}

// prose writes paragraphs into one cell made of several, at most so many lines,
// and gives the height they need.
func (s *reportSheet) prose(from, to int, paragraphs []said, l look, most int, name string) float64 {
	l.quote = true
	shown := s.shorten(paragraphs, l, across(from, to), most, name)
	s.merge(from, to, s.row, l)
	var runs []excelize.RichTextRun
	lines := 0
	for i, p := range shown {
		if i > 0 {
			runs = append(runs, l.run("\n", false))
		}
		if p.lead != "" {
			runs = append(runs, l.run(stored(p.lead)+": ", true))
		}
		runs = append(runs, l.run(stored(p.text), false))
		lines += len(l.lines(visible(p.String()), across(from, to)))
	}
	if lines > 0 {
		s.keep(s.file.SetCellRichText(s.sheet, at(from, s.row), runs))
	}
	return l.tall(lines)
}

// run is a piece of text in the look's typeface.
func (l look) run(text string, bold bool) excelize.RichTextRun {
	return excelize.RichTextRun{Text: text, Font: &excelize.Font{
		Family: family, Size: l.size, Bold: bold || l.bold, Color: l.color,
	}}
}

// shorten keeps the paragraphs that fit into so many lines. What it leaves out
// is said, and stands in full below the page.
func (s *reportSheet) shorten(paragraphs []said, l look, width float64, most int, name string) []said {
	left := most
	for i, p := range paragraphs {
		need := len(l.lines(visible(p.String()), width))
		last := i == len(paragraphs)-1
		if need < left || last && need == left {
			left -= need
			continue
		}
		s.cut = append(s.cut, fact{name, lines(paragraphs)})
		return s.cutAt(paragraphs, i, l, width, left)
	}
	return paragraphs
}

// cutAt keeps the paragraphs before i, and of i itself what fits where it is
// the first.
func (s *reportSheet) cutAt(paragraphs []said, i int, l look, width float64, left int) []said {
	kept := slices.Clone(paragraphs[:i])
	more := len(paragraphs) - i
	if i == 0 {
		text, _ := l.face().fit(visible(paragraphs[0].text), width, left-2)
		kept = append(kept, said{paragraphs[0].lead, text})
		more--
	}
	if more == 0 {
		return append(kept, said{"", "In full below the printed page."})
	}
	return append(kept, said{"", fmt.Sprintf("And %d more, in full below the printed page.", more)})
}

// lines is paragraphs as plain text, each in its line.
func lines(paragraphs []said) string {
	texts := make([]string, len(paragraphs))
	for i, p := range paragraphs {
		texts[i] = p.String()
	}
	return strings.Join(texts, "\n")
}

// plainSaid are sentences as paragraphs without a lead.
func plainSaid(texts []string) []said {
	var all []said
	for _, text := range texts {
		all = append(all, said{"", Sentence(text)})
	}
	return all
}

// findings are the reasons, the worst cylinders first, then the test's own,
// then what was not recorded.
func findings(r *leakback.Result) []said {
	var all []said
	for verdict := leakback.Fail; verdict >= leakback.Pass; verdict-- {
		for i := range r.Cylinders {
			if c := &r.Cylinders[i]; c.Verdict == verdict {
				all = appendSaid(all, fmt.Sprintf("Cylinder %d", c.Cylinder), c.Findings, c.Settle)
			}
		}
	}
	all = appendSaid(all, "Test", r.Findings, testSettle(r))
	if len(r.Notes) > 0 {
		all = append(all, said{"Note", strings.Join(r.Notes, " ")})
	}
	if len(all) == 0 {
		all = append(all, said{"", "Nothing was found."})
	}
	return all
}

// testSettle is what settles the test, unless a cylinder says the same.
func testSettle(r *leakback.Result) *leakback.Settle {
	for i := range r.Cylinders {
		if c := &r.Cylinders[i]; c.Settle != nil && r.Settle != nil && c.Settle.Text == r.Settle.Text {
			return nil
		}
	}
	return r.Settle
}

// appendSaid makes one paragraph of the findings and what would settle them.
func appendSaid(all []said, lead string, findings []leakback.Finding, settle *leakback.Settle) []said {
	var texts []string
	for _, f := range findings {
		texts = append(texts, Sentence(f.Text))
	}
	if settle != nil {
		texts = append(texts, "To settle it: "+Sentence(settle.Text))
	}
	if len(texts) == 0 {
		return all
	}
	return append(all, said{lead, strings.Join(texts, " ")})
}

// limitsSaid is which limits were applied, on whose word, and by which rule.
func limitsSaid(r *leakback.Result) []said {
	all := []said{{"Limits sheet", limitsName(r)}, {"Decision rule", ruleText(r)}}
	var sources, figures []string
	for _, a := range r.Applied {
		if limits.Assumed(a.Source) {
			continue
		}
		i := slices.Index(sources, a.Source)
		if i < 0 {
			sources, figures, i = append(sources, a.Source), append(figures, ""), len(sources)
		}
		figures[i] = strings.TrimPrefix(figures[i]+", "+appliedText(a), ", ")
	}
	for i, source := range sources {
		all = append(all, said{"Applied", Sentence(figures[i] + "; source: " + source)})
	}
	return append(all, assumedSaid(r)...)
}

// assumedSaid are the figures that decided and that nobody measured.
func assumedSaid(r *leakback.Result) []said {
	var figures []string
	for _, a := range r.Applied {
		if limits.Assumed(a.Source) {
			figures = append(figures, appliedText(a))
		}
	}
	if len(figures) == 0 {
		return nil
	}
	return []said{{"Assumed, not measured", Sentence(strings.Join(figures, ", "))}}
}

// limitsName is the sheet by name, its engine and how the book gives the limit.
func limitsName(r *leakback.Result) string {
	text := r.Sheet.Name
	if r.Sheet.Engine != "" && !strings.Contains(text, r.Sheet.Engine) {
		text += ", for " + r.Sheet.Engine
	}
	if l := r.Limit; l != nil && l.MaxVolumeML != nil && l.IntervalS != nil {
		text += "; the book gives " + quantity.Format(quantity.Volume, *l.MaxVolumeML) +
			" in " + quantity.Format(quantity.Interval, *l.IntervalS)
	}
	return Sentence(text)
}

// ruleText is how verdicts were reached, and how often that goes wrong.
func ruleText(r *leakback.Result) string {
	var rules []string
	if r.Limit != nil {
		rules = append(rules, "a figure passes or fails its limit only where it lies clear of it by more than its "+
			"uncertainty U, which leaves a wrong verdict a chance of at most 5\u00a0%, and is undecided where it lies closer")
	}
	if r.Agreeing > 0 {
		rules = append(rules, fmt.Sprintf("a cylinder stands apart from its set where it does not belong to the "+
			"largest group that agrees, at a chance of %s\u00a0%% that a healthy engine is accused",
			plainFigure(roundedPercent(r.Sheet.Set.FalseAlarm))))
	}
	if len(rules) == 0 {
		return "Nothing could be judged."
	}
	return Sentence(strings.Join(rules, "; "))
}

// roundedPercent is a share in percent without the noise of the multiplication.
func roundedPercent(share float64) float64 { return math.Round(share*1e8) / 1e6 }

// cautions are the usual cautions as one paragraph, to save room.
func cautions(p *Page) []said {
	if len(p.Cautions) == 0 {
		return plainSaid(nonEmpty(p.CautionLine))
	}
	var texts []string
	for _, text := range p.Cautions {
		texts = append(texts, Sentence(text))
	}
	return []said{{"", strings.Join(texts, " ")}}
}

// nonEmpty is the text in a list, none where it is empty.
func nonEmpty(text string) []string {
	if text == "" {
		return nil
	}
	return []string{text}
}

// appliedText is one applied figure in words: "maximum rate 40 mL/min",
// "repeatability of a reading 3 %".
func appliedText(a leakback.Applied) string {
	words := wordsOf(a.What) + " "
	if strings.HasSuffix(a.What, "_cv") || strings.HasPrefix(a.What, "false_") {
		return words + plainFigure(roundedPercent(a.Value)) + "\u00a0%"
	}
	for _, k := range []struct {
		suffix string
		kind   quantity.Kind
	}{{"_ml_min", quantity.Rate}, {"_ml", quantity.Volume}, {"_s", quantity.Interval}} {
		if strings.HasSuffix(a.What, k.suffix) {
			return words + quantity.Format(k.kind, a.Value)
		}
	}
	return words + plainFigure(a.Value)
}

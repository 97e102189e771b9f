package command

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/report"
)

// sheetPrinter prints a limits sheet as plain text. Each source is printed
// once, at the end, and a number in brackets refers to it; "assumed" stands
// beside every assumed figure.
type sheetPrinter struct {
	w       io.Writer
	screen  screen
	sources []string
}

// showSheet prints a sheet; the writer must not fail.
func showSheet(w io.Writer, on screen, s *limits.Sheet) {
	p := &sheetPrinter{w: w, screen: on}
	p.prose("", s.Name)
	p.line("")
	p.facts(s)
	p.set(s.Set)
	p.measurement(s.Measurement)
	p.limits(s)
	p.tightening(s.Tightening)
	p.heading("Sources")
	for i, source := range p.sources {
		p.prose(fmt.Sprintf("  %-6s", mark(i)), source)
	}
}

func (p *sheetPrinter) line(text string) { fmt.Fprintln(p.w, strings.TrimRight(text, " ")) }

// prose prints text behind a lead, which is ASCII, wrapped to the screen and
// indented as far as the lead.
func (p *sheetPrinter) prose(lead, text string) {
	width := max(p.screen.width-len(lead), 20)
	indent := strings.Repeat(" ", len(lead))
	for _, line := range report.Lines(text, width, p.screen.unicode) {
		p.line(lead + line)
		lead = indent
	}
}

func (p *sheetPrinter) heading(text string) {
	p.line("")
	p.prose("", text)
}

// fact prints a line about the sheet, nothing where there is nothing to say.
func (p *sheetPrinter) fact(name, text string) {
	if text != "" {
		p.prose(fmt.Sprintf("  %-15s", name), text)
	}
}

// figure prints one figure and refers to its source.
func (p *sheetPrinter) figure(key, value, source string) {
	p.line(fmt.Sprintf("  %-23s%-19s%s", key, report.Clean(value, p.screen.unicode), p.cite(source)))
}

// cite is the number of a source, and the word assumed where it is.
func (p *sheetPrinter) cite(source string) string {
	i := slices.Index(p.sources, source)
	if i < 0 {
		i = len(p.sources)
		p.sources = append(p.sources, source)
	}
	if limits.Assumed(source) {
		return "assumed " + mark(i)
	}
	return mark(i)
}

func mark(i int) string { return fmt.Sprintf("[%d]", i+1) }

func (p *sheetPrinter) facts(s *limits.Sheet) {
	p.fact("found", string(s.Origin))
	p.fact("file", s.Path)
	p.fact("engine", cmp.Or(s.Engine, "any"))
	if s.Cylinders > 0 {
		p.fact("cylinders", strconv.Itoa(s.Cylinders))
	}
	p.fact("firing order", numbers(s.FiringOrder, "-"))
	for _, line := range s.ReturnLines {
		p.fact("return line", line.Name+": "+numbers(line.Cylinders, ", "))
	}
	if r := s.BackPressureBar; r != nil {
		p.fact("back-pressure", span(r, quantity.Pressure.Unit()))
	}
}

func numbers(list []int, between string) string {
	texts := make([]string, len(list))
	for i, n := range list {
		texts[i] = strconv.Itoa(n)
	}
	return strings.Join(texts, between)
}

func (p *sheetPrinter) set(s limits.Set) {
	p.heading("Comparison within the engine")
	for _, f := range []struct {
		key   string
		value float64
	}{
		{"healthy_cv", s.HealthyCV}, {"false_alarm", s.FalseAlarm},
		{"false_hint", s.FalseHint}, {"practical_ratio", s.PracticalRatio},
	} {
		p.figure(f.key, plain(f.value), s.SourceOf(f.key))
	}
	p.figure("within_limit", string(s.WithinLimit), s.SourceOf("within_limit"))
}

func (p *sheetPrinter) measurement(m limits.Measurement) {
	p.heading("Uncertainty of a rate")
	p.figure("repeatability_cv", plain(m.RepeatabilityCV), m.SourceOf("repeatability_cv"))
	p.figure("common_cv", plain(m.CommonCV), m.SourceOf("common_cv"))
	p.figure("timing_s", plain(m.TimingS)+" s", m.SourceOf("timing_s"))
	if m.MaxCrankS > 0 {
		p.figure("max_crank_s", plain(m.MaxCrankS)+" s", m.SourceOf("max_crank_s"))
		p.figure("rest_s", plain(m.RestS)+" s", m.SourceOf("rest_s"))
	}
}

func (p *sheetPrinter) limits(s *limits.Sheet) {
	if len(s.Limits) == 0 {
		p.heading("No absolute limit: those belong to the engine's maker")
		return
	}
	for i := range s.Limits {
		l := &s.Limits[i]
		p.heading(fmt.Sprintf("Limit for %s (line %d)%s", l.Condition, l.Line, stateOf(l)))
		for _, f := range l.Figures() {
			p.figure(f.Key, strings.TrimSpace(plain(f.Value)+" "+f.Unit), l.Source)
			if rate, ok := l.MaxMLMin(); ok && f.Key == "interval_s" {
				p.figure("  compared as a rate", quantity.Format(quantity.Rate, rate), l.Source)
			}
		}
	}
}

// stateOf is the state a limit is given for, as it follows its condition.
func stateOf(l *limits.Limit) string {
	var parts []string
	if l.Injectors != "" {
		parts = append(parts, "injectors "+l.Injectors)
	}
	if l.Cranks > 0 {
		parts = append(parts, "cranks "+strconv.Itoa(l.Cranks))
	}
	for _, r := range []struct {
		name, unit string
		span       *limits.Range
	}{
		{"rail pressure", quantity.Pressure.Unit(), l.RailPressureBar},
		{"fuel temperature", quantity.Temperature.Unit(), l.FuelTempC},
		{"engine speed", "rpm", l.EngineRPM},
	} {
		if r.span != nil {
			parts = append(parts, r.name+" "+span(r.span, r.unit))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return ": " + strings.Join(parts, ", ")
}

func (p *sheetPrinter) tightening(steps []limits.Step) {
	if len(steps) == 0 {
		return
	}
	p.heading("Tightening")
	for _, s := range steps {
		p.prose(fmt.Sprintf("  %-4d", s.Step), fmt.Sprintf("%s: %s %s", s.Part, tighten(s), p.cite(s.Source)))
	}
}

// tighten is what is done in one step.
func tighten(s limits.Step) string {
	var parts []string
	if s.TorqueText != "" {
		parts = append(parts, s.TorqueText)
	}
	if nm := quantity.Format(quantity.Torque, s.TorqueNM); s.TorqueNM > 0 && nm != s.TorqueText {
		parts[0] += " (" + nm + ")"
	}
	if s.AngleDeg > 0 {
		parts = append(parts, plain(s.AngleDeg)+" degrees")
	}
	if s.NewFastener {
		parts = append(parts, "new fastener")
	}
	return strings.Join(parts, ", ")
}

// span is a range with its unit once: "300 to 400 bar".
func span(r *limits.Range, unit string) string {
	return plain(r.Low) + " to " + plain(r.High) + " " + unit
}

// plain is a figure as the sheet has it.
func plain(x float64) string { return quantity.Plain(x, -1) }

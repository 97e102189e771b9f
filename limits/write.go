package limits

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"leakback/limits/quantity"
)

// Write writes a sheet as TOML, with comments, that Parse reads back to the
// same sheet: every figure exactly, every text and source as it was. What the
// sheet left to the built-in figures stays left to them. A sheet that no file
// can hold, because Parse would refuse it, is an error, and nothing is written.
func Write(w io.Writer, s *Sheet) error {
	text := written(s)
	back, err := Parse([]byte(text), s.Path)
	if err != nil {
		return fmt.Errorf("the limits sheet cannot be written: %w", err)
	}
	if written(back) != text {
		return errors.New("the limits sheet cannot be written: it would not read back as it is")
	}
	_, err = io.WriteString(w, text)
	return err
}

func written(s *Sheet) string {
	p := &sheetWriter{}
	p.comment("Limits sheet, written by leakback. The unit ends a key's name, and every table",
		"names the source of its figures. What each key means: leakback limits start ENGINE")
	p.engine(s)
	p.set(&s.Set)
	p.measurement(&s.Measurement)
	for i := range s.Limits {
		p.limit(&s.Limits[i], i == 0)
	}
	for i := range s.Tightening {
		p.step(&s.Tightening[i], i == 0)
	}
	return p.String()
}

// sheetWriter puts a sheet together line by line.
type sheetWriter struct{ strings.Builder }

func (p *sheetWriter) comment(lines ...string) {
	for _, line := range lines {
		p.WriteString("# " + line + "\n")
	}
}

// header begins a table, behind the comments given.
func (p *sheetWriter) header(title string, comments ...string) {
	p.WriteString("\n")
	p.comment(comments...)
	p.WriteString(title + "\n")
}

func (p *sheetWriter) key(name, value string) { p.WriteString(name + " = " + value + "\n") }

// text writes a text, nothing where there is none.
func (p *sheetWriter) text(name, text string) {
	if text != "" {
		p.key(name, quoted(text))
	}
}

// figure writes a number with what it means.
func (p *sheetWriter) figure(name string, x float64, meaning string) {
	p.key(name, number(x)+"  # "+meaning)
}

// count writes a whole number, nothing where it is 0.
func (p *sheetWriter) count(name string, n int) {
	if n != 0 {
		p.key(name, strconv.Itoa(n))
	}
}

func (p *sheetWriter) span(name string, r *Range) {
	if r != nil {
		p.key(name, "["+number(r.Low)+", "+number(r.High)+"]")
	}
}

// number is x exactly, as a plain decimal.
func number(x float64) string { return strconv.FormatFloat(x+0, 'f', -1, 64) } // never -0

// quoted is text as a basic string of TOML, in which nothing is that cannot be seen:
// the sheet is looked at on a terminal.
func quoted(text string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range text {
		switch {
		case r == '"' || r == '\\':
			b.WriteString(`\` + string(r))
		case r > 0xffff && unicode.Is(unicode.Cf, r):
			fmt.Fprintf(&b, `\U%08x`, r)
		case unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp):
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

func numbersOf(cylinders []int) string {
	texts := make([]string, len(cylinders))
	for i, c := range cylinders {
		texts[i] = strconv.Itoa(c)
	}
	return "[" + strings.Join(texts, ", ") + "]"
}

// engine writes what stands above the tables.
func (p *sheetWriter) engine(s *Sheet) {
	p.WriteString("\n")
	p.text("name", s.Name)
	p.text("engine", s.Engine)
	p.count("cylinders", s.Cylinders)
	if len(s.FiringOrder) > 0 {
		p.key("firing_order", numbersOf(s.FiringOrder))
	}
	if len(s.ReturnLines) > 0 {
		p.key("return_lines", inline(s.ReturnLines))
	}
	if s.BackPressureBar != nil {
		p.comment("Where the return must be held up; without it recorded nothing is judged.")
		p.span("back_pressure_bar", s.BackPressureBar)
	}
}

var bareKey = regexp.MustCompile(`^[A-Za-z0-9_-]+$`)

// inline is the return lines as an inline table.
func inline(lines []ReturnLine) string {
	texts := make([]string, len(lines))
	for i, line := range lines {
		name := line.Name
		if !bareKey.MatchString(name) {
			name = quoted(name)
		}
		texts[i] = name + " = " + numbersOf(line.Cylinders)
	}
	return "{ " + strings.Join(texts, ", ") + " }"
}

// figured is a figure of a sheet that may be left to the built-in one.
type figured struct {
	key     string
	value   float64
	meaning string
}

// figures writes those that the sheet gives itself.
func (p *sheetWriter) figures(list []figured, defaulted []string) {
	for _, f := range list {
		if !slices.Contains(defaulted, f.key) {
			p.figure(f.key, f.value, f.meaning)
		}
	}
}

// set writes [set], nothing where the whole of it is built in.
func (p *sheetWriter) set(s *Set) {
	if reflect.DeepEqual(*s, builtinSet()) {
		return
	}
	p.header("[set]", "Comparison of the cylinders with one another.")
	p.figures([]figured{
		{"healthy_cv", s.HealthyCV, "spread of good injectors, one standard deviation, as a fraction"},
		{"false_alarm", s.FalseAlarm, "chance that a healthy engine has one failed"},
		{"false_hint", s.FalseHint, "chance that it has one undecided"},
		{"practical_ratio", s.PracticalRatio, "below this ratio to the others nothing is said"},
	}, s.Defaulted)
	if !slices.Contains(s.Defaulted, "within_limit") {
		p.comment("What an injector is that stands out and yet meets the maker's maximum.")
		p.text("within_limit", string(s.WithinLimit))
	}
	p.text("source", s.Source)
}

// measurement writes [measurement], nothing where the whole of it is built in.
func (p *sheetWriter) measurement(m *Measurement) {
	if reflect.DeepEqual(*m, builtinMeasurement()) {
		return
	}
	p.header("[measurement]", "How well the shop measures.")
	p.figures([]figured{
		{"repeatability_cv", m.RepeatabilityCV, "one injector from run to run, as a fraction"},
		{"common_cv", m.CommonCV, "all of a run together, from run to run, as a fraction"},
		{"timing_s", m.TimingS, "standard uncertainty of the start, and of the stop"},
	}, m.Defaulted)
	if m.MaxCrankS != 0 {
		p.figure("max_crank_s", m.MaxCrankS, "the longest the starter may turn at a stretch")
		p.figure("rest_s", m.RestS, "its rest after that")
	}
	p.text("source", m.Source)
}

// limit writes one of the maker's limits.
func (p *sheetWriter) limit(l *Limit, first bool) {
	if first {
		p.header("[[limit]]", "The maker's limits, one table for each running state.")
	} else {
		p.header("[[limit]]")
	}
	p.text("condition", l.Condition)
	p.text("injectors", l.Injectors)
	p.count("cranks", l.Cranks)
	for _, f := range l.Figures() {
		p.key(f.Key, number(f.Value))
	}
	p.span("rail_pressure_bar", l.RailPressureBar)
	p.span("fuel_temp_c", l.FuelTempC)
	p.span("engine_rpm", l.EngineRPM)
	p.text("source", l.Source)
}

// step writes one tightening step, its torque as it was written.
func (p *sheetWriter) step(s *Step, first bool) {
	if first {
		p.header("[[tightening]]", "Refitting: the tightening steps in their order.")
	} else {
		p.header("[[tightening]]")
	}
	p.count("step", s.Step)
	p.text("part", s.Part)
	if s.TorqueNM != 0 || s.TorqueText != "" {
		p.text("torque", cmp.Or(s.TorqueText, number(s.TorqueNM)+" "+quantity.Torque.Unit()))
	}
	if s.TorqueToleranceNM != 0 {
		p.figure("torque_tolerance_nm", s.TorqueToleranceNM, "the torque reached may lie so far from it")
	}
	if s.AngleDeg != 0 {
		p.figure("angle_deg", s.AngleDeg, "turned further by so many degrees")
	}
	if s.AngleToleranceDeg != 0 {
		p.figure("angle_tolerance_deg", s.AngleToleranceDeg, "the angle reached may lie so far from it")
	}
	if s.NewFastener {
		p.key("new_fastener", "true")
	}
	p.text("source", s.Source)
}

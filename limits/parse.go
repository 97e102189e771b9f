package limits

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"leakback/limits/quantity"
)

// Load reads a limits sheet from a file. The error is the operating system's
// where the file cannot be read, and a *FaultError where it is not sound.
func Load(path string) (*Sheet, error) { return load(path, "") }

// load also refuses a sheet for another engine; "" is any.
func load(path, engine string) (*Sheet, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, mostBytes+1))
	if err != nil {
		return nil, err
	}
	return parse(data, path, engine)
}

// Parse reads a limits sheet from the contents of the file at path, which is
// not opened. The error is a *FaultError with every fault of the sheet.
func Parse(data []byte, path string) (*Sheet, error) { return parse(data, path, "") }

func parse(data []byte, path, engine string) (*Sheet, error) {
	d, err := readDocument(data, path)
	if err != nil {
		return nil, err
	}
	s := d.sheet()
	s.TOML = string(data)
	if engine != "" && s.Engine != "" && !SameName(engine, s.Engine) {
		d.root().fault("engine", "%s: expected a sheet for %s",
			quantity.Quote(s.Engine), quantity.Quote(engine))
	}
	if err := faultError(d.faults); err != nil {
		return nil, err
	}
	return s, nil
}

// MostCylinders is more than any engine in a vehicle, ship or generator set has,
// and as many as fit one word of bits.
const MostCylinders = 64

// sheet reads the whole file.
func (d *document) sheet() *Sheet {
	t := d.root()
	t.only("name", "engine", "cylinders", "firing_order", "return_lines", "back_pressure_bar",
		"set", "measurement", "limit", "tightening")
	if len(t.values) == 0 {
		t.faultWhole("empty: expected at least one of [set], [measurement], [[limit]] and [[tightening]]")
	}
	s := &Sheet{
		Name:            t.text("name"),
		Path:            d.file,
		Engine:          t.text("engine"),
		Cylinders:       t.whole("cylinders", 1, MostCylinders),
		BackPressureBar: t.span("back_pressure_bar", kind(quantity.Pressure)),
		Set:             readSet(t.table("set")),
		Measurement:     readMeasurement(t.table("measurement")),
	}
	s.FiringOrder = t.firingOrder(s.Cylinders)
	s.ReturnLines = t.returnLines(s.Cylinders)
	s.Limits = readLimits(t.tables("limit"))
	s.Tightening = readTightening(t.tables("tightening"))
	if s.Name == "" {
		s.Name = d.fileName()
	}
	return s
}

// fileName is what a sheet without a name is called.
func (d *document) fileName() string {
	if d.file == "" {
		return "limits sheet"
	}
	return filepath.Base(d.file)
}

// cylinderNumber expects a cylinder of an engine with so many; 0 is not known.
func cylinderNumber(cylinders int) expectation {
	if cylinders == 0 {
		cylinders = MostCylinders
	}
	return wholeNumber("cylinders", 1, float64(cylinders))
}

// firingOrder reads a permutation of the cylinders.
func (t *table) firingOrder(cylinders int) []int {
	const key = "firing_order"
	list := t.list(key, "cylinder numbers in brackets", cylinderNumber(cylinders))
	if list == nil {
		return nil
	}
	if cylinders == 0 {
		cylinders = len(list)
	}
	order := make([]int, len(list))
	seen := map[int]bool{}
	for i, x := range list {
		order[i] = int(x)
		seen[order[i]] = order[i] <= cylinders
	}
	if len(list) != cylinders || len(seen) != cylinders || !allTrue(seen) {
		t.fault(key, "%s: expected each cylinder from 1 to %d once", shownList(list), cylinders)
		return nil
	}
	return order
}

func allTrue(seen map[int]bool) bool {
	for _, ok := range seen {
		if !ok {
			return false
		}
	}
	return true
}

// returnLines reads the return lines, which share the cylinders out.
func (t *table) returnLines(cylinders int) []ReturnLine {
	const key = "return_lines"
	lines := t.table(key)
	if lines == nil {
		return nil
	}
	lines.prefix = key + "."
	var all []ReturnLine
	lineOf := map[int]string{}
	for _, name := range lines.keys() {
		all = append(all, ReturnLine{Name: name, Cylinders: lines.returnLine(name, cylinders, lineOf)})
	}
	if cylinders == 0 {
		for c := range lineOf {
			cylinders = max(cylinders, c)
		}
	}
	t.shareOut(key, lines, cylinders, lineOf)
	return all
}

// returnLine reads the cylinders of one line and notes which line has them.
func (t *table) returnLine(name string, cylinders int, lineOf map[int]string) []int {
	list := t.list(name, "cylinder numbers in brackets", cylinderNumber(cylinders))
	if t.sound(name) && len(list) == 0 {
		t.fault(name, "expected at least one cylinder")
	}
	if name != printable(name) {
		t.fault(name, "expected a short name on one line")
	}
	var numbers []int
	for _, x := range list {
		c := int(x)
		if other, taken := lineOf[c]; taken {
			t.fault(name, "cylinder %d is in %s as well: expected each cylinder once", c, printable(other))
			continue
		}
		lineOf[c] = name
		numbers = append(numbers, c)
	}
	return numbers
}

// shareOut refuses lines that leave a cylinder out.
func (t *table) shareOut(key string, lines *table, cylinders int, lineOf map[int]string) {
	if len(lines.values) == 0 {
		t.fault(key, "expected at least one line with its cylinders")
		return
	}
	for c := 1; c <= cylinders && lines.sound(lines.keys()...); c++ {
		if _, ok := lineOf[c]; !ok {
			t.fault(key, "cylinder %d is in no line: expected each cylinder from 1 to %d once", c, cylinders)
			return
		}
	}
}

// readSet reads [set]; the built-in figures stand where it is silent.
func readSet(t *table) Set {
	s := builtinSet()
	if t == nil {
		return s
	}
	t.only("healthy_cv", "false_alarm", "false_hint", "practical_ratio", "within_limit", "source")
	t.figure("healthy_cv", between("a relative spread", 0.01, 1, ""), &s.HealthyCV, &s.Defaulted)
	t.figure("false_alarm", chance, &s.FalseAlarm, &s.Defaulted)
	t.figure("false_hint", chance, &s.FalseHint, &s.Defaulted)
	t.figure("practical_ratio", between("a ratio", 1, 10, ""), &s.PracticalRatio, &s.Defaulted)
	if w := t.oneOf("within_limit", string(WithinUndecided), string(WithinFail), string(WithinPass)); w != "" {
		s.WithinLimit = Within(w)
	} else if !t.has("within_limit") {
		s.Defaulted = append(s.Defaulted, "within_limit")
	}
	s.Source = t.source()
	if s.FalseHint < s.FalseAlarm && t.sound("false_alarm", "false_hint") {
		t.hintBelowAlarm(s)
	}
	return s
}

// hintBelowAlarm points at the chance that the sheet gives.
func (t *table) hintBelowAlarm(s Set) {
	if t.has("false_hint") {
		t.fault("false_hint", "%v: expected at least false_alarm, which is %v", s.FalseHint, s.FalseAlarm)
		return
	}
	t.fault("false_alarm", "%v: expected at most false_hint, which is %v where not given", s.FalseAlarm, s.FalseHint)
}

// readMeasurement reads [measurement]; the built-in figures stand where it is
// silent.
func readMeasurement(t *table) Measurement {
	m := builtinMeasurement()
	if t == nil {
		return m
	}
	t.only("repeatability_cv", "common_cv", "timing_s", "max_crank_s", "rest_s", "source")
	spread := between("a relative spread", 0, 1, "")
	t.figure("repeatability_cv", spread, &m.RepeatabilityCV, &m.Defaulted)
	t.figure("common_cv", spread, &m.CommonCV, &m.Defaulted)
	t.figure("timing_s", between("an uncertainty", 0, 10, "s"), &m.TimingS, &m.Defaulted)
	if t.together("max_crank_s", "rest_s") {
		var none []string
		t.figure("max_crank_s", kind(quantity.Interval), &m.MaxCrankS, &none)
		t.figure("rest_s", kind(quantity.Interval), &m.RestS, &none)
	}
	m.Source = t.source()
	return m
}

// together refuses one of two keys without the other.
func (t *table) together(a, b string) bool {
	for _, pair := range [][2]string{{a, b}, {b, a}} {
		if t.has(pair[0]) && !t.has(pair[1]) {
			t.fault(pair[0], "expected %s beside it", pair[1])
			return false
		}
	}
	return true
}

// readTightening reads the steps in their order.
func readTightening(tables []*table) []Step {
	var steps []Step
	last := 0
	for _, t := range tables {
		s := readStep(t)
		if s.Step > 0 && s.Step <= last {
			t.fault("step", "%d after %d: expected the steps in rising order", s.Step, last)
		}
		last = max(last, s.Step)
		steps = append(steps, s)
	}
	return steps
}

func readStep(t *table) Step {
	t.only("step", "part", "torque", "torque_tolerance_nm", "angle_deg", "angle_tolerance_deg", "new_fastener", "source")
	s := Step{
		Step:        t.whole("step", 1, 100),
		Part:        t.required("part", "what is tightened"),
		NewFastener: t.yes("new_fastener"),
		Source:      t.source(),
	}
	if !t.has("step") {
		t.faultWhole("no step: expected its number, from 1")
	}
	if !t.has("torque") && !t.has("angle_deg") {
		t.faultWhole("no torque and no angle_deg: expected one of them or both")
	}
	s.TorqueNM, s.TorqueText = t.torque()
	if x := t.number("angle_deg", between("an angle", 1, 1080, "degrees")); x != nil {
		s.AngleDeg = *x
	}
	s.TorqueToleranceNM = t.tolerance("torque_tolerance_nm", "torque", s.TorqueNM, quantity.Torque.Unit())
	s.AngleToleranceDeg = t.tolerance("angle_tolerance_deg", "angle_deg", s.AngleDeg, "degrees")
	return s
}

// tolerance reads how far a value may lie from the step's, which is of the key
// named; 0 where the sheet does not say.
func (t *table) tolerance(key, of string, wanted float64, unit string) float64 {
	if t.has(key) && !t.has(of) {
		t.fault(key, "expected %s beside it", of)
		return 0
	}
	x := t.number(key, expectation{
		func(x float64) bool { return x > 0 && (x < wanted || !t.sound(of)) },
		fmt.Sprintf("expected a tolerance above 0 and below the step's %s %s", quantity.Plain(wanted, 3), unit),
	})
	if x == nil {
		return 0
	}
	return *x
}

// torque reads a torque, which is text because it names its unit.
func (t *table) torque() (nm float64, text string) {
	const key = "torque"
	if !t.has(key) {
		return 0, ""
	}
	text, ok := t.values[key].(string)
	if !ok {
		text = t.shown(key) // refused below with the units that it must name
	}
	nm, err := quantity.Parse(quantity.Torque, text)
	if err == nil && nm == 0 {
		err = fmt.Errorf("%s: expected a torque above 0", quantity.Quote(text))
	}
	if err != nil {
		t.fault(key, "%s", err)
		return 0, ""
	}
	return nm, text
}

// Package recorded is the home of how a test looks as events: it says a test in
// events, and makes the test of the events that stand. It knows no logbook, no
// screen and no clock; package entry judges what the events say.
package recorded

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"
	"reflect"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/limits"
	"leakback/limits/quantity"
)

// Fields of leakback.KindSet that are columns of the readings file. Those of a
// run may be set for the whole test (run 0) and for one run; those of a reading
// for one cylinder, or return line, of a run as well. The nearer one stands; ""
// leaves it to the farther one, and None says that there is nothing.
const (
	FieldCondition = "condition" // of the test, as are engine and method
	FieldInjectors = "injectors"

	FieldIntervalS       = "interval_s" // of a run, as are those to blocked
	FieldCranks          = "cranks"
	FieldFuelTempC       = "fuel_temp_c"
	FieldFuelTempAt      = "fuel_temp_at"
	FieldRailPressureBar = "rail_pressure_bar"
	FieldBackPressureBar = "back_pressure_bar"
	FieldEngineRPM       = "engine_rpm"
	FieldBlocked         = "blocked"

	FieldGraduationML = "graduation_ml" // of a reading, as are the rest
	FieldCapacityML   = "capacity_ml"
	FieldToleranceML  = "tolerance_ml"
	FieldTubeClass    = entry.TubeClass
	FieldStartML      = "start_ml"
	FieldOverRange    = "over_range"
	FieldDensityGML   = "density_g_ml"
	FieldReturnLine   = "return_line"
)

// Fields of leakback.KindReading.
const (
	FieldVolumeML   = "volume_ml"
	FieldVolumeCC   = "volume_cc"
	FieldVolumeFlOz = "volume_floz"
	FieldMassG      = "mass_g"
)

// FieldCollection is the field of leakback.KindStart and leakback.KindTime for a
// collection in one piece.
const FieldCollection = "collection"

// Crank is the field of leakback.KindStart and leakback.KindTime for the crank of
// that number, from 1, of a collection in several.
func Crank(number int) string { return crankPrefix + strconv.Itoa(number) }

const crankPrefix = "crank "

// None as the value of a field of a run or a reading says that there is
// nothing, whatever was set for the whole.
const None = "none"

// Events are what a test, the work order around it and the limits sheet to judge
// it by say, without time, person and place: NewRecord of them makes the same
// test, job and sheet again. What all runs or readings share is said once. A
// sheet of nil says nothing.
func Events(t *leakback.Test, job leakback.Job, sheet *limits.Sheet) []leakback.Event {
	var d drafts
	d.whole(t)
	d.job(job)
	d.sheet(sheet)
	d.runs(t)
	return d
}

// drafts are events without time, person and place.
type drafts []leakback.Event

// set says a field; "" is nothing to say.
func (d *drafts) set(at place, field, value string) {
	if value != "" {
		*d = append(*d, leakback.Event{Key: at.key(leakback.KindSet, field), Value: value})
	}
}

// whole says what belongs to the test as a whole.
func (d *drafts) whole(t *leakback.Test) {
	all := place{}
	d.set(all, leakback.FieldName, t.ID)
	d.set(all, leakback.FieldMethod, string(t.Method))
	d.set(all, leakback.FieldEngine, t.Engine)
	d.set(all, FieldCondition, t.Condition)
	d.set(all, FieldInjectors, t.Injectors)
	d.set(all, leakback.FieldCylinders, count(t.Cylinders))
	if t.FitDrift {
		d.set(all, leakback.FieldFitDrift, yes)
	}
}

// yes is the value of what is either said or not.
const yes = "1"

func (d *drafts) job(j leakback.Job) {
	for _, name := range leakback.JobFields() {
		d.set(place{}, name, *j.Field(name))
	}
}

// sheet says a limits sheet. One that was made and not read is written first; one
// that cannot be written keeps its name alone, by which Sheet refuses it.
func (d *drafts) sheet(s *limits.Sheet) {
	if s == nil {
		return
	}
	toml := s.TOML
	if toml == "" && !reflect.DeepEqual(s, limits.Builtin()) {
		var text bytes.Buffer
		if limits.Write(&text, s) == nil {
			toml = text.String()
		}
	}
	d.set(place{}, leakback.FieldLimits, s.Name)
	d.set(place{}, leakback.FieldLimitsPath, s.Path)
	d.set(place{}, leakback.FieldLimitsOrigin, string(s.Origin))
	d.set(place{}, leakback.FieldLimitsTOML, toml)
}

// figure is a figure as a cell holds it; "" for NaN.
func figure(x float64) string {
	if math.IsNaN(x) {
		return ""
	}
	return quantity.Plain(x, -1)
}

// aboveZero is a figure that 0 stands for nothing in.
func aboveZero(x float64) string {
	if x == 0 {
		return ""
	}
	return figure(x)
}

func count(n int) string { return aboveZero(float64(n)) }

// Key is what tells whether two records say the same: the SHA-256, in hex, of
// what drafts say and in which order, the import key and the file's digest left
// out.
func Key(drafts []leakback.Event) string {
	h := sha256.New()
	var buf []byte
	text := func(s string) {
		buf = binary.AppendUvarint(buf, uint64(len(s)))
		buf = append(buf, s...)
	}
	for i := range drafts {
		e := &drafts[i]
		if e.Field == leakback.FieldImportKey || e.Field == leakback.FieldSourceDigest {
			continue
		}
		buf = buf[:0]
		text(string(e.Kind))
		buf = binary.AppendVarint(buf, int64(e.Run))
		buf = binary.AppendVarint(buf, int64(e.Cylinder))
		for _, s := range []string{e.Line, e.Field, e.Value, e.Typed, e.Reason} {
			text(s)
		}
		h.Write(buf)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// place is what an event is about: the whole test, a run, or a reading.
type place struct {
	run, cylinder int
	line          string
}

func (p place) key(kind leakback.Kind, field string) leakback.Key {
	return leakback.Key{Kind: kind, Run: p.run, Cylinder: p.cylinder, Line: p.line, Field: field}
}

// placeOf is the reading that an event is about. A cylinder's own return has one
// line, which its key need not name.
func placeOf(k leakback.Key) place {
	if k.Cylinder != 0 {
		k.Line = ""
	}
	return place{k.Run, k.Cylinder, k.Line}
}

// cut parts the unit that a typed reading ends with, and gives its column; the
// reading as it is where it ends with none of a column's.
func cut(typed string) (column, value string) {
	for _, u := range []struct{ unit, column string }{
		{" g", FieldMassG}, {" cc", FieldVolumeCC}, {" fl oz", FieldVolumeFlOz},
	} {
		value, found := strings.CutSuffix(typed, u.unit)
		if !found {
			continue
		}
		if _, err := quantity.ParseNumber(strings.TrimLeft(value, "<>"), true); err == nil {
			return u.column, value
		}
	}
	return FieldVolumeML, typed
}

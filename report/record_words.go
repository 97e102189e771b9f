package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
)

// fieldWords are fields of entries in words, where the field's name by itself
// would not do.
var fieldWords = map[string]string{
	leakback.FieldName: "test's name", leakback.FieldLimits: "limits sheet",
	leakback.FieldLimitsTOML: "limits sheet, its text", leakback.FieldLimitsPath: "limits sheet, its file",
	leakback.FieldLimitsOrigin: "limits sheet, where from", leakback.FieldImportKey: "digest of what the file says",
	leakback.FieldSourceDigest: "digest of the file", leakback.FieldVIN: "VIN", leakback.FieldOdometer: "odometer or hours",
	leakback.FieldBatteryV: "battery voltage in V", leakback.FieldTested: "date and time", leakback.FieldFitDrift: "drift is to be fitted",
	"engine_rpm": "engine speed in rpm", "fuel_temp_at": "fuel temperature taken at", "fuel_temp_c": "fuel temperature in °C",
	"graduation_ml": "tube, step of its marks in mL", "capacity_ml": "tube, capacity in mL", "tolerance_ml": "tube, tolerance in mL",
	"start_ml": "level at the start in mL", "over_range": "overflowed", "density_g_ml": "density in g/mL",
	"planned_s": "planned length in s", "volume_floz": "volume in US fl oz", "volume_cc": "volume in cc",
}

// units are the ends of a field's name that say its unit.
var units = []struct{ end, unit string }{
	{"_ml_min", "mL/min"}, {"_ml", "mL"}, {"_min", "min"}, {"_s", "s"}, {"_bar", "bar"}, {"_c", "°C"}, {"_v", "V"}, {"_g", "g"},
}

// fieldSaid is the field of an entry in words: "rail pressure in bar".
func fieldSaid(field string) string {
	if words, ok := fieldWords[field]; ok {
		return words
	}
	unit := ""
	for _, u := range units {
		if name, ok := strings.CutSuffix(field, u.end); ok {
			field, unit = name, " in "+u.unit
			break
		}
	}
	return strings.ReplaceAll(field, "_", " ") + unit
}

// eventSaid is what an entry is about, in words.
func eventSaid(e leakback.Event) string {
	field := fieldSaid(e.Field)
	switch e.Kind {
	case leakback.KindSet:
		return field
	case leakback.KindOpen:
		return "sitting began, program"
	case leakback.KindReading:
		return "reading, " + field
	case leakback.KindStart:
		return field + " started"
	case leakback.KindTime:
		return field + " ran, in s"
	case leakback.KindMark:
		return "noted: " + field
	case leakback.KindLeaveOut:
		return "run left out"
	case leakback.KindEnd:
		return "test closed"
	case leakback.KindWork:
		return strings.TrimSuffix("work done: "+field, ": ")
	case leakback.KindStep:
		return strings.TrimSuffix("tightening step: "+field, ": ")
	}
	return strings.TrimSpace(string(e.Kind) + " " + field)
}

// valueSaid is what an entry says, for a cell or a line: a sheet's text, which is
// long, by its length, and of a path the file's name alone.
func valueSaid(e leakback.Event) string {
	switch {
	case e.Kind == leakback.KindLeaveOut:
		if e.Value == "" {
			return "no, takes part"
		}
		return "yes"
	case e.Value == "" && e.Kind == leakback.KindReading:
		return VerdictWord(leakback.Unread)
	case e.Value == "":
		return ""
	case e.Field == leakback.FieldLimitsTOML:
		return "sheet text, " + counted(strings.Count(strings.TrimRight(e.Value, "\n"), "\n")+1, "line")
	case e.Field == leakback.FieldLimitsPath:
		return fileName(e.Value)
	}
	return e.Value
}

// valueOrNothing is valueSaid with a word where nothing stands.
func valueOrNothing(e leakback.Event) string {
	if text := valueSaid(e); text != "" {
		return text
	}
	return "nothing"
}

// typedSaid is what was typed, where that is not what the entry says.
func typedSaid(e leakback.Event) string {
	if e.Typed == e.Value || e.Field == leakback.FieldLimitsTOML || e.Field == leakback.FieldLimitsPath {
		return ""
	}
	return e.Typed
}

// whereSaid is the run, and the cylinder or the return line, that an entry is
// about: "run 1, cylinder 4"; "" for the test as a whole.
func whereSaid(k leakback.Key) string {
	var parts []string
	if k.Run > 0 {
		parts = append(parts, "run "+strconv.Itoa(k.Run))
	}
	if k.Cylinder > 0 {
		parts = append(parts, "cylinder "+strconv.Itoa(k.Cylinder))
	}
	if k.Line != "" {
		parts = append(parts, "return line "+k.Line)
	}
	return strings.Join(parts, ", ")
}

// correctionSaid is a correction in a sentence: "run 1, cylinder 4, volume in mL:
// 47.5 in place of 48, 2024-03-05 09:41:22 +01:00 by R. Example, because: misread".
func (r *Record) correctionSaid(c leakback.Correction) string {
	what := eventSaid(c.After)
	if c.After.Kind == leakback.KindReading {
		what = fieldSaid(c.After.Field)
	}
	text := strings.TrimPrefix(whereSaid(c.After.Key)+", "+what, ", ") + ": " +
		valueOrNothing(c.After) + " in place of " + valueOrNothing(c.Before) + ", " + r.stamp(c.After.AtUS)
	if c.After.Person != "" {
		text += " by " + c.After.Person
	}
	if c.After.Reason != "" {
		text += ", because: " + c.After.Reason
	}
	return text
}

// correctionsSaid counts them: "no corrections", "2 corrections".
func (r *Record) correctionsSaid() string {
	n := len(r.Record.Corrections())
	if n == 0 {
		return "no corrections"
	}
	return counted(n, "correction")
}

// markWords are the things noted that a reader of a report wants to know. What
// else was noted steered the questions, and stands in the sheet of entries alone.
var markWords = map[string]string{
	"cautions": "cautions acknowledged", "priming": "hoses primed",
	"asleep":        "the machine slept while it timed, or its clock was set ahead, by ",
	"clock stepped": "the machine's clock was set back while it timed, by ",
	"lost":          "a collection was not timed to its end", "abandoned": "a collection was broken off",
}

// noted are the marks that a reader wants to know, in their order.
func (r *Record) noted() []leakback.Event {
	return slices.DeleteFunc(r.Record.Standing(), func(e leakback.Event) bool {
		return e.Kind != leakback.KindMark || markWords[e.Field] == "" || e.Value == ""
	})
}

// markSaid is something that was noted: "run 1: the machine's clock was set back
// while it timed, by 12 s". Where no figure is wanted the value only confirms.
func markSaid(e leakback.Event) string {
	text := markWords[e.Field]
	if strings.HasSuffix(text, " by ") {
		text += e.Value + " s"
	}
	if where := whereSaid(e.Key); where != "" {
		text = where + ": " + text
	}
	if e.Reason != "" {
		text += " (" + e.Reason + ")"
	}
	return text
}

// timesSaid are the times of the runs in one line, those that were timed before
// those that are only known from their entry.
func (r *Record) timesSaid(t *leakback.Test) []said {
	var all []said
	times := r.runTimes(t.Runs)
	for _, entered := range []bool{false, true} {
		lead, texts := "Collected", []string(nil)
		if entered {
			lead = "Readings entered"
		}
		some := slices.DeleteFunc(slices.Clone(times), func(rt runTime) bool { return rt.entered != entered })
		for i, rt := range some {
			texts = append(texts, fmt.Sprintf("run %d, %s", rt.run.Number, r.followed(some, i)))
		}
		if len(texts) > 0 {
			all = append(all, said{lead, Sentence(strings.Join(texts, "; "))})
		}
	}
	return all
}

// followed is the span of a run; without the day where the one before is of it.
func (r *Record) followed(times []runTime, i int) string {
	text := r.span(times[i].fromUS, times[i].toUS, secondLayout)
	if i == 0 {
		return text
	}
	day := r.span(times[i-1].toUS, times[i-1].toUS, secondLayout)[:len(dayLayout)+1]
	return strings.TrimPrefix(text, day)
}

// batteryText is the voltage as it was entered, over the runs where it differs.
func (r *Record) batteryText() string {
	var volts []string
	for _, e := range r.Record.Standing() {
		if e.Kind == leakback.KindSet && e.Field == leakback.FieldBatteryV && e.Value != "" && !slices.Contains(volts, e.Value) {
			volts = append(volts, e.Value)
		}
	}
	if len(volts) == 0 {
		return ""
	}
	return strings.Join(volts, "; ") + " V"
}

// fates says of every entry what became of it; "" where it stands.
func fates(rec *leakback.Record) []string {
	texts, later := make([]string, len(rec.Events)), map[leakback.Key]leakback.Event{}
	for i := len(rec.Events) - 1; i >= 0; i-- {
		e := rec.Events[i]
		after, ok := later[e.Key]
		if typed, corrected := later[typedOver(e)]; !ok && corrected && typed.Value != "" {
			after, ok = typed, true
		}
		if ok && !comesAgain(e.Kind) {
			texts[i] = becameOf(e, after)
		}
		later[e.Key] = e
	}
	return texts
}

// typedOver is the key under which the length of a run is typed that an entry
// timed; of other entries one that is never entered.
func typedOver(e leakback.Event) leakback.Key {
	if e.Kind != leakback.KindTime {
		return leakback.Key{}
	}
	return leakback.Key{Kind: leakback.KindSet, Run: e.Run, Field: "interval_s"}
}

// becameOf is what an entry after it made of one.
func becameOf(e, after leakback.Event) string {
	switch {
	case after.Value == e.Value && e.Kind != leakback.KindStart && e.Kind != leakback.KindTime:
		return fmt.Sprintf("said again by %d", after.Seq)
	case after.Value == "" && e.Kind != leakback.KindReading && e.Kind != leakback.KindStart:
		return fmt.Sprintf("taken back by %d", after.Seq)
	}
	return fmt.Sprintf("replaced by %d", after.Seq)
}

// comesAgain says whether entries of a kind do not take one another's place.
func comesAgain(k leakback.Kind) bool { return k == leakback.KindOpen || k == leakback.KindMark }

// replaced is what every entry took the place of; nil where there was nothing
// that said something else.
func replaced(rec *leakback.Record) map[int64]leakback.Event {
	before := map[int64]leakback.Event{}
	for _, c := range rec.Corrections() {
		before[c.After.Seq] = c.Before
	}
	return before
}

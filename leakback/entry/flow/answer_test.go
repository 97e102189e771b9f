package flow_test

import (
	"errors"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/flow"
	"leakback/leakback/entry/recorded"
	"leakback/limits"
)

// upTo answers a story up to the question of that ID, which then stands.
func upTo(t *testing.T, s *story, id string) *bay {
	t.Helper()
	b := s.bay(t)
	for _, line := range s.lines {
		if b.flow.Question().ID == id {
			return b
		}
		b.answer(line)
	}
	b.at(id)
	return b
}

func named(name string) *story {
	i := slices.IndexFunc(stories, func(s story) bool { return s.name == name })
	return &stories[i]
}

// last is the event kept last.
func (b *bay) last() leakback.Event { return b.kept[len(b.kept)-1] }

func TestRefusals(t *testing.T) {
	for _, c := range []struct{ story, id, line, text string }{
		{"idle", "technician", "back", "no question stands before"},
		{"idle", "vehicle", strings.Repeat("x", 201), "one line of at most 200 printable characters"},
		{"idle", "complaint", "a\x1b[2Jb", "printable"},
		{"idle", "method", "guess", "individual, block-off or total"},
		{"idle", "method", "4", "individual, block-off or total"},
		{"idle", "method", "skip", "an answer here"},
		{"idle", "tubes", "two", "each or one"},
		{"idle", "injectors", "on", "driven or off"},
		{"idle", "tube", "", "such as 100/1"},
		{"idle", "tube", "1/100", "such as 100/1"},
		{"idle", "tube_class", "C", "mark, A, B or other"},
		{"idle", "order", "alphabet", "number or firing"},
		{"idle", "fuel_temp_c", "450", "a temperature from -60 to 200 °C"},
		{"idle", "fuel_temp_c", "warm", "a temperature in °C or °F"},
		{"idle", "fuel_temp_at", "tank", "supply, rail, return or tube"},
		{"idle", "rail_pressure_bar", "5000", "a pressure from 0 to 4,000 bar"},
		{"idle", "engine_rpm", "12000", "a speed from 0 to 10,000 rpm"},
		{"idle", "cautions", "", "the word understood"},
		{"idle", "cautions", "yes", "the word understood"},
		{"idle", "priming", "skip", "the word primed"},
		{"idle", "run 1 seconds", "0.2", "an interval from 1 to 86,400 s"},
		{"idle", "run 1 collection", "soon", "Enter, or an interval in s, min or h"},
		{"idle", "run 1 collection", "skip", "Enter, or an interval"},
		{"idle", "run 1 reading 1", "", "a level such as 22.5"},
		{"idle", "run 1 reading 1", "120", "at most the tube's capacity, 100 mL; where it overflowed write >100"},
		{"idle", "run 1 reading 1", ">120", "at most the tube's capacity, 100 mL"},
		{"idle", "run 1 reading 1", "12 drops", "a drop is none"},
		{"idle", "run 1 reading 1", "22 nL", "a volume in mL"},
		{"idle", "run 1 reading 1", "22,500", "without a thousands mark"},
		{"idle", "run 1 reading 1", "7=22", "one of cylinder 1, cylinder 5"},
		{"idle", "run 1 reading 1", "22 5", "one of cylinder 1, cylinder 5"},
		{"idle", "run 1 reading 1", "run 2 1=22", "a run from 1 to 1"},
		{"idle", "run 1 reading 1", "interval=", "such as interval=61s"},
		{"idle", "run 1 reading 1", "interval=0.1", "an interval from 1"},
		{"idle", "run 1 reading 1", "4=", "a level, such as 4=22.5"},
		{"idle", "run 1 reading 1", "-3", "a volume from 0 to 10,000 mL"},
		{"idle", "run 1 next", "dance", "done, again, length, tube, correct, state or leave-out"},
		{"idle", "run 1 next", "skip", "done, again, length"},
		{"idle", "run 1 correct", "22", "which one it is of, and its level: 4=22.5"},
		{"idle", "done", "22", "nothing more"},
		{"idle", "done", "give up", "nothing more"},
		{"cranking", "battery_v", "1200", "a voltage from 0 to 60 V"},
		{"cranking", "run 1 cranks", "100", "the number of cranks, a whole number from 1 to 99"},
		{"cranking", "run 1 crank seconds", "16", "at most 15 s, as the limits sheet says of one crank"},
		{"cranking", "run 1 rest 2", "20", "Enter, which goes on"},
		{"cranking", "run 2 reason", "", "a reason"},
		{"block-off", "run 1 blocked", "5", "cylinders from 1 to 4"},
		{"block-off", "run 1 blocked", "1+1", "each once"},
		{"block-off", "run 1 blocked", "skip", "the run has begun"},
		{"block-off", "run 1 reading", "1=22", "one of the return"},
		{"total", "graduation_ml", "0", "a volume above zero"},
		{"total", "graduation_ml", "skip", "an answer here"},
		{"one tube", "cylinders", "65", "from 1 to 64"},
		{"one tube", "run 2 cylinder", "5", "a cylinder's number, a whole number from 1 to 4"},
		{"one tube", "run 2 reading 2", "3=22", "one of cylinder 2"},
		{"two lines", "run 1 reading left", "middle=22", "one of return line left, return line right"},
	} {
		t.Run(c.story+" "+c.id+" "+c.line, func(t *testing.T) {
			upTo(t, named(c.story), c.id).refused(c.line, c.text)
		})
	}
}

// A merged return is measured in mL/min: its interval cannot be unknown, and that
// is said where it is asked for.
func TestMergedReturnNeedsItsInterval(t *testing.T) {
	b := upTo(t, named("total"), "run 1 collection")
	b.refused("unknown", "a length, which a merged return is measured by")
	b.answer("60s")
	b.refused("interval=unknown", "a length, which a merged return is measured by")
	b.answer("interval=90s", "310")
	require.Equal(t, 90.0, b.test().Runs[0].IntervalS)
}

// A flag that calls every length unknown does not keep that of a merged return
// from being asked for.
func TestMergedReturnIsTimedAllTheSame(t *testing.T) {
	b := newBay(t, parse(t, fourSheet), func(o *flow.Options) {
		o.Cautions, o.Given = nil, map[string]string{"interval_s": "unknown"}
	})
	b.answer(slices.Concat(job, []string{"total", "idle", "", "500/5", "", "", "", "", "primed", "60"})...)
	b.at("run 1 collection")
	b.answer("", "wait 60s", "", "310")
	require.Equal(t, 60.0, b.test().Runs[0].IntervalS)
}

// A name that is corrected is corrected by its bearer, not by the name that was
// wrong.
func TestTechnicianEntersTheirName(t *testing.T) {
	b := newBay(t, parse(t, fourSheet), func(o *flow.Options) { o.Person = "" })
	b.answer("Unit 12")
	require.Equal(t, "Unit 12", b.last().Person)
	b.answer("back", "Kim Invented")
	require.Equal(t, "Kim Invented", b.last().Person)
}

// Beside a clock that runs a figure alone is a level that was read too early, as
// likely as a length.
func TestBareFigureWhileTheClockRuns(t *testing.T) {
	b := upTo(t, named("idle"), "run 1 collection")
	b.answer("", "wait 5s")
	b.refused("22,5", "Enter, which stops the clock; a length as another clock has it with its unit")
	b.answer("wait 55s", "62 s")
	b.answer("21")
	require.Equal(t, 62.0, b.test().Runs[0].IntervalS)
}

// A question's example names another cylinder than the one that is asked for.
func TestExampleIsOfAnother(t *testing.T) {
	b := newBay(t, parse(t, sixSheet), func(o *flow.Options) { o.Cautions = nil })
	b.answer(slices.Concat(job, []string{"", "each", "idle", "", "100/1", "", "firing", "45", "", "350", "", "primed", "60", "60 s", "20"})...)
	require.Equal(t, "or 4=22.5 for another", b.at("run 1 reading 5").Hint) // along the firing order 4 is the last
	b.answer("20", "20", "20", "20")
	require.Equal(t, "or 2=22.5 for another", b.at("run 1 reading 4").Hint)
}

// What is blocked, or whose return it is, stands beside the clock: a test that was
// broken off goes on there.
func TestClockSaysWhatIsCollected(t *testing.T) {
	for _, c := range []struct{ story, id, want string }{
		{"block-off", "run 1 collection", "Blocked: no cylinder."},
		{"block-off", "run 2 collection", "Blocked: cylinder 1."},
		{"one tube", "run 2 collection", "Into the tube: the return of cylinder 2."},
	} {
		b := upTo(t, named(c.story), c.id)
		require.Equal(t, c.want, b.flow.Question().Notes[0], c.id)
		b.answer("", "wait 30s")
		require.Equal(t, []string{c.want}, b.flow.Question().Notes, "%s, running", c.id)
	}
}

func TestReadings(t *testing.T) {
	for _, c := range []struct {
		line     string
		cylinder int
		field    string
		value    string
		typed    string
		reason   string
	}{
		{"22.5", 1, "volume_ml", "22.5", "", ""},
		{"22,5", 1, "volume_ml", "22,5", "", ""},
		{"> 100", 1, "volume_ml", "> 100", "", ""},
		{"<2", 1, "volume_ml", "<2", "", ""},
		{"0", 1, "volume_ml", "0", "", ""},
		{"22.5 cc", 1, "volume_ml", "22.5 cc", "", ""},
		{"22.5mL", 1, "volume_ml", "22.5mL", "", ""},
		{"1 fl oz", 1, "volume_ml", "1 fl oz", "", ""},
		{"18.7 g", 1, "mass_g", "18.7", "18.7 g", ""},
		{"skip", 1, "volume_ml", "", "", ""},
		{"-", 1, "volume_ml", "", "", ""},
		{"4=22.5", 4, "volume_ml", "22.5", "", ""},
		{"4 = 22,5 mL", 4, "volume_ml", "22,5 mL", "", ""},
		{"4 22,5", 4, "volume_ml", "22,5", "", ""},
		{"4 >100", 4, "volume_ml", ">100", "", ""},
		{"4: 22.5", 4, "volume_ml", "22.5", "", ""},
		{"4=skip", 4, "volume_ml", "", "", ""},
		{"4 skip", 4, "volume_ml", "", "", ""},
		{"run 1 4=22.5", 4, "volume_ml", "22.5", "", ""},
		{`"4=22.5"`, 4, "volume_ml", "22.5", "", ""},
		{"4=22.5 because the first was foam", 4, "volume_ml", "22.5", "", "the first was foam"},
		{"22.5 BECAUSE foam", 1, "volume_ml", "22.5", "", "foam"},
	} {
		t.Run(c.line, func(t *testing.T) {
			b := upTo(t, named("idle"), "run 1 reading 1")
			b.answer(c.line)
			want := leakback.Key{Kind: leakback.KindReading, Run: 1, Cylinder: c.cylinder, Field: c.field}
			require.Equal(t, want, b.last().Key)
			require.Equal(t, []string{c.value, c.typed, c.reason}, []string{b.last().Value, b.last().Typed, b.last().Reason})
			next := "run 1 reading 5" // the firing order
			if c.cylinder != 1 {
				next = "run 1 reading 1"
			}
			b.at(next)
		})
	}
}

// A weighed reading that is corrected by a volume is a volume.
func TestUnitCorrected(t *testing.T) {
	b := upTo(t, named("idle"), "run 1 reading 1")
	b.answer("18.7 g", "1=22.5")
	require.Equal(t, "cylinder 1: 22.5 mL (was 18.7 g)", b.said[len(b.said)-1])
	require.Equal(t, "22.5", b.test().Runs[0].Readings[0].Typed)
	b.answer("1=18.7 g")
	rd := b.test().Runs[0].Readings[0]
	require.InDelta(t, 18.7/leakback.AssumedDensityGML, rd.VolumeML, 1e-9)
}

func TestFigures(t *testing.T) {
	b := upTo(t, named("idle"), "fuel_temp_c")
	b.answer("113 °F")
	require.Equal(t, "45", b.last().Value)
	require.Equal(t, "113 °F", b.last().Typed)
	b.answer("2", "5 MPa")
	require.Equal(t, "50", b.last().Value)
	b.answer("back", "350,5")
	require.Equal(t, []string{"350.5", "350,5"}, []string{b.last().Value, b.last().Typed})
	require.Contains(t, b.said, "Rail pressure: 350.5 (was 50)")
	require.Len(t, b.flow.Record().Corrections(), 1)
}

func TestWordsOfCommandsAreTakenInQuotes(t *testing.T) {
	b := newBay(t, limits.Builtin(), nil)
	b.answer("", `"skip"`)
	require.Equal(t, "skip", b.last().Value)
	b.answer("back", "back", "", "skip", "back", `"back"`)
	b.answer("SKIP", "", "", "", "", "", "", "", "")
	b.at("cylinders")
}

func TestGiveUp(t *testing.T) {
	b := upTo(t, named("idle"), "run 1 reading 2")
	b.answer("Give  Up")
	require.Equal(t, ask.Done, b.at("done").Kind)
	require.Equal(t, "given up", b.last().Value)
	resumed, err := flow.Resume(b.options(), b.kept)
	require.NoError(t, err)
	require.Equal(t, "done", resumed.Question().ID)
	b.answer("back", "22")
	b.at("run 1 reading 4")
}

// After a correction of a question before one goes forward through those passed, or
// at once to where the flow was.
func TestBackAcrossSections(t *testing.T) {
	b := upTo(t, named("idle"), "run 1 reading 5")
	b.answer("back", "back")
	require.Equal(t, "60.25", b.at("run 1 interval").Default)
	b.answer("61 s")
	require.Equal(t, "set", string(b.last().Kind))
	require.Contains(t, b.said, "run 1: 61 s (was 60.25 s)")
	b.at("run 1 reading 1")
	b.answer("forward")
	b.at("run 1 reading 5")
	require.Equal(t, 61.0, b.test().Runs[0].IntervalS)
	b.answer("back")
	require.Equal(t, "21", b.at("run 1 reading 1").Default)
	b.answer("")
	b.at("run 1 reading 5")
}

// While nothing has been read a collection can be timed again; afterwards it
// would part readings and their interval.
func TestTimedAgain(t *testing.T) {
	b := upTo(t, named("idle"), "run 1 reading 1")
	b.answer("back", "again")
	require.NotEmpty(t, b.at("run 1 collection").Notes)
	b.answer("", "wait 59s", "", "21")
	require.Equal(t, 59.0, b.test().Runs[0].IntervalS)
	b.answer("back", "back")
	b.refused("again", "as this run was read")
}

func TestBackStopsWhatRuns(t *testing.T) {
	b := upTo(t, named("idle"), "run 1 collection")
	b.answer("", "wait 20s", "back")
	q := b.at("run 1 collection")
	require.False(t, q.Running)
	require.Contains(t, q.Notes[0], "lost")
	require.Zero(t, b.flow.Elapsed())
	b.answer("", "wait 60s", "")
	require.Equal(t, "60", b.last().Value)

	b = upTo(t, named("cranking"), "run 1 crank 2")
	b.answer("", "wait 5s", "back")
	b.at("run 1 rest 1") // the fuel of the first crank is in the same tubes
	b.answer("wait 60s", "", "", "wait 15s", "")
	b.at("run 1 rest 2")
}

// A second press right after the first is the same press.
func TestOnePressIsOne(t *testing.T) {
	b := upTo(t, named("idle"), "run 1 collection")
	b.answer("", "wait 300ms")
	b.refused("", "that was the same press")
	require.True(t, b.flow.Question().Running)
	b.answer("wait 59.7s", "")
	require.Equal(t, "60", b.last().Value)
}

func TestClocks(t *testing.T) {
	for name, c := range map[string]struct {
		seconds int64
		field   string
		said    string
	}{
		"asleep":       {300, "asleep", "slept"},
		"set back":     {-3600, "clock stepped", "set back by 3600 s"},
		"kept in step": {1, "", ""},
		"not moved":    {0, "", ""},
	} {
		t.Run(name, func(t *testing.T) {
			b := upTo(t, named("idle"), "run 1 collection")
			b.answer("")
			b.clock.setWall(c.seconds)
			require.Zero(t, b.flow.Elapsed())
			b.answer("wait 60s", "")
			ran, timed := b.flow.Record().Last(leakback.Key{Kind: leakback.KindTime, Run: 1, Field: recorded.FieldCollection})
			require.True(t, timed)
			require.Equal(t, "60", ran.Value)
			if c.field == "" {
				require.Equal(t, leakback.KindTime, b.last().Kind)
				return
			}
			require.Equal(t, leakback.Key{Kind: leakback.KindMark, Run: 1, Field: c.field}, b.last().Key)
			require.Contains(t, b.said[len(b.said)-1], c.said)
		})
	}
}

// The clock of a laptop that was set while it rests or is read matters to nobody,
// and intervals are right when the wall clock goes back over the start.
func TestRestCounts(t *testing.T) {
	b := upTo(t, named("cranking"), "run 1 rest 2")
	require.Equal(t, 60*time.Second, 60*time.Second-b.flow.Elapsed())
	b.answer("wait 12s")
	b.clock.setWall(-500)
	require.Equal(t, 12*time.Second, b.flow.Elapsed().Round(time.Second))
	b.answer("")
	require.Equal(t, "12", b.last().Value)
	require.Contains(t, b.said, "the starter rested for 12 s of 60 s")
}

// A rest goes on through a crash, by the wall clock, which is all there is.
func TestRestAfterCrash(t *testing.T) {
	b := upTo(t, named("cranking"), "run 1 rest 2")
	b.answer("wait 20s")
	resumed, err := flow.Resume(b.options(), b.kept)
	require.NoError(t, err)
	require.InDelta(t, 20, resumed.Elapsed().Seconds(), 0.001)
}

func TestRestIsAssumedWhereNobodySays(t *testing.T) {
	b := newBay(t, parse(t, fourSheet), nil)
	b.answer(slices.Concat(job, []string{"", "", "cranking", "skip", "100/1", "", "", "", "", "", "understood", "primed"})...)
	require.Equal(t, "1", b.at("run 1 cranks").Default)
	b.answer("2")
	require.Empty(t, b.at("run 1 crank seconds").Default)
	b.answer("10", "", "wait 10s", "")
	q := b.at("run 1 rest 2")
	require.Equal(t, 120.0, q.TargetS)
	require.Contains(t, q.Notes[0], "assumed")
}

// A crank that was timed is corrected by its length; Enter never starts it again
// behind another question.
func TestCrankCorrected(t *testing.T) {
	b := upTo(t, named("cranking"), "run 1 rest 2")
	b.answer("back")
	require.Equal(t, "15", b.at("run 1 crank 1").Default)
	require.Equal(t, ask.Text, b.flow.Question().Kind)
	b.answer("")
	b.at("run 1 rest 2")
	b.answer("back")
	b.refused("soon", "an interval in s")
	b.answer("14s")
	require.Contains(t, b.said, "run 1, crank 1: 14.0 s (was 15 s)")
	b.answer("wait 9s", "", "back", "")
	require.Equal(t, "9", b.last().Value) // the rest is not logged twice
	b.answer("", "wait 15s", "", "back", "again")
	b.at("run 1 rest 1")
}

func TestEnoughCranks(t *testing.T) {
	b := upTo(t, named("cranking"), "run 1 crank 3")
	b.answer("enough")
	b.at("run 1 reading 1")
	b.answer("5")
	require.Equal(t, 2, b.test().Runs[0].State.Cranks)
	require.Equal(t, 29.5, b.test().Runs[0].IntervalS)
}

// Neither a flag nor a corrected condition makes a crank longer than the starter
// may be used.
func TestCrankIsNeverTooLong(t *testing.T) {
	b := newBay(t, parse(t, sixSheet), func(o *flow.Options) { o.Given = map[string]string{"interval_s": "45", "cranks": "2"} })
	b.answer(slices.Concat(job, []string{"", "", "cranking", "off", "100/1", "", "", "", "", "", "", "understood", "primed"})...)
	b.at("run 1 crank seconds")
	b.answer("15")
	b.at("run 1 crank 1")

	b = upTo(t, named("idle"), "run 1 collection")
	for b.flow.Question().ID != "condition" {
		b.answer("back")
	}
	b.answer("cranking", "skip", "forward", "", "understood", "3")
	b.at("run 1 crank seconds")
}

// What flags gave is logged and not asked.
func TestGiven(t *testing.T) {
	b := newBay(t, parse(t, sixSheet), func(o *flow.Options) {
		o.Given = map[string]string{"engine": "Northmoor Six-90", "technician": "C. Wrench", "condition": "idle", "injectors": "driven",
			"interval_s": "45", "graduation_ml": "1", "capacity_ml": "100", "tube_class": "B", "fuel_temp_c": "45", "fuel_temp_at": "return",
			"rail_pressure_bar": "350", "engine_rpm": "700", "order": "firing"}
	})
	require.Contains(t, b.flow.Said()[0], "limits sheet: Bay sheet")
	b.answer("", "", "", "", "", "", "", "", "", "")
	b.at("cautions")
	b.answer("understood", "primed")
	require.Equal(t, 45.0, b.at("run 1 collection").TargetS)
	require.Equal(t, "C. Wrench", b.last().Person)
	b.answer("", "wait 46s", "", "21")
	require.Equal(t, 46.0, b.test().Runs[0].IntervalS)
	require.Equal(t, "B", b.test().Runs[0].Readings[0].Tube.Class)
}

func TestGivenUnknownInterval(t *testing.T) {
	b := newBay(t, parse(t, sixSheet), func(o *flow.Options) { o.Given = map[string]string{"interval_s": "unknown"} })
	for b.flow.Question().ID != "run 1 reading 1" {
		b.answer(map[string]string{"tube": "100/1", "cautions": "understood", "priming": "primed"}[b.flow.Question().ID])
	}
	b.answer("21", "22", "23", "44", "22", "21")
	b.at("run 1 next")
	require.True(t, b.result().Has(leakback.NoInterval))
}

func TestGivenThatDoesNotFit(t *testing.T) {
	b := &bay{t: t, clock: newClock(), sheet: parse(t, sixSheet)}
	o := b.options()
	o.Given = map[string]string{"engine": "", "cylinders": "4"}
	_, err := flow.New(o)
	require.ErrorContains(t, err, "4 cylinders were named: expected 6")
	o.SheetFor = func(string) (*limits.Sheet, error) { return nil, errors.New("bay.toml:3:1: bad") }
	_, err = flow.New(o)
	require.ErrorContains(t, err, "bay.toml:3:1")
	b.full = true
	o.Given = nil
	_, err = flow.New(o)
	require.ErrorIs(t, err, errFull)
}

// A form, or a file, is what the flow begins with; it asks for the rest.
func TestFrom(t *testing.T) {
	idle := named("idle")
	b := newBay(t, parse(t, sixSheet), func(o *flow.Options) {
		o.From = recorded.Events(idle.readFile(t), leakback.Job{Vehicle: "LB 9", Technician: "C. Wrench"}, parse(t, sixSheet))
	})
	var asked []string
	for b.flow.Question().ID != "run 1 next" {
		asked = append(asked, b.flow.Question().ID)
		b.answer("skip")
	}
	require.Equal(t, []string{"vin", "odometer", "customer", "work_order", "complaint", "workshop", "engine_serial"}, asked)
	same(t, idle.readFile(t), b.test())
	b.answer("again")
	b.at("cautions") // fuel is to be collected now
	b.answer("understood", "primed")
	require.Equal(t, 60.25, b.at("run 2 collection").TargetS) // as the file has it
	b.answer("", "wait 60s", "", "22", "23", "21", ">100", "22", "skip")
	require.Equal(t, 60.0, b.test().Runs[1].IntervalS)
	require.Equal(t, 60.25, b.test().Runs[0].IntervalS)
}

func TestKnownAndEarlier(t *testing.T) {
	b := newBay(t, parse(t, sixSheet), func(o *flow.Options) {
		o.Known = func(vehicle string) map[string]string {
			if vehicle != "LB 1" {
				return nil
			}
			return map[string]string{"vin": "V1", "odometer": "9000 km", "engine": "Northmoor Six-90", "customer": "A. Driver", "engine_serial": "S1"}
		}
		o.Earlier = func(field string) []string {
			return map[string][]string{"vehicle": {"LB 1", "LB 2"}, "workshop": {"Bay One"}, "capacity_ml": {"250"}, "graduation_ml": {"2"}}[field]
		}
	})
	require.Equal(t, "B. Fitter", b.at("technician").Default)
	b.answer("")
	require.Equal(t, []string{"LB 1", "LB 2"}, b.at("vehicle").Earlier)
	require.Empty(t, b.flow.Question().Default)
	b.answer("LB 1")
	require.Equal(t, "V1", b.at("vin").Default)
	b.answer("")
	require.Equal(t, "V1", b.last().Value)
	q := b.at("odometer") // changes from test to test: told, not proposed
	require.Empty(t, q.Default)
	require.Contains(t, q.Hint, "9000 km last time")
	b.answer("9500 km", "", "", "")
	require.Equal(t, "Bay One", b.at("workshop").Default)
	b.answer("")
	require.Equal(t, "Northmoor Six-90", b.at("engine").Default)
	b.answer("", "skip")
	require.Empty(t, b.last().Value)
	b.answer("", "", "", "")
	require.Equal(t, "250/2", b.at("tube").Default)
}

// A sheet that cannot be used is said where the engine is asked for.
func TestSheetThatCannotBeUsed(t *testing.T) {
	b := newBay(t, parse(t, sixSheet), func(o *flow.Options) {
		o.SheetFor = func(engine string) (*limits.Sheet, error) {
			if engine == "broken" {
				return nil, errors.New("broken.toml:3:1: max: unknown key\nmore")
			}
			return limits.Builtin(), nil
		}
	})
	b.answer("", "", "", "", "", "", "", "")
	b.refused("broken", "an engine whose limits sheet can be used: broken.toml:3:1: max: unknown key")
	b.answer("", "")
	require.Contains(t, b.said[len(b.said)-1], "no absolute limit")
	b.at("method")
}

// Another engine has another sheet, which has to have room for what was read.
func TestEngineCorrected(t *testing.T) {
	b := upTo(t, named("idle"), "run 1 reading 5")
	b.answer("6=22")
	b.sheet = parse(t, fourSheet)
	for b.flow.Question().ID != "engine" {
		b.answer("back")
	}
	b.refused("Northmoor Four-60", "an engine that has cylinder 6")
	b.sheet = parse(t, bareSheet)
	b.answer("Northmoor Four-60")
	require.Contains(t, b.said[len(b.said)-1], "limits sheet: bare")
	b.answer("forward")
	b.at("cylinders")
	b.refused("5", "6 or more, as cylinder 6 was read")
	b.answer("8")
	b.at("run 1 reading 2")
}

// A tube that is corrected must still hold what was read.
func TestTubeCorrected(t *testing.T) {
	b := upTo(t, named("idle"), "run 1 next")
	for b.flow.Question().ID != "tube" {
		b.answer("back")
	}
	b.refused("50/1", "what fits the record, which has run 1, cylinder 4")
	b.answer("250/2", "forward")
	b.at("run 1 next")
}

func TestMethodStandsOnceRead(t *testing.T) {
	b := upTo(t, named("idle"), "run 1 reading 5")
	for b.flow.Question().ID != "method" {
		b.answer("back")
	}
	b.refused("total", "individual, as it was read")
	b.answer("individual")
	for b.flow.Question().ID != "tubes" {
		b.answer("back")
	}
	b.refused("one", "each, as it was read")
}

// Cautions that go with another condition are read again before fuel flows.
func TestCautionsAgain(t *testing.T) {
	b := upTo(t, named("idle"), "run 1 collection")
	for b.flow.Question().ID != "condition" {
		b.answer("back")
	}
	b.answer("raised-idle", "forward")
	b.at("cautions")
}

func TestOwnConditionAndTube(t *testing.T) {
	b := upTo(t, named("total"), "condition")
	b.answer("other")
	b.at("condition word")
	b.answer("towed", "", "other")
	b.at("graduation_ml")
	b.answer("2 mL", "500 cc", "other")
	b.at("tolerance_ml")
	b.refused("", "an answer here")
	b.answer("3")
	require.Equal(t, "3", b.last().Value)
}

// Resuming what was closed asks nothing; going back opens it again.
func TestDoneOpensAgain(t *testing.T) {
	idle := named("idle")
	b := idle.bay(t)
	b.answer(idle.lines...)
	resumed, err := flow.Resume(b.options(), b.kept)
	require.NoError(t, err)
	b.flow = resumed
	require.Equal(t, ask.Done, b.at("done").Kind)
	b.answer("back", "3=21", "done")
	require.Equal(t, ask.Done, b.at("done").Kind) // the note was given before
	require.Equal(t, "end", string(b.last().Kind))
}

// A test that was given up while a collection ran is closed as well: whoever opens it
// again to look is asked nothing.
func TestGivenUpWhileTheClockRuns(t *testing.T) {
	for _, id := range []string{"run 1 collection", "run 1 crank 2"} {
		name := map[bool]string{true: "idle", false: "cranking"}[id == "run 1 collection"]
		b := upTo(t, named(name), id)
		b.answer("", "wait 3s")
		require.True(t, b.flow.Question().Running, id)
		b.answer("give up")
		b.at("done")
		resumed, err := flow.Resume(b.options(), b.kept)
		require.NoError(t, err)
		require.Equal(t, ask.Done, resumed.Question().Kind, id)
		b.answer("back")
		b.at("run 1 " + map[bool]string{true: "collection", false: "rest 1"}[name == "idle"])
	}
}

// A tab, and the spaces of what was copied, are spaces.
func TestOtherSpaces(t *testing.T) {
	b := upTo(t, named("idle"), "complaint")
	b.answer("hard\tto\u00a0start ")
	require.Equal(t, "hard to start", b.last().Value)
	b = upTo(t, named("idle"), "run 1 reading 1")
	b.answer("22\u202f\tmL")
	require.Equal(t, "22  mL", b.last().Value)
}

// Whatever is typed, nothing breaks, every answer that was taken is kept in its
// order, and the record gives the same question again.
func TestAnything(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := rapid.SampledFrom(stories).Draw(rt, "story")
		b := s.bay(t)
		b.answer(s.lines[:rapid.IntRange(0, len(s.lines)).Draw(rt, "far")]...)
		for _, text := range rapid.SliceOfN(line(), 20, 120).Draw(rt, "lines") {
			q := b.flow.Question()
			if q.Kind == ask.Confirm && rapid.Bool().Draw(rt, "confirm") {
				text = q.Options[0].Value
			}
			if len(q.Options) > 0 && rapid.Bool().Draw(rt, "option") {
				text = rapid.SampledFrom(q.Options).Draw(rt, "which").Value
			}
			b.clock.pass(time.Duration(rapid.IntRange(0, 90).Draw(rt, "wait")) * time.Second)
			before := slices.Clone(b.kept)
			err := b.flow.Answer(text)
			var refusal *ask.Refusal
			if err != nil && !errors.As(err, &refusal) {
				rt.Fatalf("%s <- %q: %v", q.ID, text, err)
			}
			if err != nil && len(b.kept) != len(before) {
				rt.Fatalf("%s <- %q: refused and kept", q.ID, text)
			}
			if !slices.Equal(before, b.kept[:len(before)]) {
				rt.Fatal("an event was changed")
			}
		}
		b.answer("forward")
		stands(rt, b)
	})
}

// stands wants the record to give the question that stands, unless a clock runs.
func stands(rt rapid.TB, b *bay) {
	q := b.flow.Question()
	if q.Table != nil {
		q.Table(80)
	}
	resumed, err := flow.Resume(b.options(), b.kept)
	if err != nil {
		rt.Fatal(err)
	}
	if !q.Running && asked(resumed.Question()) != asked(q) {
		rt.Fatalf("%s\nafter it was broken off: %s", asked(q), asked(resumed.Question()))
	}
}

// line is what somebody may type.
func line() *rapid.Generator[string] {
	return rapid.OneOf(
		rapid.SampledFrom([]string{"", "", "", "", "", "skip", "back", "forward", "60s", "1 min", "22.5", "22,5", ">50", "<1", "4=21", "2 19",
			"1=skip", "again", "done", "correct", "leave-out", "length", "state", "tube", "interval=61s", "run 1 2=23 because foam",
			"100/1", "other", "idle", "cranking", "block-off", "total", "one", "each", "4", "1", "3", "unknown", "none", "1+2", "enough",
			"left=30", "right=40", "45", "350 bar", "5 g", "understood", "primed", "passes", "all-blocked", "shorter", "collect"}),
		rapid.String(),
		rapid.StringMatching(`[0-9<>=,. a-z]{0,12}`),
	)
}

// What is refused at a choice lists all of its options as one text, which a skin can
// put numbers for, or names none that is not in sight.
func TestRefusedChoices(t *testing.T) {
	for _, s := range stories {
		b := s.bay(t)
		for _, line := range s.lines {
			if q := b.flow.Question(); q.Kind == ask.Choice {
				var refusal *ask.Refusal
				require.ErrorAs(t, b.flow.Answer(strings.Repeat("x", 300)), &refusal, q.ID)
				rest := strings.Replace(refusal.Expected, ask.Alternatives(q.Options), "", 1)
				for _, o := range q.Options {
					named := regexp.MustCompile(`\b` + regexp.QuoteMeta(o.Value) + `\b`)
					require.False(t, len(o.Value) > 1 && named.MatchString(rest) && !named.MatchString(q.Hint), "%s: %s: %s", s.name, q.ID, refusal)
				}
			}
			b.answer(line)
		}
	}
}

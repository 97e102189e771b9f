package flow_test

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/flow"
	"leakback/leakback/entry/recorded"
)

// story is a whole test as it is answered, and the readings file that says the
// same.
type story struct {
	name, sheet string
	more        func(o *flow.Options)
	lines       []string
	ends        string // the last question
	file        string
	leftOut     map[int]string
	verdict     leakback.Verdict
}

// job answers the questions of the job up to the engine's serial number.
var job = []string{"", "LB 123", "VIN00000000000001", "182,400 km", "A. Driver", "7", "hard to start when hot", "Bay One",
	"Northmoor Six-90", "S-1"}

// fourSheet, twoLineSheet and bareSheet are of invented engines.
const (
	fourSheet = `name = "four"
cylinders = 4
[set]
source = "assumed"
`
	twoLineSheet = `name = "vee"
cylinders = 4
back_pressure_bar = [1, 2]
return_lines = { left = [1, 3], right = [2, 4] }
[set]
source = "assumed"
`
	bareSheet = `name = "bare"
[set]
source = "assumed"
`
)

var stories = []story{
	{
		name: "idle", sheet: sixSheet,
		lines: slices.Concat(job, []string{
			"", "each", "idle", "", "100/1", "B", "firing", // the test
			"113F", "return", "350", "700 rpm", // the state
			"understood", "primed", "60s", // before the run
			"", "wait 60.25s", "", // the run
			"21", "21,5", "20 mL", "6=22", "4 >100", "2=22.5", "2=23 because misread", // the readings
			"correct", "5=22 because parallax", "",
			"done", "hoses renewed"}),
		ends: "done",
		file: `cylinder,volume_ml,interval_s,graduation_ml,capacity_ml,tolerance_ml,condition,injectors,fuel_temp_c,fuel_temp_at,rail_pressure_bar,engine_rpm,engine
1,21,60.25,1,100,1,idle,driven,45,return,350,700,Northmoor Six-90
2,23,60.25,1,100,1,idle,driven,45,return,350,700,Northmoor Six-90
3,20 mL,60.25,1,100,1,idle,driven,45,return,350,700,Northmoor Six-90
4,>100,60.25,1,100,1,idle,driven,45,return,350,700,Northmoor Six-90
5,22,60.25,1,100,1,idle,driven,45,return,350,700,Northmoor Six-90
6,22,60.25,1,100,1,idle,driven,45,return,350,700,Northmoor Six-90
`,
		verdict: leakback.Fail,
	},
	{
		name: "cranking", sheet: sixSheet,
		lines: slices.Concat(job, []string{
			"1", "", "cranking", "off", "25/0.5", "", "",
			"", "", "", "11,4 V",
			"understood", "primed", "", "", // three cranks of 15 s, as the limit has it
			"", "wait 15s", "", "wait 60s", "",
			"", "wait 14.5s", "", "wait 20s", "", // a rest cut short
			"", "wait 15.5s", "",
			"5", "5.5", "4.5", "5", "<0.5", "5",
			"again", "wait 90s", "",
			"", "wait 15s", "", "wait 60s", "", "15s", "wait 60s", "", "", "wait 15s", "",
			"5", "5", "5", "5", "skip", "5.5",
			"leave-out", "2", "starter overheated", "done", ""}),
		ends: "done",
		file: `run,cylinder,volume_ml,interval_s,graduation_ml,capacity_ml,condition,injectors,cranks,engine
1,1,5,45,0.5,25,cranking,off,3,Northmoor Six-90
1,2,5.5,45,0.5,25,cranking,off,3,Northmoor Six-90
1,3,4.5,45,0.5,25,cranking,off,3,Northmoor Six-90
1,4,5,45,0.5,25,cranking,off,3,Northmoor Six-90
1,5,<0.5,45,0.5,25,cranking,off,3,Northmoor Six-90
1,6,5,45,0.5,25,cranking,off,3,Northmoor Six-90
2,1,5,45,0.5,25,cranking,off,3,Northmoor Six-90
2,2,5,45,0.5,25,cranking,off,3,Northmoor Six-90
2,3,5,45,0.5,25,cranking,off,3,Northmoor Six-90
2,4,5,45,0.5,25,cranking,off,3,Northmoor Six-90
2,5,,45,0.5,25,cranking,off,3,Northmoor Six-90
2,6,5.5,45,0.5,25,cranking,off,3,Northmoor Six-90
`,
		leftOut: map[int]string{2: "starter overheated"},
		verdict: leakback.Undecided,
	},
	{
		name: "block-off", sheet: fourSheet,
		lines: slices.Concat(job, []string{"block-off", "raised-idle", "", "250/2", "", "40", "tube", "500 bar", "",
			"understood", "primed"},
			blockOff(true, "", 120), blockOff(false, "", 100), blockOff(false, "", 90), blockOff(false, "", 91),
			blockOff(false, "", 70), blockOff(false, "", 71), blockOff(false, "", 90), blockOff(false, "", 91),
			blockOff(false, "", 100), blockOff(false, "none", 121),
			[]string{"done", ""}),
		ends: "done",
		file: `blocked,volume_ml,interval_s,graduation_ml,capacity_ml,condition,injectors,fuel_temp_c,fuel_temp_at,rail_pressure_bar,engine
,120,30,2,250,raised-idle,driven,40,tube,500,Northmoor Six-90
1,100,30,2,250,raised-idle,driven,40,tube,500,Northmoor Six-90
2,90,30,2,250,raised-idle,driven,40,tube,500,Northmoor Six-90
3,91,30,2,250,raised-idle,driven,40,tube,500,Northmoor Six-90
4,70,30,2,250,raised-idle,driven,40,tube,500,Northmoor Six-90
4,71,30,2,250,raised-idle,driven,40,tube,500,Northmoor Six-90
3,90,30,2,250,raised-idle,driven,40,tube,500,Northmoor Six-90
2,91,30,2,250,raised-idle,driven,40,tube,500,Northmoor Six-90
1,100,30,2,250,raised-idle,driven,40,tube,500,Northmoor Six-90
,121,30,2,250,raised-idle,driven,40,tube,500,Northmoor Six-90
`,
		verdict: leakback.Fail,
	},
	{
		name: "total", sheet: bareSheet,
		lines: slices.Concat(job, []string{"3", "warm idle, lights on", "", "other", "5", "", "other", "2.5 mL", "", "", "",
			"understood", "primed", "2 min", "", "wait 90s", "", // stopped early
			"310",
			"length", "120", "", "wait 121s", "", "420", "interval=120s because the valve stood open",
			"correct", "run 2 425 because misread", "", "done", ""}),
		ends: "done",
		file: `run,volume_ml,interval_s,graduation_ml,tolerance_ml,condition,injectors,engine
1,310,90,5,2.5,"warm idle, lights on",driven,Northmoor Six-90
2,425,120,5,2.5,"warm idle, lights on",driven,Northmoor Six-90
`,
		verdict: leakback.Undecided,
	},
	{
		name: "one tube", sheet: bareSheet,
		lines: slices.Concat(job, []string{"", "4", "one", "other", "hot idle", "driven", "120/2", "0.5 mL", "", "", "",
			"understood", "primed", "", "60 s",
			"", "wait 60s", "", "26",
			"", "", "wait 60s", "", "2=27",
			"4", "", "wait 60s", "", "64", // out of order
			"", "61s", "30",
			"", "", "wait 60s", "", "35",
			"done", ""}),
		ends: "done",
		file: `run,cylinder,volume_ml,interval_s,graduation_ml,capacity_ml,tolerance_ml,condition,injectors,engine
1,1,26,60,2,120,0.5,hot idle,driven,Northmoor Six-90
2,2,27,60,2,120,0.5,hot idle,driven,Northmoor Six-90
3,4,64,60,2,120,0.5,hot idle,driven,Northmoor Six-90
4,3,30,61,2,120,0.5,hot idle,driven,Northmoor Six-90
5,1,35,60,2,120,0.5,hot idle,driven,Northmoor Six-90
`,
		verdict: leakback.Fail,
	},
	{
		name: "two lines", sheet: twoLineSheet,
		lines: slices.Concat(job, []string{"total", "idle", "", "100/1", "A", "", "", "", "1.5 bar",
			"understood", "primed", "30", "", "wait 30s", "", "83", "right=95", "left=84", "done", ""}),
		ends: "done",
		file: `return_line,volume_ml,interval_s,graduation_ml,capacity_ml,tolerance_ml,condition,injectors,back_pressure_bar,engine,run
left,84,30,1,100,0.5,idle,driven,1.5,Northmoor Six-90,1
right,95,30,1,100,0.5,idle,driven,1.5,Northmoor Six-90,1
`,
		verdict: leakback.Undecided,
	},
}

// blockOff answers one run of a schedule.
func blockOff(first bool, blocked string, level int) []string {
	lines := []string{blocked}
	if first {
		lines = append(lines, "30")
	}
	return append(lines, "", "wait 30s", "", fmt.Sprint(level))
}

func (s *story) bay(t *testing.T) *bay { return newBay(t, parse(t, s.sheet), s.more) }

// test is the test that was kept, as a logbook would make it.
func (b *bay) test() *leakback.Test {
	b.t.Helper()
	made, err := recorded.Test(leakback.NewRecord(b.kept))
	require.NoError(b.t, err)
	made.ID = "story"
	return made
}

// readFile reads the readings file of a story, as package entry does.
func (s *story) readFile(t *testing.T) *leakback.Test {
	t.Helper()
	file := s.file
	d := entry.NoDefaults()
	if s.name == "idle" { // a unit and a class are what flags and people give, not cells
		file = strings.ReplaceAll(file, "20 mL", "20")
		file = strings.ReplaceAll(strings.ReplaceAll(file, ",tolerance_ml", ""), ",100,1,idle", ",100,idle")
		d.TubeClass = "B"
	}
	if s.name == "two lines" {
		file = strings.ReplaceAll(strings.ReplaceAll(file, ",tolerance_ml", ""), ",100,0.5,idle", ",100,idle")
		d.TubeClass = "A"
	}
	if s.name == "one tube" {
		d.Cylinders = 4
	}
	r := entry.NewReader(strings.NewReader(file), "story.csv", "story", d)
	read, err := r.Next()
	require.NoError(t, err)
	_, err = r.Next()
	require.ErrorIs(t, err, io.EOF)
	for run, reason := range s.leftOut {
		require.True(t, read.LeaveOut(run, reason))
	}
	return read
}

// same wants two tests to say the same; what does not exist is NaN, which no
// comparison of values allows.
func same(t *testing.T, want, got *leakback.Test) {
	t.Helper()
	text := func(test *leakback.Test) []string {
		var lines []string
		for _, run := range test.Runs {
			for _, rd := range run.Readings {
				lines = append(lines, strings.ReplaceAll(fmt.Sprintf("run %d %+v", run.Number, rd), "Typed:20 mL", "Typed:20"))
			}
			run.Readings = nil
			lines = append(lines, fmt.Sprintf("%+v", run))
		}
		whole := *test
		whole.Runs = nil
		return append(lines, fmt.Sprintf("%+v", whole))
	}
	w, g := text(want), text(got)
	for i := range max(len(w), len(g)) {
		require.Less(t, i, len(w), "more than %d lines", len(w))
		require.Less(t, i, len(g), "less than %d lines", len(w))
		require.Equal(t, w[i], g[i])
	}
}

// The test that was answered is the one that a readings file of the same
// readings makes, so that the workbook is the same.
func TestStories(t *testing.T) {
	for _, s := range stories {
		t.Run(s.name, func(t *testing.T) {
			b := s.bay(t)
			b.answer(s.lines...)
			b.at(s.ends)
			require.Equal(t, ask.Done, b.flow.Question().Kind)
			same(t, s.readFile(t), b.test())
			require.Equal(t, s.verdict, b.result().Verdict)
			for i, e := range b.kept {
				require.Equal(t, e.Key, b.flow.Record().Events[i].Key)
				require.Equal(t, int64(i+1), b.flow.Record().Events[i].Seq)
			}
		})
	}
}

// asked is a question without what cannot be compared.
func asked(q ask.Question) string {
	text := fmt.Sprintf("%s %v %q %q %q %q %q %v %v %q table=%v target=%v running=%v cylinder=%d", q.ID, q.Kind, q.Section, q.Prompt,
		q.Hint, q.Notes, q.Default, q.Required, q.Options, q.Earlier, q.Table != nil, q.TargetS, q.Running, q.Cylinder)
	if q.Board != nil {
		text += fmt.Sprintf(" %+v", *q.Board)
	}
	return text
}

// A test that was broken off anywhere goes on with the same question, and ends
// as the same test.
func TestResumeAnywhere(t *testing.T) {
	for _, s := range stories {
		t.Run(s.name, func(t *testing.T) {
			whole := s.bay(t)
			for i, line := range s.lines {
				b := s.bay(t)
				b.answer(s.lines[:i]...)
				before := b.flow.Question()
				resumed, err := flow.Resume(b.options(), b.kept)
				require.NoError(t, err)
				after := resumed.Question()
				if before.Running {
					lostAt(t, s.lines[:i], before, after)
				} else {
					require.Equal(t, asked(before), asked(after), "before line %d, %q", i, line)
					if i%4 != 0 { // the record is the same as one that was not broken off
						whole.answer(line)
						continue
					}
					b.flow = resumed
					b.answer(s.lines[i:]...)
					b.at(s.ends)
					same(t, s.readFile(t), b.test())
				}
				whole.answer(line)
			}
			whole.at(s.ends)
		})
	}
}

// lostAt wants the collection that ran to be begun again.
func lostAt(t *testing.T, lines []string, before, after ask.Question) {
	require.False(t, after.Running, "after %q", lines)
	require.NotEmpty(t, after.Notes)
	if strings.Contains(before.ID, "crank") && !strings.Contains(before.ID, "run 1 crank 1") {
		require.Regexp(t, `run \d rest 1`, after.ID) // the cranks before are in the same tubes
		return
	}
	if !strings.Contains(before.ID, "crank") {
		require.Equal(t, before.ID, after.ID)
		require.Contains(t, strings.Join(after.Notes, " "), "lost")
	}
}

// An answer that cannot be kept changes nothing, and can be given again.
func TestNothingIsTakenThatIsNotKept(t *testing.T) {
	for _, s := range stories {
		t.Run(s.name, func(t *testing.T) {
			b := s.bay(t)
			for _, line := range s.lines {
				if strings.HasPrefix(line, "wait ") {
					b.answer(line)
					continue
				}
				before, events := asked(b.flow.Question()), len(b.kept)
				b.full = true
				err := b.flow.Answer(line)
				b.full = false
				if err == nil { // nothing to keep: the same was said before
					continue
				}
				require.ErrorIs(t, err, errFull)
				require.Equal(t, before, asked(b.flow.Question()))
				require.Len(t, b.kept, events)
				require.Len(t, b.flow.Record().Events, events)
				b.answer(line)
			}
			b.at(s.ends)
			same(t, s.readFile(t), b.test())
		})
	}
}

// A stop that cannot be kept at once is logged with the time of the press.
func TestStopIsNotLostWithTheDisk(t *testing.T) {
	b := stories[0].bay(t)
	b.answer(stories[0].lines[:slices.Index(stories[0].lines, "wait 60.25s")]...)
	b.at("run 1 collection")
	b.answer("wait 60.25s")
	b.full = true
	require.ErrorIs(t, b.flow.Answer(""), errFull)
	require.Equal(t, 60.25, b.flow.Elapsed().Seconds())
	b.answer("wait 5s")
	require.Equal(t, 60.25, b.flow.Elapsed().Seconds())
	b.full = false
	b.answer("")
	require.Equal(t, "60.25", b.kept[len(b.kept)-1].Value)
}

// back leads from every question to the first, and Enter, or forward, back to it
// without anything entered.
func TestBackFromEverywhere(t *testing.T) {
	for _, s := range stories {
		t.Run(s.name, func(t *testing.T) {
			b := s.bay(t)
			for i, line := range s.lines {
				start := b.flow.Question()
				if start.Running || strings.HasPrefix(line, "wait ") {
					b.answer(line)
					continue
				}
				events, seen := len(b.kept), map[string]bool{start.ID: true}
				for b.flow.Question().ID != "technician" {
					b.answer("back")
					id := b.flow.Question().ID
					require.False(t, seen[id] && id != start.ID, "%s comes again", id)
					seen[id] = true
				}
				b.refused("back", "no question stands before")
				if i > 0 {
					for range seen {
						if b.flow.Question().ID != start.ID {
							b.answer("")
						}
					}
					require.Equal(t, events, len(b.kept))
					require.Equal(t, asked(start), asked(b.flow.Question()))
					b.answer("back", "forward")
					require.Equal(t, events, len(b.kept))
					require.Equal(t, asked(start), asked(b.flow.Question()))
				}
				b.answer(line)
			}
			b.at(s.ends)
			b.answer("back")
			require.Contains(t, b.flow.Question().ID, "next")
		})
	}
}

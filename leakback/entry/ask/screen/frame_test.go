package screen

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/charmbracelet/x/ansi"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback/entry/ask"
)

// looks are the terminals that the frames are kept for.
var looks = []struct {
	name        string
	width, rows int
	Options
}{
	{"80x24", 80, 24, Options{Color: true, Unicode: true}},
	{"80x24-ascii", 80, 24, Options{}},
	{"44x20", 44, 20, Options{Unicode: true}},
	{"40x15-ascii", 40, 15, Options{Color: true}},
}

// scenes are the moments that the frames are kept of.
var scenes = []struct {
	name string
	play func(*desk)
}{
	{"vehicle", func(d *desk) {}},
	{"earlier", func(d *desk) { d.press("down", "down") }},
	{"refused", func(d *desk) { d.to(atFuel); d.enter("warm") }},
	{"condition", func(d *desk) { d.to(atCondition) }},
	{"condition-chosen", func(d *desk) { d.to(atCondition); d.press("1") }},
	{"cautions", func(d *desk) { d.to(atCautions) }},
	{"cautions-end", func(d *desk) { d.to(atCautions); d.press("pgdown", "pgdown", "pgdown") }},
	{"timer", func(d *desk) { d.to(atTimer) }},
	{"timer-runs", func(d *desk) { d.to(atTimer); d.press("enter"); d.tick(13200 * time.Millisecond) }},
	{"timer-over", func(d *desk) { d.to(atTimer); d.press("enter"); d.tick(75 * time.Second) }},
	{"reading", func(d *desk) { d.to(atReading) }},
	{"reading-three", func(d *desk) { d.to(atReading); d.enter("21"); d.enter("44.5"); d.enter(">100"); d.tick(time.Second) }},
	{"reading-refused", func(d *desk) { d.to(atReading); d.enter("21"); d.enter("2o"); d.tick(time.Second) }},
	{"next", func(d *desk) { d.to(atNext) }},
	{"rest", func(d *desk) { d.to(atRest) }},
	{"rest-over", func(d *desk) { d.to(atRest); d.tick(31 * time.Second) }},
}

func TestFrames(t *testing.T) {
	for _, l := range looks {
		for _, s := range scenes {
			t.Run(s.name+"-"+l.name, func(t *testing.T) {
				d := newDesk(t, l.width, l.rows, l.Options)
				s.play(d)
				d.golden(s.name + "-" + l.name)
				fits(t, d, l.width, l.rows)
				plain(t, d, l.Options)
			})
		}
	}
}

// fits checks that a frame is exactly as high as the terminal and no wider.
func fits(t *testing.T, d *desk, width, rows int) {
	t.Helper()
	lines := strings.Split(d.raw(), "\n")
	assert.Len(t, lines, rows)
	for _, line := range lines {
		assert.LessOrEqual(t, ansi.StringWidth(line), width, "%q", line)
	}
}

// plain checks that a frame keeps to what the terminal allows, and that nothing
// in it is obeyed but styles.
func plain(t *testing.T, d *desk, o Options) {
	t.Helper()
	raw := d.raw()
	if !o.Color {
		assert.NotRegexp(t, colours, raw)
	}
	rest := colours.ReplaceAllString(styled.ReplaceAllString(raw, ""), "")
	rest = strings.ReplaceAll(rest, "\x1b[1;31m", "")
	for _, r := range rest {
		if r != '\n' && (r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0) || !o.Unicode && r > 0x7f {
			t.Fatalf("%q in the frame:\n%q", r, rest)
		}
	}
}

func TestColoursAreThere(t *testing.T) {
	d := newDesk(t, 80, 24, Options{Color: true, Unicode: true})
	d.to(atReading)
	d.enter(">100")
	d.tick(time.Second)
	assert.Regexp(t, colours, d.raw())
}

// What is asked and where it is answered stay in sight at every size from 40x15
// up; smaller ones do not break.
func TestEverySize(t *testing.T) {
	for _, s := range scenes {
		d := newDesk(t, 80, 24, Options{Unicode: true})
		s.play(d)
		word, _, _ := strings.Cut(d.m.q.Prompt, " ")
		for _, width := range []int{1, 2, 7, 20, 40, 47, 80, 130} {
			for _, rows := range []int{1, 2, 3, 5, 9, 15, 16, 17, 18, 21, 24, 45} {
				d.resize(width, rows)
				fits(t, d, width, rows)
				if width >= 40 && rows >= 15 {
					require.Contains(t, d.view(), word, "%s at %dx%d", s.name, width, rows)
					inSight(t, d)
				}
			}
		}
	}
}

// inSight checks that the field of a question is drawn.
func inSight(t *testing.T, d *desk) {
	t.Helper()
	field := map[ask.Kind]string{ask.Text: "▸", ask.Choice: "2  ", ask.Reading: "▸", ask.Timer: "s", ask.Rest: "s"}[d.m.q.Kind]
	if d.m.q.Kind == ask.Confirm {
		field = map[bool]string{true: "I have read them", false: "Read on"}[d.m.read]
	}
	require.Contains(t, d.view()+" ", field, "%dx%d", d.m.width, d.m.rows)
	if d.m.q.Kind == ask.Reading {
		require.Contains(t, d.view(), "limit 40 mL/min")
		require.Contains(t, d.view(), fmt.Sprintf("▸ %d", d.m.q.Cylinder))
	}
	if d.m.refusal != "" {
		require.Contains(t, d.view(), "✗ ")
	}
}

// oneFlow asks one question, again and again.
type oneFlow struct {
	q     ask.Question
	said  []string
	takes error
}

func (f *oneFlow) Question() ask.Question { return f.q }
func (f *oneFlow) Answer(string) error    { return f.takes }
func (f *oneFlow) Elapsed() time.Duration { return 0 }
func (f *oneFlow) Said() []string         { return f.said }

// hostile is what a flow may say after somebody typed or imported it.
const hostile = "a\x1b[2Jb\x1b]0;title\x07c\rd\x08e\u202ef\u009b31mg\x00h\tTäst \u0041\u0301 漢字 \xff"

func TestNothingOfAFlowIsObeyed(t *testing.T) {
	board := &ask.Board{LimitMLMin: 40, MedianMLMin: math.NaN(),
		Bars: []ask.Bar{{Cylinder: 1, Label: hostile, RateMLMin: 21, Verdict: hostile}, {Cylinder: 2, RateMLMin: math.Inf(1), Label: hostile}}}
	for _, unicode := range []bool{true, false} {
		for kind := ask.Text; kind < ask.Done; kind++ {
			f := &oneFlow{said: []string{hostile}, takes: &ask.Refusal{Value: hostile, Expected: hostile}}
			f.q = ask.Question{Kind: kind, Section: hostile, Prompt: hostile, Hint: hostile, Notes: []string{hostile}, Default: hostile,
				Options: []ask.Option{{Value: hostile, Label: hostile}, {Value: "2", Label: hostile}}, Earlier: []string{hostile},
				Table: func(int) string { return hostile + "\n" + hostile }, Board: board, TargetS: 5}
			d := newDesk(t, 80, 24, Options{})
			d.sit(f, 80, 24, Options{Unicode: unicode})
			plain(t, d, Options{Unicode: unicode})
			d.enter("x")
			d.press("backspace", "down")
			plain(t, d, Options{Unicode: unicode})
			fits(t, d, 80, 24)
			assert.NotContains(t, d.m.farewell(), "\x1b")
		}
	}
}

// Wide characters take two columns each (Unicode Standard Annex 11).
func TestWideCharacters(t *testing.T) {
	f := &oneFlow{q: ask.Question{Kind: ask.Choice, Section: strings.Repeat("漢", 90), Prompt: strings.Repeat("字", 70),
		Options: []ask.Option{{Value: "1", Label: strings.Repeat("整備", 40)}}}, said: []string{strings.Repeat("車", 60)}}
	for width := 3; width < 90; width++ {
		d := newDesk(t, 80, 24, Options{})
		d.sit(f, width, 20, Options{Unicode: true})
		fits(t, d, width, 20)
		d.send(keyOf("漢"))
		fits(t, d, width, 20)
	}
}

func TestManyOptionsAndCylinders(t *testing.T) {
	q := ask.Question{Kind: ask.Choice, Prompt: "Engine"}
	board := &ask.Board{LimitMLMin: math.NaN(), MedianMLMin: math.NaN()}
	for i := 1; i <= 24; i++ {
		q.Options = append(q.Options, ask.Option{Value: fmt.Sprintf("engine-%d", i), Label: fmt.Sprintf("Engine %d", i)})
		board.Bars = append(board.Bars, ask.Bar{Cylinder: i, RateMLMin: float64(i), Label: fmt.Sprint(i)})
	}
	d := newDesk(t, 80, 24, Options{})
	d.sit(&oneFlow{q: q}, 44, 16, Options{Unicode: true})
	d.press("2", "1")
	assert.Contains(t, d.view(), "▸ 21  Engine 21")
	assert.Contains(t, d.view(), "24 to choose from")
	d.press("down")
	assert.Contains(t, d.view(), "▸ 22  Engine 22")
	d.sit(&oneFlow{q: ask.Question{Kind: ask.Reading, Prompt: "Cylinder 20", Cylinder: 20, Board: board}}, 44, 16, Options{Unicode: true})
	d.tick(time.Second)
	assert.Contains(t, d.view(), "▸ 20 █")
	fits(t, d, 44, 16)
}

// A rate that rounds to the limit is shown with the digit that parts them.
func TestFiguresDoNotContradictTheLimit(t *testing.T) {
	board := &ask.Board{LimitMLMin: 40, MedianMLMin: math.NaN(),
		Bars: []ask.Bar{{Cylinder: 1, Label: "40.04", RateMLMin: 40.04, Verdict: "fail", Flagged: true}}}
	d := newDesk(t, 80, 24, Options{})
	d.sit(&oneFlow{q: ask.Question{Kind: ask.Reading, Prompt: "Cylinder 1", Cylinder: 1, Board: board}}, 80, 24, Options{Unicode: true})
	assert.Contains(t, d.view(), "40.04 ! fail")
}

// What was said with one answer is shown whole, scrolled where it is long.
func TestMuchThatWasSaid(t *testing.T) {
	f := &oneFlow{q: ask.Question{Prompt: "Fuel"}}
	for i := range 30 {
		f.said = append(f.said, fmt.Sprintf("Beware of number %d.", i))
	}
	d := newDesk(t, 80, 24, Options{})
	d.sit(f, 80, 24, Options{Unicode: true})
	assert.Contains(t, d.view(), "lines below")
	d.press("pgdown", "pgdown", "pgdown")
	assert.Contains(t, d.view(), "Beware of number 29.")
}

func TestFarewell(t *testing.T) {
	d := newDesk(t, 80, 24, Options{Unicode: true})
	assert.Equal(t, "A new test was begun.\n", d.m.farewell())
	d.to(atDone)
	assert.True(t, d.m.done)
	assert.Equal(t, fakeTable(78)+"\nLet the starter rest:\n", d.m.farewell())
	assert.ErrorIs(t, d.m.outcome(t.Context(), errors.New("late")), nil)
}

// A choice that is none says what stands on the screen: numbers, not the options'
// values.
func TestWrongChoiceSaysNumbers(t *testing.T) {
	options := []ask.Option{{Value: "individual", Label: "each cylinder's own return"}, {Value: "total", Label: "the merged return alone"}}
	f := &oneFlow{q: ask.Question{Kind: ask.Choice, Prompt: "How the returns are collected", Options: options},
		takes: &ask.Refusal{Value: "x", Expected: ask.Alternatives(options) + ", or a correction"}}
	d := newDesk(t, 80, 24, Options{})
	d.sit(f, 80, 24, Options{Unicode: true})
	d.enter("x")
	assert.Contains(t, d.view(), `✗ "x": expected a number from 1 to 2, or a correction`)
	assert.NotContains(t, d.view(), "individual")
}

// On 24 rows the rows of six cylinders are in sight together with choices, the
// answer before them, and the notes behind.
func TestResultsStandBeforeChoices(t *testing.T) {
	q := ask.Question{Kind: ask.Choice, Section: "The result", Prompt: "What next", Hint: "or a correction, such as 6=22.5 because misread",
		Notes: []string{"Cylinder 3 is undecided: collect 3 times for 85 s each."}}
	for i := range 9 {
		q.Options = append(q.Options, ask.Option{Value: fmt.Sprint("do-", i+1), Label: fmt.Sprint("choice ", i+1)})
	}
	q.Table = func(int) string {
		lines := []string{"The return at cylinder 4 is over the limit.", "", "limit 40", "cyl mL/min", "----"}
		for c := range 22 {
			lines = append(lines, fmt.Sprint("row ", c+1))
		}
		return strings.Join(lines, "\n")
	}
	d := newDesk(t, 80, 24, Options{})
	d.sit(&oneFlow{q: q, said: []string{"cylinder 6: 14 mL"}}, 80, 24, Options{Unicode: true})
	for _, text := range []string{"The return at cylinder 4", "row 1\n", "row 6\n", "What next", "1  choice 1", "2  choice 2", "9 to choose from"} {
		assert.Contains(t, d.view(), text)
	}
	d.press("pgdown", "pgdown")
	assert.Contains(t, d.view(), "Cylinder 3 is undecided")
	d.press("9")
	assert.Contains(t, d.view(), "▸ 9  choice 9")
}

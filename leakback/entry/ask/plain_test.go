package ask

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// script is a flow that asks questions in a row. A Timer runs between its two
// empty answers; "back" goes back.
type script struct {
	questions []Question
	at        int
	answers   []string
	said      []string
	refuse    map[string]error
	clock     *clock
	began     time.Duration
}

func (s *script) Question() Question {
	if s.at == len(s.questions) {
		return Question{Kind: Done}
	}
	return s.questions[s.at]
}

func (s *script) Answer(text string) error {
	if err := s.refuse[text]; err != nil {
		return err
	}
	s.answers = append(s.answers, text)
	q := &s.questions[s.at]
	switch {
	case text == "back" && q.Running:
		q.Running = false
	case text == "back":
		s.at--
	case q.Kind == Timer && !q.Running && text == "":
		q.Running, s.began = true, s.clock.now
	default:
		if q.Kind == Timer && text == "" {
			s.said = append(s.said, "collected for "+(s.clock.now-s.began).String())
		}
		s.at++
	}
	return nil
}

func (s *script) Elapsed() time.Duration { return s.clock.now - s.began }

func (s *script) Said() []string {
	said := s.said
	s.said = nil
	return said
}

// clock is one that runs as fast as nothing happens, and types text when it is
// time for it.
type clock struct {
	now   time.Duration
	typed []typed
	in    chan byte
}

type typed struct {
	at   time.Duration
	text string
}

// Tick passes the pause, or the time until something is typed in it. Once all is
// typed the time stands still.
func (c *clock) Tick(pause time.Duration) <-chan time.Time {
	if len(c.typed) == 0 {
		return nil
	}
	if c.typed[0].at <= c.now+pause {
		c.now = c.typed[0].at
		c.feed(c.typed[0].text)
		c.typed = c.typed[1:]
		return nil
	}
	c.now += pause
	fired := make(chan time.Time, 1)
	fired <- time.Time{}
	return fired
}

// Write is for prompts of which the clock types what comes behind the last tick.
func (w *watched) Write(p []byte) (int, error) {
	if text := string(p); strings.Contains(text, "is up") || strings.Contains(text, "is over") {
		w.clock.Tick(time.Hour)
	}
	return w.Builder.Write(p)
}

// WriteString is Write.
func (w *watched) WriteString(text string) (int, error) { return w.Write([]byte(text)) }

type watched struct {
	strings.Builder
	clock *clock
}

// printed is where the prompts of a flow go: without Live nothing ticks once the
// time is up.
func printed(c *clock, o PlainOptions) interface {
	io.Writer
	String() string
} {
	if o.Live {
		return &strings.Builder{}
	}
	return &watched{clock: c}
}

func (c *clock) feed(text string) {
	for _, b := range []byte(text) {
		c.in <- b
	}
}

// ReadByte waits for what is typed.
func (c *clock) ReadByte() (byte, error) {
	b, open := <-c.in
	if !open {
		return 0, io.EOF
	}
	return b, nil
}

func (c *clock) Read([]byte) (int, error) { panic("it reads bytes") }

// asking runs Plain over questions; text is typed at once and the rest when it is
// time for it.
func asking(t *testing.T, o PlainOptions, text string, later []typed, questions ...Question) (string, *script) {
	t.Helper()
	c := &clock{typed: later, in: make(chan byte, 1000)}
	c.feed(text)
	s := &script{questions: questions, clock: c}
	o.Tick = c.Tick
	out := printed(c, o)
	require.NoError(t, Plain(t.Context(), s, c, out, o))
	return out.String(), s
}

func TestPlainDialogue(t *testing.T) {
	flow := &script{
		said: []string{"A new test was begun."},
		questions: []Question{
			{ID: "vehicle", Section: "The job", Prompt: "Vehicle", Hint: "as the customer knows it", Earlier: []string{"truck 7", "bus 3"}},
			{ID: "engine", Section: "The engine", Prompt: "Engine", Default: "Northmoor Six-90"},
			{ID: "tube", Kind: Choice, Section: "The engine", Prompt: "Tube", Options: []Option{{"A", "glass of class A"}, {"plastic", "plastic"}},
				Earlier: []string{"plastic"}},
			{ID: "cautions", Kind: Confirm, Section: "Cautions", Prompt: "Cautions", Hint: "type understood",
				Notes:   []string{"The fuel is hot and the rail holds more pressure than a hand withstands; nobody looks for a leak with it.", "Short."},
				Options: []Option{{"understood", "I have read them"}}},
			{ID: "reading", Kind: Reading, Section: "Run 1", Prompt: "Cylinder 1", Table: func(width int) string { return "1 |====   21\n2 |" + strings.Repeat("=", width-10) + "\n" }},
		},
		refuse: map[string]error{"abc": &Refusal{"abc", "a number such as 22.5"}},
	}
	in := "b\n?\nNorthmoor Four-30\nback\nNorthmoor Four-30\nb\nUnderstood\nabc\n 22,5 \n"
	var out strings.Builder
	require.NoError(t, Plain(t.Context(), flow, strings.NewReader(in), &out, PlainOptions{Width: 40}))
	assert.Equal(t, []string{"bus 3", "Northmoor Four-30", "back", "Northmoor Four-30", "plastic", "Understood", "22,5"}, flow.answers)
	assert.Equal(t, `A new test was begun.

The job
earlier: a: truck 7; b: bus 3
Vehicle (as the customer knows it): b
that is: bus 3

The engine
Engine [Northmoor Six-90]: ?
back goes to the question before,
forward to the first that is open, skip
leaves this one open, quit leaves (what
was answered is kept), give up closes
what is unfinished
Engine [Northmoor Six-90]: Northmoor Four-30
1: A, glass of class A
2: plastic
earlier: b: plastic
Tube: back
Engine [Northmoor Six-90]: Northmoor Four-30
1: A, glass of class A
2: plastic
earlier: b: plastic
Tube: b
that is: plastic

Cautions
The fuel is hot and the rail holds more
pressure than a hand withstands; nobody
looks for a leak with it.
Short.
understood, I have read them
Cautions (type understood): Understood

Run 1
1 |====   21
2 |==============================
Cylinder 1: abc
"abc": expected a number such as 22.5
Cylinder 1: 22,5
`, out.String())
}

func collect(targetS float64) Question {
	return Question{ID: "collect", Kind: Timer, Section: "Run 1", Prompt: "Collect for a while", Hint: "Enter starts and stops", TargetS: targetS}
}

// Without a terminal a clock speaks at its start, when its time is up, and at its end.
func TestPlainTimer(t *testing.T) {
	q := collect(60)
	q.Notes = []string{"Empty the tubes."}
	out, s := asking(t, PlainOptions{Bell: true}, "\n", []typed{{61500 * time.Millisecond, "\n"}}, q)
	assert.Equal(t, []string{"", ""}, s.answers)
	assert.Equal(t, "\nRun 1\nEmpty the tubes.\nCollect for a while (Enter starts and stops): \n"+
		"started: 60 s to go, Enter stops\n"+
		"time is up: 60 s, Enter stops\a\n"+
		"collected for 1m1.5s\n", out)
}

func TestPlainTimerEarlyTypedAndBack(t *testing.T) {
	out, s := asking(t, PlainOptions{}, "\n", []typed{{20 * time.Second, "?\nback\n60s\n"}}, collect(60))
	assert.Equal(t, []string{"", "back", "60s"}, s.answers)
	assert.Equal(t, "\nRun 1\nCollect for a while (Enter starts and stops): \n"+
		"started: 60 s to go, Enter stops\n?\n"+
		"Enter starts and stops\n"+commandsIn80+"back\n"+
		"Collect for a while (Enter starts and stops): 60s\n", out)
}

const commandsIn80 = "back goes to the question before, forward to the first that is open, skip leaves\nthis one open, quit leaves (what was answered is kept), give up closes what is\nunfinished\n"

// On a terminal, which ends the line of an Enter itself, the time is written over.
func TestPlainTimerOnATerminal(t *testing.T) {
	out, s := asking(t, PlainOptions{Live: true, Bell: true}, "\n", []typed{{4700 * time.Millisecond, "\n"}}, collect(2.5))
	assert.Equal(t, []string{"", ""}, s.answers)
	assert.Equal(t, "\nRun 1\nCollect for a while (Enter starts and stops): "+
		"started: 3 s to go, Enter stops\n"+
		"\r3 s left        \r2 s left        \r1 s left        "+
		"\rtime is up: 2.5 s, Enter stops\a\n"+
		"\r0 s over        \r0 s over        \r1 s over        "+
		"collected for 4.7s\n", out)
	assert.Equal(t, 1, strings.Count(out, "\a"), "it rings once")
}

// For whoever listens nothing is written over, and the time is said each minute and
// as the end comes near.
func TestPlainTimerForAListener(t *testing.T) {
	o := PlainOptions{Live: true, Still: true, Bell: true}
	out, _ := asking(t, o, "\n", []typed{{200 * time.Second, "\n"}}, collect(130))
	assert.Equal(t, "\nRun 1\nCollect for a while (Enter starts and stops): started: 130 s to go, Enter stops\n"+
		"120 s to go\n60 s to go\n10 s to go\ntime is up: 130 s, Enter stops\a\n60 s over\ncollected for 3m20s\n", out)
	assert.NotContains(t, out, "\r")
	out, _ = asking(t, o, "\n", []typed{{125 * time.Second, "\n"}}, collect(0))
	assert.Equal(t, "\nRun 1\nCollect for a while (Enter starts and stops): started, Enter stops\n60 s\n120 s\ncollected for 2m5s\n", out)
	out, _ = asking(t, o, "\n", []typed{{3 * time.Second, "\n"}}, collect(2.5))
	assert.Equal(t, "\nRun 1\nCollect for a while (Enter starts and stops): started: 3 s to go, Enter stops\n"+
		"time is up: 2.5 s, Enter stops\a\ncollected for 3s\n", out)
	rest := Question{ID: "rest", Kind: Rest, Prompt: "Rest", TargetS: 30}
	out, _ = asking(t, o, "", []typed{{200 * time.Second, "\n"}}, rest)
	assert.Equal(t, "Rest\n30 s to go\n10 s to go\nthe rest of 30 s is over, Enter goes on\a\nstopped after 200.0 s\n", out)
}

func TestPlainTimerWithoutATarget(t *testing.T) {
	out, _ := asking(t, PlainOptions{Live: true, Echo: true}, "\n", []typed{{2500 * time.Millisecond, "\n"}}, collect(0))
	assert.Equal(t, "\nRun 1\nCollect for a while (Enter starts and stops): \nstarted, Enter stops\n"+
		"\r0 s             \r1 s             \r2 s             \ncollected for 2.5s\n", out)
	out, _ = asking(t, PlainOptions{}, "\n\n", nil, collect(0))
	assert.Equal(t, "\nRun 1\nCollect for a while (Enter starts and stops): \nstarted, Enter stops\ncollected for 0s\n", out)
}

// A refusal while the clock runs leaves it running, and says nothing twice.
func TestPlainTimerGoesOnAfterARefusal(t *testing.T) {
	c := &clock{in: make(chan byte, 100), typed: []typed{{70 * time.Second, "soon\n\n"}}}
	c.feed("\n")
	s := &script{questions: []Question{collect(60)}, clock: c, refuse: map[string]error{"soon": &Refusal{"soon", "Enter, or a time"}}}
	o := PlainOptions{Tick: c.Tick, Bell: true}
	out := printed(c, o)
	require.NoError(t, Plain(t.Context(), s, c, out, o))
	assert.Equal(t, "\nRun 1\nCollect for a while (Enter starts and stops): \n"+
		"started: 60 s to go, Enter stops\ntime is up: 60 s, Enter stops\a\nsoon\n"+
		"\"soon\": expected Enter, or a time\ncollected for 1m10s\n", out.String())
}

func TestPlainRest(t *testing.T) {
	rest := Question{ID: "rest", Kind: Rest, Section: "Run 1", Prompt: "Let the starter rest for 30 s", Hint: "Enter goes on",
		TargetS: 30, Notes: []string{"The sheet says 30 s."}}
	out, s := asking(t, PlainOptions{Bell: true}, "", []typed{{45 * time.Second, "\n"}}, rest)
	assert.Equal(t, []string{""}, s.answers)
	assert.Equal(t, "\nRun 1\nThe sheet says 30 s.\nLet the starter rest for 30 s (Enter goes on)\n30 s to go\n"+
		"the rest of 30 s is over, Enter goes on\a\nstopped after 45.0 s\n", out)
	out, _ = asking(t, PlainOptions{Live: true}, "", []typed{{1500 * time.Millisecond, "\n"}}, rest)
	assert.Equal(t, "\nRun 1\nThe sheet says 30 s.\nLet the starter rest for 30 s (Enter goes on)\n30 s to go\n"+
		"\r30 s left       \r29 s left       stopped after 1.5 s\n", out)
}

func TestPlainRestWithoutATarget(t *testing.T) {
	out, _ := asking(t, PlainOptions{}, "\n", nil, Question{Kind: Rest, Prompt: "Rest", Hint: "Enter goes on"})
	assert.Equal(t, "Rest (Enter goes on)\nstopped after 0.0 s\n", out)
}

// Each clock has its own time and its own bell.
func TestPlainCranksAndRests(t *testing.T) {
	rest := Question{ID: "rest", Kind: Rest, Section: "Run 1", Prompt: "Rest", TargetS: 30}
	crank := collect(5)
	crank.Hint = ""
	out, _ := asking(t, PlainOptions{Bell: true}, "\n", []typed{{6 * time.Second, "\n"}, {40 * time.Second, "\n\n"}, {47 * time.Second, "\n"}},
		crank, rest, crank)
	assert.Equal(t, "\nRun 1\nCollect for a while: \nstarted: 5 s to go, Enter stops\ntime is up: 5 s, Enter stops\a\ncollected for 6s\n"+
		"Rest\n24 s to go\nthe rest of 30 s is over, Enter goes on\a\nstopped after 40.0 s\n"+
		"Collect for a while: \nstarted: 5 s to go, Enter stops\ntime is up: 5 s, Enter stops\a\ncollected for 7s\n", out)
}

func TestPlainOffersNineEarlierAnswers(t *testing.T) {
	earlier := strings.Split("1 2 3 4 5 6 7 8 9 10 11", " ")
	s := &script{questions: []Question{{Prompt: "One", Earlier: earlier}, {Prompt: "Two", Earlier: earlier}}}
	var out strings.Builder
	require.NoError(t, Plain(t.Context(), s, strings.NewReader("I\nj\n"), &out, PlainOptions{}))
	assert.Equal(t, []string{"9", "j"}, s.answers)
	assert.Contains(t, out.String(), "h: 8; i: 9\n")
}

func two() []Question {
	return []Question{{ID: "1", Prompt: "One"}, {ID: "2", Prompt: "Two"}}
}

func TestPlainIsLeft(t *testing.T) {
	broken := errors.New("the cable was pulled")
	full := errors.New("not kept: disk full")
	for name, c := range map[string]struct {
		in   io.Reader
		want error
		out  string
	}{
		"end of the input": {strings.NewReader("a\n"), ErrLeft, "One: a\nTwo: \n"},
		"quit":             {strings.NewReader("a\n Quit \nb\n"), ErrLeft, "One: a\nTwo: Quit\n"},
		"within a line":    {strings.NewReader("a\n22"), ErrLeft, "One: a\nTwo: \n\"22\": expected the end of the line: the input ended within it\nTwo: \n"},
		"broken input":     {io.MultiReader(strings.NewReader("a\n"), iotest.ErrReader(broken)), broken, "One: a\nTwo: \n"},
		"not kept":         {strings.NewReader("a\nfull\n"), full, "One: a\nTwo: full\n"},
	} {
		t.Run(name, func(t *testing.T) {
			s := &script{questions: two(), refuse: map[string]error{"full": full}}
			var out strings.Builder
			require.ErrorIs(t, Plain(t.Context(), s, c.in, &out, PlainOptions{}), c.want)
			assert.Equal(t, []string{"a"}, s.answers)
			assert.Equal(t, c.out, out.String())
		})
	}
}

// On a terminal, which has ended the line, nothing is added to it.
func TestPlainIsLeftOnATerminal(t *testing.T) {
	for in, want := range map[string]string{"quit\n": "One: ", "": "One: \n"} {
		var out strings.Builder
		require.ErrorIs(t, Plain(t.Context(), &script{questions: two()}, strings.NewReader(in), &out, PlainOptions{Live: true}), ErrLeft)
		assert.Equal(t, want, out.String())
	}
}

// Once the context has ended no answer is taken, even one that is there.
func TestPlainTakesNothingOnceItsContextEnded(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for range 100 {
		s := &script{questions: two()}
		require.ErrorIs(t, Plain(ctx, s, strings.NewReader("a\nb\n"), io.Discard, PlainOptions{}), context.Canceled)
		require.Empty(t, s.answers)
	}
}

type failing struct{ after int }

func (f *failing) Write(p []byte) (int, error) {
	if f.after--; f.after < 0 {
		return 0, errors.New("broken pipe")
	}
	return len(p), nil
}

// Nothing is taken of a person who no longer sees what is asked.
func TestPlainCannotBeWritten(t *testing.T) {
	s := &script{questions: two()}
	err := Plain(t.Context(), s, strings.NewReader("a\nb\n"), &failing{3}, PlainOptions{})
	assert.EqualError(t, err, "the prompts cannot be written: broken pipe")
	assert.Equal(t, []string{"a"}, s.answers)
}

func TestPlainStopsWithItsContext(t *testing.T) {
	for name, q := range map[string]Question{"text": {Prompt: "One"}, "timer": {Kind: Timer, Running: true, TargetS: 60}} {
		t.Run(name, func(t *testing.T) {
			ctx, cancel := context.WithCancel(t.Context())
			in, typing := io.Pipe()
			defer typing.Close()
			s := &script{questions: []Question{q}, clock: &clock{}}
			done := make(chan error)
			go func() { done <- Plain(ctx, s, in, io.Discard, PlainOptions{}) }()
			cancel()
			select {
			case err := <-done:
				require.ErrorIs(t, err, context.Canceled)
			case <-time.After(10 * time.Second):
				t.Fatal("it waits for a line")
			}
			assert.Empty(t, s.answers)
		})
	}
}

func TestPlainLines(t *testing.T) {
	long := strings.Repeat("x", 64<<10)
	for name, c := range map[string]struct{ in, want, out string }{
		"LF":          {"21\n", "21", ""},
		"CR LF":       {"21\r\n", "21", ""},
		"mark":        {"\ufeff21\r\n", "21", ""},
		"longest":     {long + "\r\n", long, ""},
		"too long":    {long + "x\n21\n", "21", "expected at most 65,536 bytes in a line"},
		"far too":     {strings.Repeat(long, 9) + "\n21\n", "21", "expected at most 65,536 bytes in a line"},
		"not UTF-8":   {"M\xfcller\n21\n", "21", `"M\xfcller": expected text in UTF-8`},
		"an escape":   {"\x1b[A\n21\n", "21", `"\x1b[A": expected text without control characters`},
		"NUL":         {"2\x001\n21\n", "21", `"2\x001": expected text without control characters`},
		"CR within":   {"2\r1\n21\n", "21", `"2\r1": expected text without control characters`},
		"mark within": {"a\n\ufeff21\n", "a\ufeff21", ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := &script{questions: []Question{{Prompt: "One"}}}
			if name == "mark within" {
				s.questions = two()
			}
			var out strings.Builder
			require.NoError(t, Plain(t.Context(), s, strings.NewReader(c.in), &out, PlainOptions{}))
			assert.Equal(t, c.want, strings.Join(s.answers, ""))
			if c.out != "" {
				assert.Equal(t, "One: \n"+c.out+"\nOne: 21\n", out.String())
			}
		})
	}
}

// What stands behind the last answer is left to the next flow, however the input
// is read.
func TestPlainReadsNothingBeyond(t *testing.T) {
	readers := map[string]io.Reader{
		"bytes":     bytes.NewBufferString("a\nb\nc\nd\n"),
		"no bytes":  struct{ io.Reader }{strings.NewReader("a\nb\nc\nd\n")},
		"by halves": iotest.HalfReader(strings.NewReader("a\nb\nc\nd\n")),
		"last":      iotest.DataErrReader(strings.NewReader("a\nb\nc\nd\n")),
	}
	for name, in := range readers {
		t.Run(name, func(t *testing.T) {
			first, second := &script{questions: two()}, &script{questions: two()}
			require.NoError(t, Plain(t.Context(), first, in, io.Discard, PlainOptions{}))
			require.NoError(t, Plain(t.Context(), second, in, io.Discard, PlainOptions{}))
			assert.Equal(t, []string{"a", "b"}, first.answers)
			assert.Equal(t, []string{"c", "d"}, second.answers)
		})
	}
}

// Answers of others may hold anything: a terminal obeys none of it.
func TestPlainShowsAndDoesNotObey(t *testing.T) {
	evil := "a\x1b[2J\x1b]0;x\ab\r\u202ec\nd"
	s := &script{said: []string{evil}, questions: []Question{{Prompt: evil, Section: evil, Hint: evil, Default: evil, Notes: []string{evil},
		Earlier: []string{evil}, Options: []Option{{evil, evil + "!"}}, Table: func(int) string { return "|" + evil }}}}
	var out strings.Builder
	require.NoError(t, Plain(t.Context(), s, strings.NewReader("a\n"), &out, PlainOptions{}))
	assert.Equal(t, []string{evil}, s.answers)
	assert.Equal(t, "ab c d\n\nab c d\nab c d\n|ab c\nd\nab c d, ab c d!\nearlier: a: ab c d\n"+
		"ab c d (ab c d) [ab c d]: a\nthat is: ab c d\n", out.String())
}

// Where the terminal takes ASCII only, nothing else is printed: neither what the flow
// asks and says nor what is typed.
func TestPlainInASCII(t *testing.T) {
	question := Question{Section: "The fuel – now", Prompt: "Fuel temperature", Hint: "such as 40 °C", Default: "40 °C", Notes: []string{"Hot: ≥ 60 °C."},
		Earlier: []string{"41 °C"}, Table: func(int) string { return "│ 4 °C │\n" }}
	for _, tt := range []struct {
		unicode bool
		want    string
	}{
		{true, "begun…\n\nThe fuel – now\nHot: ≥ 60 °C.\n│ 4 °C │\nearlier: a: 41 °C\nFuel temperature (such as 40 °C) [40 °C]: wärm\n" +
			"\"wärm\": expected °C\nFuel temperature (such as 40 °C) [40 °C]: 42 °C\n"},
		{false, "begun...\n\nThe fuel - now\nHot: >= 60 deg C.\n? 4 ?C ?\nearlier: a: 41 deg C\nFuel temperature (such as 40 deg C) [40 deg C]: warm\n" +
			"\"warm\": expected deg C\nFuel temperature (such as 40 deg C) [40 deg C]: 42 deg C\n"},
	} {
		s := &script{said: []string{"begun…"}, questions: []Question{question}, refuse: map[string]error{"wärm": &Refusal{"wärm", "°C"}}}
		var out strings.Builder
		require.NoError(t, Plain(t.Context(), s, strings.NewReader("wärm\n42 °C\n"), &out, PlainOptions{Unicode: tt.unicode}))
		assert.Equal(t, tt.want, out.String())
		assert.Equal(t, []string{"42 °C"}, s.answers, "it is kept as it was typed")
	}
}

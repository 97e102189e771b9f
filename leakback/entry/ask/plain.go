package ask

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"leakback/limits/quantity"
)

// PlainOptions say how Plain asks.
type PlainOptions struct {
	// Width is how many columns notes and tables may have; 80 where it is 0.
	Width int
	// Unicode allows signs beyond ASCII. Without it there are none at all.
	Unicode bool
	// Live says that prompts go to a terminal, on which the time that is left is
	// written over each second.
	Live bool
	// Still says that nothing is written over, even so: a line says the time that is
	// left, and seldom, for whoever listens.
	Still bool
	// Bell rings when a Timer or a Rest has run for its time.
	Bell bool
	// Echo writes each answer behind its prompt, because nobody sees it typed: the
	// input is no terminal. Without Live it is always so.
	Echo bool
	// Tick gives the time once that pause is over; nil is time.After.
	Tick func(pause time.Duration) <-chan time.Time
}

// The words that skins take themselves; the others are the flow's. Between double
// quotes they are answers.
const (
	WordQuit = "quit"
	WordHelp = "?"
)

// The words by which a flow is moved about in, in both skins.
const (
	WordBack    = "back"
	WordForward = "forward"
)

// Commands is what is said of them, and of those that every flow has.
const Commands = "back goes to the question before, forward to the first that is open, skip leaves this one open, quit leaves (what was answered is kept), " +
	"give up closes what is unfinished"

// Plain asks the questions of a flow line by line until it is done: prompts go
// to to, answers are read from in. It draws nothing, so that it serves pipes,
// scripts and screen readers. A question's number takes an option, a letter an
// earlier answer; "?" explains, and "quit" leaves.
//
// It gives ErrLeft where the person left or the input ended, the context's error
// as soon as that ends, and the flow's where an answer could not be kept. It
// reads in no further than the line that it takes, so that what follows it can
// be read by others; only a context that ends while a line is awaited costs that
// line.
func Plain(ctx context.Context, f Flow, in io.Reader, to io.Writer, o PlainOptions) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	if o.Tick == nil {
		o.Tick = time.After
	}
	p := &plain{o: o, flow: f, to: &printer{to: to}, in: newLineReader(in)}
	done, err := false, error(nil)
	for !done && err == nil && p.to.err == nil {
		done, err = p.step(ctx)
	}
	p.to.endLine()
	if p.to.err != nil {
		return fmt.Errorf("the prompts cannot be written: %w", p.to.err)
	}
	return err
}

// plain is one run of Plain.
type plain struct {
	o       PlainOptions
	flow    Flow
	to      *printer
	in      *lineReader
	section string
	// again says that the standing question was asked before.
	again bool
	// up says that the time of the standing question was said to be up.
	up bool
	// next is when it is said next how long is left, in s before the end; NaN before
	// that is known.
	next float64
}

// printer writes until it fails.
type printer struct {
	to  io.Writer
	err error
	// open says that a line was begun.
	open bool
}

func (p *printer) print(text string) {
	if p.err == nil && text != "" {
		_, p.err = io.WriteString(p.to, text)
		p.open = text[len(text)-1] != '\n'
	}
}

// endLine ends the line that was begun, if one was.
func (p *printer) endLine() {
	if p.open {
		p.print("\n")
	}
}

// step asks once. It says whether the flow is done.
func (p *plain) step(ctx context.Context) (done bool, err error) {
	p.say(p.flow.Said())
	q := p.flow.Question()
	if q.Kind == Done {
		return true, nil
	}
	if !p.again {
		p.show(&q)
		p.up, p.next = false, math.NaN()
	}
	p.prompt(&q)
	p.again = true
	line, err := p.await(ctx, &q)
	if err != nil || p.to.err != nil {
		return false, err
	}
	p.echo(line.text)
	return false, p.take(&q, line)
}

// take takes a line that was read.
func (p *plain) take(q *Question, line line) error {
	text := strings.TrimSpace(line.text)
	switch {
	case line.refused != nil:
		p.to.print(p.oneLine(line.refused.Error()) + "\n")
		return nil
	case text == WordHelp:
		p.help(q)
		return nil
	case strings.EqualFold(text, WordQuit):
		return ErrLeft
	}
	if earlier, ok := q.pick(text); ok {
		p.paragraph("that is: " + earlier)
		text = earlier
	}
	return p.answer(q, text)
}

// answer gives an answer to the flow. What it says of a clock that was stopped
// ends that; where it says nothing, Plain does.
func (p *plain) answer(q *Question, text string) error {
	stopped := ""
	if q.running() && text == "" {
		stopped = "stopped after " + quantity.Fixed(p.flow.Elapsed().Seconds(), 1) + " s\n"
	}
	err := p.flow.Answer(text)
	said := p.flow.Said()
	p.say(said)
	var refusal *Refusal
	switch {
	case errors.As(err, &refusal):
		p.to.print(p.oneLine(refusal.Error()) + "\n")
		return nil
	case err == nil && len(said) == 0:
		p.to.print(stopped)
	}
	p.again = false
	return err
}

// show says what stands before the prompt of a question.
func (p *plain) show(q *Question) {
	if q.running() && q.Kind == Timer {
		return // it was said when it was started
	}
	if q.Section != p.section && q.Section != "" {
		p.to.print("\n" + p.oneLine(q.Section) + "\n")
	}
	p.section = q.Section
	for _, note := range q.Notes {
		p.paragraph(note)
	}
	if q.Table != nil {
		p.table(q.Table(p.o.Width))
	}
	p.choices(q)
}

// help says once more what is taken.
func (p *plain) help(q *Question) {
	for _, note := range q.Notes {
		p.paragraph(note)
	}
	p.paragraph(q.Hint)
	p.choices(q)
	p.paragraph(Commands)
}

// choices lists what may be answered by a number, or by a letter.
func (p *plain) choices(q *Question) {
	for i, o := range q.Options {
		text := o.Value
		switch {
		case o.Label == "" || o.Label == o.Value:
		case q.Kind == Choice && o.Value == strconv.Itoa(i+1): // its number says it
			text = o.Label
		default:
			text += ", " + o.Label
		}
		if q.Kind == Choice {
			text = fmt.Sprintf("%d: %s", i+1, text)
		}
		p.paragraph(text)
	}
	var offers []string
	for i, letter := range q.letters() {
		offers = append(offers, letter+": "+q.Earlier[i])
	}
	if offers != nil {
		p.to.print(p.oneLine("earlier: "+strings.Join(offers, "; ")) + "\n")
	}
}

// letters stand for the earlier answers, as far as they go: letters that are no
// option themselves.
func (q *Question) letters() []string {
	var letters []string
	for c := 'a'; c <= 'z' && len(letters) < min(len(q.Earlier), mostEarlier); c++ {
		letter := string(c)
		if !slices.ContainsFunc(q.Options, func(o Option) bool { return strings.EqualFold(o.Value, letter) }) {
			letters = append(letters, letter)
		}
	}
	return letters
}

// mostEarlier is how many earlier answers are offered: more are no help.
const mostEarlier = 9

// pick is the earlier answer that a letter stands for.
func (q *Question) pick(text string) (earlier string, ok bool) {
	i := slices.IndexFunc(q.letters(), func(letter string) bool { return strings.EqualFold(letter, text) })
	if i < 0 {
		return "", false
	}
	return q.Earlier[i], true
}

// prompt asks for the line. A clock that runs has said what ends it.
func (p *plain) prompt(q *Question) {
	if q.running() {
		p.started(q)
		return
	}
	p.to.print(p.oneLine(q.asked()) + ": ")
}

// asked is a question in one line.
func (q *Question) asked() string {
	text := q.Prompt
	if q.Hint != "" {
		text += " (" + q.Hint + ")"
	}
	if q.Default != "" {
		text += " [" + q.Default + "]"
	}
	return text
}

// echo ends the prompt's line, where no terminal has done it, with the answer.
func (p *plain) echo(text string) {
	if p.o.Live && !p.o.Echo {
		p.to.open = false
		return
	}
	p.to.print(p.oneLine(text))
	p.to.endLine()
}

// say prints the messages of the flow.
func (p *plain) say(messages []string) {
	for _, m := range messages {
		p.paragraph(m)
	}
}

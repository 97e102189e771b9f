// Package ask holds a flow of questions against the skins that ask them: plain
// line prompts (this package) and a form on a terminal (package screen). A flow
// knows no terminal and takes its clock from outside; a skin knows nothing of
// what is asked.
package ask

import "time"

// Kind is how a question is answered.
type Kind int

// The kinds of questions.
const (
	// Text is a line: a name, a figure with its unit. Answer says what is wrong.
	Text Kind = iota
	// Choice is one of Options, by its value, or by its number from 1.
	Choice
	// Confirm wants the word of its only option: cautions read, hoses primed.
	Confirm
	// Timer is a collection that is timed: an empty answer starts it and the
	// next one stops it; an interval ("60s") is taken for one that was timed
	// otherwise.
	Timer
	// Rest is a pause that is counted down; an empty answer goes on.
	Rest
	// Reading is a level, or cylinder and level in any order ("4=22.5").
	Reading
	// Done has nothing left to ask.
	Done
)

// Question is what a flow asks next.
type Question struct {
	// ID is stable from run to run of the program: "vehicle", "run 2 reading 4".
	ID   string
	Kind Kind
	// Section is the heading that the question stands under: "The engine".
	Section string
	// Prompt is a few words without a mark at the end: "Fuel temperature".
	Prompt string
	// Hint is one line: what is taken, with an example; "" where that is plain.
	Hint string
	// Notes are paragraphs to be read before the answer, cautions among them.
	Notes []string
	// Default is what an empty answer stands for, as it would be typed; "" where
	// an empty answer leaves the question open.
	Default string
	// Required says that an empty answer is refused where there is no default.
	Required bool
	// Options are the answers of Choice and Confirm.
	Options []Option
	// Earlier are answers given before, the latest first, to be offered.
	Earlier []string
	// Table draws what is known so far for people, no wider than that many
	// columns; nil where there is nothing to draw.
	Table func(width int) string
	// Board is what has been read so far, for bars; nil where nothing is.
	Board *Board

	// TargetS is how long a Timer or a Rest should run, in s.
	TargetS float64
	// Running says that a Timer has been started.
	Running bool
	// Cylinder is the one whose level is asked for first; 0 for a merged return.
	Cylinder int
}

// Option is one answer that may be chosen.
type Option struct {
	// Value is what Answer takes, short enough to be typed.
	Value string
	// Label is what people read.
	Label string
}

// Board is what has been read so far.
type Board struct {
	// Bars are the cylinders in the order in which they are asked for.
	Bars []Bar
	// LimitMLMin is the maximum of one cylinder; NaN where none applies.
	LimitMLMin float64
	// MedianMLMin is the median of those read so far; NaN below two.
	MedianMLMin float64
}

// Bar is one cylinder of a board.
type Bar struct {
	Cylinder int
	// Label is the level as it was typed; "" before it was read.
	Label string
	// RateMLMin is NaN before it was read.
	RateMLMin float64
	// AtLeast says that the tube ran over: the rate is the least it can be.
	AtLeast bool
	// Verdict is the word people read for it; "" before there is one.
	Verdict string
	// Flagged says that the bar is to stand out.
	Flagged bool
}

// Flow is a series of questions. It is used by one goroutine at a time.
type Flow interface {
	// Question is what is asked now; it does not change until an answer is taken.
	Question() Question
	// Answer takes a line as it was typed. "back" goes back to the question
	// before, "forward" to the first that is open, and "skip" leaves one open. A
	// *Refusal says what was expected instead, and nothing was taken; any other
	// error says why the answer could not be kept.
	Answer(text string) error
	// Elapsed is how long the timer or the rest of this question has run; 0
	// before it was started.
	Elapsed() time.Duration
	// Said are the messages since the last call: what was taken, what to beware of.
	Said() []string
}

// Refusal is an answer that cannot be taken.
type Refusal struct {
	// Value is what was typed.
	Value string
	// Expected is what should have been, perhaps with what to do.
	Expected string
}

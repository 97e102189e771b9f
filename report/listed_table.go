package report

import (
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/clipperhouse/displaywidth"

	"leakback/leakback"
)

// HistoryTable writes a list of tests as people read it in a terminal, in the
// order in which they come, which is newest first: of each its number, its date,
// its verdict, a picture of one sign a cylinder with the flagged ones named, and
// what was tested. Of a test without a result it says how far it is.
func HistoryTable(w io.Writer, tests []Listed, o TableOptions) error {
	t := &listTable{table: blankTable(o)}
	t.measure(tests)
	for i := range tests {
		t.test(&tests[i])
	}
	switch {
	case len(tests) == 0:
		t.prose(" ", "No test.", huePlain)
	case t.picture > 0:
		t.line()
		t.prose(" ", t.key(), hueQuiet)
	}
	_, err := w.Write(t.out.Bytes())
	return err
}

// listTable is a list in the making.
type listTable struct {
	*table
	number  int // columns of the test's number
	picture int // of the picture; 0 where no test has one
	narrow  bool
	day     string
}

// narrowWidth is how wide a terminal is in columns that has room for a picture
// beside the verdict.
const narrowWidth = 64

// wordWidth is the longest word for a verdict.
const wordWidth = len(wordUnreadable)

// measure finds the columns that all tests share. Where the terminal is narrow
// the day has to do without its time.
func (t *listTable) measure(tests []Listed) {
	t.day = dayLayout + " " + minuteLayout
	if t.narrow = t.Width < narrowWidth; t.narrow {
		t.day = dayLayout
	}
	for i := range tests {
		t.number = max(t.number, len(strconv.FormatInt(tests[i].Number, 10)))
		if r := tests[i].Result; r != nil && len(r.Cylinders) <= mostPicture {
			t.picture = max(t.picture, len(r.Cylinders))
		}
	}
}

// mostPicture is how many cylinders a picture may have and still be a column.
const mostPicture = 16

// test writes one test: the line that says how it went, then what it was.
func (t *listTable) test(l *Listed) {
	number := strconv.FormatInt(l.Number, 10)
	lead := " " + strings.Repeat(" ", t.number-len(number)) + number + "  "
	indent := strings.Repeat(" ", len(lead))
	word := l.verdictWord()
	first := []piece{
		{lead, huePlain}, {localTime(l.StartedUS, t.Zone).Format(t.day) + "  ", huePlain},
		{word, l.hue()}, {strings.Repeat(" ", wordWidth-len(word)+2), huePlain},
	}
	t.follow(first, t.outcome(l), indent)
	t.prose(indent, t.subject(l), huePlain)
	if l.Err != "" {
		t.prose(indent, l.Err, hueQuiet)
	}
	for _, work := range l.Work {
		t.prose(indent+"then: ", work, huePlain)
	}
}

// hue is that of a test's verdict.
func (l *Listed) hue() hue {
	if l.Result == nil || l.Err != "" {
		return hueUnread
	}
	return blockHue(l.Result.Verdict)
}

// outcome is the picture and the words beside it. Only whole words are broken
// over lines.
func (t *listTable) outcome(l *Listed) []piece {
	if l.Result == nil || l.Err != "" {
		if l.Err != "" {
			return nil
		}
		return []piece{{"so far: " + t.clean(l.progress()), huePlain}}
	}
	pieces := t.pictureOf(l.Result)
	if len(pieces) > 0 {
		pad := max(0, t.picture-len(l.Result.Cylinders)) + 2
		pieces = append(pieces, piece{strings.Repeat(" ", pad), huePlain})
	}
	for i, f := range flagged(l.Result) {
		if i > 0 {
			pieces = append(pieces, piece{"; ", huePlain})
		}
		pieces = append(pieces, piece{flaggedSaid(f), verdictHue(f.verdict)})
	}
	if whole := wholeSaid(l.Result); whole != "" {
		pieces = append(pieces, piece{t.clean(whole), huePlain})
	}
	return pieces
}

// follow writes what follows behind what comes first, or below it where there is
// no room for both.
func (t *listTable) follow(first, then []piece, indent string) {
	if !t.narrow && widthOf(first)+widthOf(then) <= t.Width {
		t.line(append(first, then...)...)
		return
	}
	t.piecesOrProse(" ", first)
	t.piecesOrProse(indent, append([]piece{{indent, huePlain}}, then...))
}

// piecesOrProse writes pieces on one line, or where that is too narrow as plain
// text wrapped behind a lead.
func (t *listTable) piecesOrProse(lead string, pieces []piece) {
	if paint(slices.Clone(pieces), false) == "" {
		return
	}
	if displaywidth.String(paint(slices.Clone(pieces), false)) <= t.Width {
		t.line(pieces...)
		return
	}
	text := ""
	for _, p := range pieces {
		text += p.text
	}
	t.prose(lead, text, huePlain)
}

// widthOf is how many columns pieces take.
func widthOf(pieces []piece) int {
	sum := 0
	for _, p := range pieces {
		sum += displaywidth.String(p.text)
	}
	return sum
}

// subject is what was tested, as far as it is known.
func (t *listTable) subject(l *Listed) string {
	var parts []string
	for _, text := range []string{l.Vehicle, l.Engine, l.Condition, l.methodSaid(), l.Odometer, l.Customer} {
		if text != "" {
			parts = append(parts, text)
		}
	}
	if l.WorkOrder != "" {
		parts = append(parts, "work order "+l.WorkOrder)
	}
	if l.Corrections > 0 {
		parts = append(parts, counted(l.Corrections, "correction"))
	}
	text := strings.Join(parts, ", ")
	switch {
	case l.Name == "" || l.Name == l.TestID || l.Name == localTime(l.StartedUS, t.Zone).Format(dayLayout+" "+minuteLayout):
		return text
	case text == "":
		return l.Name
	}
	return l.Name + ": " + text
}

// pictureOf is one sign a cylinder, as high as its rate in the test: the
// highest sign is the largest rate or the limit, whichever is more.
func (t *listTable) pictureOf(r *leakback.Result) []piece {
	end, of := pictureScale(r)
	pieces := make([]piece, len(r.Cylinders))
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		pieces[i] = piece{t.level(of(c)/end, c.Bound), barHue(c.Verdict)}
	}
	return pieces
}

// pictureScale is the figure of the highest sign, and which figure of a cylinder
// is drawn: its rate, or its ratio where no interval is known.
func pictureScale(r *leakback.Result) (end float64, of func(*leakback.Cylinder) float64) {
	of = func(c *leakback.Cylinder) float64 { return c.RateMLMin }
	if timeUnknown(r) {
		of = func(c *leakback.Cylinder) float64 { return c.RatioToMedian }
	} else if most, ok := r.Limit.MaxMLMin(); ok {
		end = most
	}
	for i := range r.Cylinders {
		end = math.Max(end, number(of(&r.Cylinders[i])))
	}
	return end, of
}

// level is the sign for a share of the highest.
func (t *listTable) level(share float64, b leakback.Bound) string {
	switch {
	case b == leakback.AtLeast:
		return ">"
	case b == leakback.AtMost:
		return "<"
	case math.IsNaN(share):
		return "?"
	}
	n := len(t.signs.levels)
	return t.signs.levels[max(0, min(int(math.Round(share*float64(n)))-1, n-1))]
}

// key explains the picture.
func (t *listTable) key() string {
	n := len(t.signs.levels)
	return "A sign a cylinder, the first is cylinder 1: from " + t.signs.levels[0] + " to " + t.signs.levels[n-1] +
		", the largest of the test or its limit; > overflowed, < below the first mark, ? not read."
}

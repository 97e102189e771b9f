package report

import (
	"bytes"
	"math"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"github.com/clipperhouse/displaywidth"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

func tableText(t *testing.T, p *Page, o TableOptions) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, Table(&out, p, o))
	return out.String()
}

// hostile is free text as no honest user types it: escape sequences, a change
// of writing direction, wide and combining characters, a word without an end.
const hostile = "\x1b[31mred\x1b[0m\x07 \u202egnirts\u202c \u200b 燃料戻り e\u0301 naïve ≥ 3 \u009b2J\r\n\t👩‍🔧 " +
	"unbrokenunbrokenunbrokenunbrokenunbrokenunbrokenunbrokenunbrokenunbrokenunbrokenunbroken"

// randomPage is a page of anything: figures, bounds and verdicts that need not
// belong together, and now and then hostile text.
func randomPage(random *rand.Rand) *Page {
	samples := make([]sample, 1+random.IntN(16))
	for i := range samples {
		s := sample{
			rate:     math.Exp(random.Float64()*12 - 4),
			bound:    leakback.Bound(random.IntN(3)),
			verdict:  leakback.Verdict(random.IntN(4)),
			expanded: math.Exp(random.Float64()*10 - 5),
		}
		if s.bound != leakback.Exact {
			s.expanded = 0
		}
		if random.IntN(6) == 0 {
			s = unread()
		}
		for range random.IntN(3) {
			s.codes = append(s.codes, leakback.CloseToLimit)
		}
		samples[i] = s
	}
	r := sampleResult(nil, samples...)
	if random.IntN(2) == 0 {
		most, least := math.Exp(random.Float64()*8-2), random.Float64()
		r.Limit = maximum(most)
		r.Limit.MinRateMLMin = &least
	}
	r.MedianMLMin = []float64{math.NaN(), math.Exp(random.Float64() * 6)}[random.IntN(2)]
	r.Findings = []leakback.Finding{{Code: leakback.NoAbsoluteLimit, Text: "a set worn evenly looks healthy, ±2 °C, 60 N·m"}}
	r.Settle = &leakback.Settle{Text: "collect for 95 s"}
	p := samplePage(r)
	if random.IntN(2) == 0 {
		r.Test.ID, r.Sheet.Name, p.Job.Vehicle, p.Advice[0] = hostile, hostile, hostile, hostile
		r.Notes = []string{hostile}
		r.Applied = []leakback.Applied{{What: "healthy_cv", Source: hostile}}
	}
	return p
}

// Whatever the result, the width and the text: no line is wider than asked for,
// no escape sequence without colour, nothing but ASCII without Unicode, and
// colour changes nothing but colour.
func TestTableFits(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	sgr := regexp.MustCompile(`\x1b\[[0-9;]*m`)
	for range 40 {
		p := randomPage(random)
		for width := 1; width <= 140; width += 1 + random.IntN(9) {
			for _, unicode := range []bool{false, true} {
				plain := tableText(t, p, TableOptions{Width: width, Unicode: unicode})
				for _, line := range strings.Split(plain, "\n") {
					require.LessOrEqual(t, displaywidth.String(line), max(width, 20), "%d columns: %q", width, line)
					require.Equal(t, strings.TrimRight(line, " "), line)
				}
				require.NotRegexp(t, `[\x00-\x09\x0b-\x1f\x7f\x{80}-\x{9f}\x{202a}-\x{202e}\x{200b}]`, plain)
				if !unicode {
					require.NotRegexp(t, `[^\n -~]`, plain)
				}
				colored := tableText(t, p, TableOptions{Width: width, Unicode: unicode, Color: true})
				require.Equal(t, plain, sgr.ReplaceAllString(colored, ""))
			}
		}
	}
}

func TestColorIsUsed(t *testing.T) {
	p := samplePage(sampleResult(maximum(40), good(21), bad(58, leakback.Fail, leakback.OverLimit)))
	assert.Contains(t, tableText(t, p, TableOptions{Color: true}), "\x1b[1;31mFAIL\x1b[m")
}

// The columns and their words stay at every width, to the narrowest.
func TestNarrowTableKeepsTheWords(t *testing.T) {
	p := samplePage(sampleResult(maximum(40), good(21), good(22), bad(58, leakback.Fail, leakback.OverLimit),
		bad(39, leakback.Undecided, leakback.CloseToLimit), unread()))
	for width := 20; width <= 100; width++ {
		text := strings.Join(strings.Fields(tableText(t, p, TableOptions{Width: width})), " ")
		for _, want := range []string{"21.0 +/- 1.6", "pass", "FAIL", "undecided", "not read", "58.0 +/- 3.1"} {
			assert.Contains(t, text, want, "%d columns", width)
		}
	}
}

func TestBarGoesBeforeTheColumns(t *testing.T) {
	p := samplePage(sampleResult(maximum(40), good(21), good(22)))
	hasBar := func(width int) bool {
		return strings.Contains(tableText(t, p, TableOptions{Width: width}), "###")
	}
	hasRatio := func(width int) bool {
		return strings.Contains(tableText(t, p, TableOptions{Width: width}), "x median   verdict")
	}
	assert.True(t, hasBar(60))
	assert.False(t, hasBar(50))
	assert.True(t, hasRatio(50))
	assert.False(t, hasRatio(36))
}

// A bar's length over the scale's is its rate over the rate at the scale's
// end, to an eighth of a cell, whatever marks lie on it.
func TestBarsAreToScale(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	for range 500 {
		rates := []sample{good(random.Float64() * 80), good(random.Float64() * 80), good(40)}
		r := sampleResult(maximum(1+random.Float64()*60), rates...)
		sc := newScale(r, 10+random.IntN(50), unicodeSigns)
		for i, s := range rates {
			want := s.rate / sc.endMLMin * float64(sc.cells)
			assert.InDelta(t, want, filled(sc.bar(&r.Cylinders[i]), want), 1.0/16+1e-9)
		}
	}
}

// filled is how many cells a bar covers; a mark on it counts as far as it
// should be covered.
func filled(bar []piece, want float64) float64 {
	sum := 0.0
	for i, p := range bar {
		switch part := strings.Index("▏▎▍▌▋▊▉█", p.text); {
		case p.text == " ":
		case part >= 0:
			sum += float64(part/len("█")+1) / 8
		default:
			sum += math.Min(1, math.Max(0, want-float64(i)))
		}
	}
	return sum
}

func TestOpenEnds(t *testing.T) {
	r := sampleResult(maximum(40),
		sample{rate: 100, bound: leakback.AtLeast, verdict: leakback.Fail}, sample{rate: 1, bound: leakback.AtMost}, good(22))
	text := tableText(t, samplePage(r), TableOptions{})
	over, below := lineWith(t, text, ">= 100.0"), lineWith(t, text, "<= 1.0")
	assert.True(t, strings.HasSuffix(over, "#>"), over)
	assert.Contains(t, over, ">= 4.55")
	assert.Regexp(t, `pass +< +: +\|$`, below)
}

func lineWith(t *testing.T, text, part string) string {
	t.Helper()
	for _, line := range strings.Split(text, "\n") {
		if strings.Contains(line, part) {
			return line
		}
	}
	require.Fail(t, "no line", "%q in\n%s", part, text)
	return ""
}

// Marks stand in the same column in every bar and on the scale.
func TestMarksLineUp(t *testing.T) {
	r := sampleResult(maximum(40), good(21), bad(58, leakback.Fail, leakback.OverLimit), unread())
	sc := newScale(r, 40, asciiSigns)
	for _, row := range [][]piece{sc.axis(), sc.bar(&r.Cylinders[0]), sc.bar(&r.Cylinders[1]), sc.bar(&r.Cylinders[2])} {
		assert.Equal(t, "|", row[int(40/sc.endMLMin*40)].text)
		assert.Equal(t, ":", row[int(22/sc.endMLMin*40)].text)
	}
}

func TestScaleNumbers(t *testing.T) {
	for _, test := range []struct {
		largest float64
		cells   int
		want    string
	}{ // worked by hand: a number k begins in cell k/(1.06 largest) cells
		{60, 40, "0     10     20    30    40    50     60"},
		{60, 10, "0       50"},
		{1, 30, "0.0           0.5"},
		{0.012, 30, "0.000       0.005       0.010"},
		{4000, 30, "0      1000   2000   3000"},
	} {
		r := sampleResult(nil, good(test.largest))
		r.MedianMLMin = math.NaN()
		assert.Equal(t, test.want, newScale(r, test.cells, asciiSigns).numbers())
	}
}

func TestReasonsAreSharedAndSaidOnce(t *testing.T) {
	settle := &leakback.Settle{Text: "record the rail pressure"}
	r := sampleResult(maximum(40), bad(21, leakback.Undecided), bad(22, leakback.Undecided),
		bad(39, leakback.Undecided, leakback.CloseToLimit), good(23), bad(38, leakback.Undecided, leakback.CloseToLimit))
	for i := range r.Cylinders {
		if r.Cylinders[i].Verdict == leakback.Undecided {
			r.Cylinders[i].Settle = settle
		}
	}
	r.Settle = settle
	text := tableText(t, samplePage(r), TableOptions{})
	assert.Contains(t, text, "\n Cylinders 3 and 5: undecided\n   Text of close-to-limit.\n   To settle it: record the rail pressure.\n")
	assert.Equal(t, 1, strings.Count(text, "To settle it"))
	assert.NotContains(t, text, "Cylinders 1 and 2: undecided")
}

func TestWholeTestSaysWhatSettlesIt(t *testing.T) {
	settle := &leakback.Settle{Text: "record the rail pressure"}
	r := sampleResult(maximum(40), bad(21, leakback.Undecided), bad(22, leakback.Undecided))
	r.Cylinders[0].Settle, r.Cylinders[1].Settle, r.Settle = settle, settle, settle
	r.Findings = []leakback.Finding{{Code: leakback.StateUnknown, Text: "the rail pressure was not recorded"}}
	text := tableText(t, samplePage(r), TableOptions{})
	assert.Contains(t, text, "\n The test as a whole: undecided\n   The rail pressure was not recorded.\n"+
		"   To settle it: record the rail pressure.\n")
	assert.NotContains(t, text, "Cylinders 1 and 2: undecided")
}

func TestWrapText(t *testing.T) {
	for _, test := range []struct {
		text  string
		width int
		want  []string
	}{
		{"", 10, nil},
		{"one two three", 7, []string{"one two", "three"}},
		{"is 26.1 ± 1.9 mL/min here", 12, []string{"is", "26.1 ± 1.9", "mL/min here"}},
		{"at 40.0 mL/min", 10, []string{"at 40.0", "mL/min"}},
		{"reads >= 100 mL", 12, []string{"reads", ">= 100 mL"}},
		{"look at cylinder 12 now", 12, []string{"look at", "cylinder 12", "now"}},
		{"unbroken", 3, []string{"unb", "rok", "en"}},
		{"燃料戻り", 5, []string{"燃料", "戻り"}},
	} {
		assert.Equal(t, test.want, wrapText(test.text, test.width), test.text)
	}
}

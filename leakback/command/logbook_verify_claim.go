package command

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"leakback/leakback/logbook"
	"leakback/leakback/ooxml"
)

// claim is what a report says of the test that it was made of.
type claim struct {
	number int64  // 0 where it says none
	id     string // "" where it says none
	head   string // the same
	// entries is its sheet of entries; nil where it is missing.
	entries *ooxml.Sheet
}

// Sheets of a report that are looked at by name.
const (
	reportPage   = "Report"
	readingsPage = "Readings"
	recordPage   = "Record"
)

const idPattern = `[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}`

// recordLine is how a report says what it was made of, and repairLine how the
// report of a repair says it of each test.
var (
	recordLine = regexp.MustCompile(`Logbook: Test ([0-9]{1,18}), id (` + idPattern + `)(?:, SHA-256 of its entries ([0-9a-f]{64}))?`)
	repairLine = regexp.MustCompile(`logbook test ([0-9]{1,18}), id (` + idPattern + `)`)
)

// claim is what the report says; false where it has no record.
func (r *openedReport) claim() (*claim, bool) {
	c := &claim{entries: r.book.Sheet(recordPage)}
	m := r.lines(recordLine)
	if len(m) > 0 {
		c.number, _ = strconv.ParseInt(m[0][1], 10, 64) // digits, and few enough
		c.id, c.head = m[0][2], m[0][3]
	}
	return c, len(m) > 0 || c.entries != nil
}

// repairClaims are what the report of a repair says of its tests, in their order;
// none in another report.
func (r *openedReport) repairClaims() []*claim {
	var claims []*claim
	lines := r.lines(repairLine)
	for side := 1; r.book.Sheet(readingsPage+strconv.Itoa(side)) != nil; side++ {
		entries := r.book.Sheet(recordPage + strconv.Itoa(side))
		if entries == nil {
			claims = append(claims, nil) // from a file
			continue
		}
		c := &claim{entries: entries}
		if len(lines) > 0 {
			c.number, _ = strconv.ParseInt(lines[0][1], 10, 64)
			c.id, lines = lines[0][2], lines[1:]
		}
		claims = append(claims, c)
	}
	return claims
}

// mostLooked is how much text of a page is looked through, in bytes; a stranger's
// may have far more, and one text in every cell.
const mostLooked = 1 << 20

// lines are what a pattern finds on the first page, from the top down.
func (r *openedReport) lines(pattern *regexp.Regexp) [][]string {
	page := r.book.Sheet(reportPage)
	if page == nil {
		return nil
	}
	var found [][]string
	looked := 0
	for _, name := range page.Names() {
		text := page.Cell(name).Value
		if looked += len(text); looked > mostLooked {
			break
		}
		found = append(found, pattern.FindAllStringSubmatch(text, -1)...)
	}
	return found
}

// foot is how a page names the program that wrote it, and footer how the page's
// footers do, cut short at 20 characters.
var (
	foot   = regexp.MustCompile(`(?s)^leakback (\S.{0,80}?)(?:   .*)?$`)
	footer = regexp.MustCompile(`leakback (.{1,20}?), test `)
)

// version is the version of the program that wrote the report. A foot that the
// footers of the sheets do not bear out is not believed.
func (r *openedReport) version() string {
	stated := ""
	for _, name := range []string{readingsPage, readingsPage + "1"} {
		if s := r.book.Sheet(name); s != nil {
			if m := footer.FindStringSubmatch(s.Footer); m != nil {
				stated = m[1]
			}
		}
	}
	page := r.book.Sheet(reportPage)
	if page == nil || stated == "" {
		return version()
	}
	for _, name := range page.Names() {
		m := foot.FindStringSubmatch(page.Cell(name).Value)
		if m != nil && strings.HasPrefix(m[1], strings.TrimSuffix(stated, "…")) && (m[1] == stated || strings.HasSuffix(stated, "…")) {
			return m[1]
		}
	}
	if strings.HasSuffix(stated, "…") {
		return version()
	}
	return stated
}

// foundTest is the test of the logbook that a report is of, as it was then.
type foundTest struct {
	claim *claim
	entry logbook.Entry
	test  loggedTest
	all   int // entries that it has by now
}

// said names the test.
func (t *foundTest) said() string {
	return fmt.Sprintf("test %d (%s, head %.12s…)", t.entry.Number, entries(t.test.entry.Events), t.test.entry.Head)
}

func entries(n int64) string {
	if n == 1 {
		return "1 entry"
	}
	return fmt.Sprintf("%d entries", n)
}

// notes say what is no difference.
func (t *foundTest) notes(said *verdict) {
	switch later := t.all - int(t.test.entry.Events); {
	case later == 1:
		said.note("1 entry was added to test %d since", t.entry.Number)
	case later > 1:
		said.note("%d entries were added to test %d since", later, t.entry.Number)
	}
	if n := t.claim.number; n != 0 && n != t.entry.Number {
		said.note("the report calls it test %d: a number of another logbook, or a changed one", n)
	}
}

// find is the test that a report says it is of, with its entries up to the head
// that the report has. What does not fit is said; nil where no test was found.
func (v *verification) find(ctx context.Context, c *claim, said *verdict) (*foundTest, error) {
	entry, err := v.entryOf(ctx, c, said)
	if err != nil || entry == nil {
		return nil, err
	}
	events, err := v.book.Events(ctx, entry.ID)
	if err != nil {
		return nil, err
	}
	heads, err := logbook.Heads(events)
	if err != nil {
		return nil, err
	}
	upTo := slices.Index(heads, c.head) + 1
	if upTo == 0 {
		if c.head != "" {
			said.differ("SHA-256 of its entries %.12s…: no entry of test %d has it in the logbook", c.head, entry.Number)
		}
		upTo = min(c.rows(), len(events))
	}
	if upTo == 0 {
		upTo = len(events)
	}
	then := *entry
	if c.number != 0 {
		then.Number = c.number
	}
	t := &foundTest{claim: c, entry: *entry, all: len(events)}
	t.test, err = loggedUpTo(then, events, upTo)
	return t, err
}

// entryOf finds the test by its id, else by when its entries were made.
func (v *verification) entryOf(ctx context.Context, c *claim, said *verdict) (*logbook.Entry, error) {
	if c.id != "" {
		entry, err := v.book.Find(ctx, c.id)
		if err == nil {
			return &entry, nil
		}
		var none *logbook.NotFoundError
		if !errors.As(err, &none) {
			return nil, err
		}
		said.differ("test %s: not in the logbook", c.id)
	} else {
		said.differ("sheet %s: expected a line such as \"Logbook: Test 17, id ..., SHA-256 of its entries ...\"", reportPage)
	}
	first, ok := c.firstTime()
	if !ok {
		return nil, nil
	}
	found, err := v.book.Tests(ctx, logbook.Filter{SinceUS: first.UnixMicro(), UntilUS: first.Add(time.Second).UnixMicro(), Most: 2})
	if err != nil || len(found) != 1 {
		return nil, err
	}
	said.note("by the times of its entries it is test %d", found[0].Number)
	return &found[0], nil
}

package logbook

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"iter"
	"slices"
	"strings"
)

// Head is how far a test's chain goes.
type Head struct {
	// TestID is the test, and Number its number in this logbook.
	TestID string
	Number int64
	// Events is how many there are, and Hash that of the last one.
	Events int64
	Hash   string
}

// Heads are the heads of all tests, in the order of their ids. A list of them that
// a second party keeps shows later what was changed or removed since (CheckHeads).
// They are what the list of tests says: Check says whether the events agree.
func (b *Book) Heads(ctx context.Context) iter.Seq2[Head, error] {
	return func(yield func(Head, error) bool) {
		for after := ""; ; {
			var page []listedHead
			err := b.reading(ctx, func(tx *transaction) (err error) {
				page, err = b.listedHeads(ctx, tx, after, testsACopy)
				return err
			})
			if err != nil {
				yield(Head{}, err)
				return
			}
			for _, t := range page {
				if t.head == (head{}) {
					yield(Head{}, b.broken(t.id, unreadableLine))
					return
				}
				if !yield(Head{t.id, t.number, t.events, t.hash}, nil) {
					return
				}
			}
			if len(page) < testsACopy {
				return
			}
			after = page[len(page)-1].id
		}
	}
}

const (
	headsName    = "leakback heads"
	headsVersion = 1
)

// headsHeader is the first line of a list of heads.
type headsHeader struct {
	Format  string `json:"format"`
	Version int    `json:"version"`
}

// headLine is a line of it.
type headLine struct {
	Test   string `json:"test"`
	Number int64  `json:"number"`
	Events int64  `json:"events"`
	Head   string `json:"head"`
}

// WriteHeads writes the list of heads, as the package's documentation says, and
// returns the digest in its last line: it stands for the whole list, and fits on
// paper.
func (b *Book) WriteHeads(ctx context.Context, w io.Writer) (digest string, err error) {
	lines := newLines(w)
	if err := lines.write(headsHeader{headsName, headsVersion}); err != nil {
		return "", err
	}
	end := footer{End: headsName}
	for h, err := range b.Heads(ctx) {
		if err == nil {
			err = lines.write(headLine{h.TestID, h.Number, h.Events, h.Hash})
		}
		if err != nil {
			return "", err
		}
		end.Tests, end.Events = end.Tests+1, end.Events+h.Events
	}
	end.SHA256 = hex.EncodeToString(lines.sum.Sum(nil))
	if err := lines.write(end); err != nil {
		return "", err
	}
	return end.SHA256, lines.out.Flush()
}

// CheckHeads holds a list of heads that somebody kept against the logbook. Each
// test of the list is worked out again from its first event on, as Check does: it
// must be there with all of its events, and go through the head that was kept. What
// came later is no fault. A list that is not whole is an *ImportError.
func (b *Book) CheckHeads(ctx context.Context, r io.Reader) (*Checked, error) {
	list, err := readHeads(r)
	if err != nil {
		return nil, err
	}
	c := &checker{book: b, kept: map[string]head{}, met: map[string]bool{}}
	for _, h := range list {
		c.kept[h.TestID] = head{h.Events, h.Hash}
		c.all += h.Events
	}
	err = b.readingLong(ctx, func(tx *transaction) error {
		c.tx = tx
		for some := range slices.Chunk(list, testsAPage) {
			if err := c.against(ctx, some); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &c.Checked, nil
}

// longestHead is the longest line of a list of heads.
const longestHead = 1000

// readHeads reads a list of heads and trusts none of it.
func readHeads(r io.Reader) ([]Head, error) {
	in := newLineReader(r, "a list of heads", longestHead)
	var header headsHeader
	if err := in.object(&header); err != nil {
		return nil, err
	}
	if err := in.isFormat(header.Format, headsName, header.Version, headsVersion); err != nil {
		return nil, err
	}
	var list []Head
	want := footer{End: headsName}
	for {
		var o struct {
			headLine
			End    string `json:"end"`
			Tests  int64  `json:"tests"`
			SHA256 string `json:"sha256"`
		}
		want.SHA256 = hex.EncodeToString(in.sum.Sum(nil))
		if err := in.object(&o); err != nil {
			return nil, err
		}
		if o.End+o.SHA256 != "" || o.Tests != 0 {
			if o.Number != 0 || (o.Head+o.Test != "") || want != (footer{o.End, o.Tests, o.Events, o.SHA256}) {
				return nil, in.missing(want)
			}
			if err := in.isEnd(); err != nil {
				return nil, err
			}
			return list, nil
		}
		h := Head{o.Test, o.Number, o.Events, o.Head}
		if expected := h.unsound(list); expected != "" {
			return nil, in.fault("%s", expected)
		}
		list, want.Tests, want.Events = append(list, h), want.Tests+1, want.Events+h.Events
	}
}

// unsound says what is expected of a line after those before it.
func (h *Head) unsound(before []Head) string {
	hash, err := hex.DecodeString(h.Hash)
	switch {
	case validID(h.TestID) != nil:
		return "the id of a test"
	case h.Events < 1:
		return "1 event or more"
	case err != nil || len(hash) != sha256.Size || h.Hash != strings.ToLower(h.Hash):
		return "a head of 64 hex digits, in small letters"
	case len(before) > 0 && before[len(before)-1].TestID >= h.TestID:
		return "tests in the order of their ids, each once"
	}
	return ""
}

// against checks tests of a list that was kept.
func (c *checker) against(ctx context.Context, list []Head) error {
	ids := make([]any, len(list))
	for i, h := range list {
		ids[i] = h.TestID
	}
	in := " IN (" + placeholders(len(ids)) + ")"
	page, err := c.listings(ctx, "WHERE id"+in, ids...)
	if err != nil {
		return c.unreadable(Fault{What: "the list of tests cannot be read from id " + list[0].TestID + " on"}, err)
	}
	if err := c.events(ctx, page, "test_id"+in, ids...); err != nil {
		return err
	}
	for _, h := range list {
		if !c.met[h.TestID] {
			c.fault(Fault{TestID: h.TestID, Seq: 1, What: "missing" + upTo(1, h.Events) + ": the list of heads has the test"})
		}
	}
	return nil
}

// atHead holds an event against the head that was kept.
func (c *checker) atHead(r *recomputed, s *stored) {
	if k, ok := c.kept[r.id]; ok && k.events == s.Seq && k.hash != s.Hash {
		c.fault(r.fault(s.Seq, "the list of heads has another one: this event, or one before it, was rewritten with all that follow"))
	}
}

// atEnd holds the end of a test against the head that was kept.
func (c *checker) atEnd(r *recomputed) {
	if k, ok := c.kept[r.id]; ok && r.last < k.events {
		c.fault(r.fault(r.last+1, "missing%s: the list of heads has %d events", upTo(r.last+1, k.events), k.events))
	}
}

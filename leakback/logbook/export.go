package logbook

import (
	"context"
	"encoding/hex"
	"io"

	"leakback/leakback"
)

const (
	exportName    = "leakback logbook"
	exportVersion = 1
)

// exportHeader is the first line of an export.
type exportHeader struct {
	Format  string `json:"format"`
	Version int    `json:"version"`
	Tests   int64  `json:"tests"`
	Events  int64  `json:"events"`
}

// exportEvent is a line of an export.
type exportEvent struct {
	Test      string `json:"test"`
	Seq       int64  `json:"seq"`
	AtUS      int64  `json:"at_us"`
	ElapsedMS int64  `json:"elapsed_ms"`
	Person    string `json:"person"`
	Kind      string `json:"kind"`
	Run       int    `json:"run"`
	Cylinder  int    `json:"cylinder"`
	Line      string `json:"line"`
	Field     string `json:"field"`
	Value     string `json:"value"`
	Typed     string `json:"typed"`
	Reason    string `json:"reason"`
	Hash      string `json:"hash"`
}

// footer is the last line of an export, and of a list of heads.
type footer struct {
	End    string `json:"end"`
	Tests  int64  `json:"tests"`
	Events int64  `json:"events"`
	SHA256 string `json:"sha256"`
}

func exported(s *stored) exportEvent {
	return exportEvent{s.TestID, s.Seq, s.AtUS, s.ElapsedMS, s.Person, string(s.Kind), s.Run, s.Cylinder,
		s.Line, s.Field, s.Value, s.Typed, s.Reason, s.Hash}
}

func (e *exportEvent) stored() stored {
	return stored{leakback.Event{TestID: e.Test, Seq: e.Seq, AtUS: e.AtUS, ElapsedMS: e.ElapsedMS, Person: e.Person,
		Key:   leakback.Key{Kind: leakback.Kind(e.Kind), Run: e.Run, Cylinder: e.Cylinder, Line: e.Line, Field: e.Field},
		Value: e.Value, Typed: e.Typed, Reason: e.Reason}, e.Hash}
}

// Export writes every event as a line of JSON, as the package's documentation
// says. It writes what is there: Import, and Check, say whether it is sound.
func (b *Book) Export(ctx context.Context, w io.Writer) error {
	lines := newLines(w)
	err := b.readingLong(ctx, func(tx *transaction) error {
		header := exportHeader{Format: exportName, Version: exportVersion}
		err := tx.QueryRowContext(ctx, "SELECT COUNT(DISTINCT test_id), COUNT(*) FROM events").Scan(&header.Tests, &header.Events)
		if err != nil {
			return err
		}
		if err := lines.write(header); err != nil {
			return err
		}
		if err := lines.events(ctx, tx); err != nil {
			return err
		}
		return lines.write(footer{exportName, header.Tests, header.Events, hex.EncodeToString(lines.sum.Sum(nil))})
	})
	if err != nil {
		return err
	}
	return lines.out.Flush()
}

func (l *lines) events(ctx context.Context, tx *transaction) error {
	rows, err := tx.query(ctx, "SELECT "+eventColumns+" FROM events ORDER BY test_id, seq")
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var s stored
		if err := scan(rows, s.targets()...); err != nil {
			return err
		}
		if err := l.write(exported(&s)); err != nil {
			return err
		}
	}
	return rows.Err()
}

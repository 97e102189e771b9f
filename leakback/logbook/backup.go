package logbook

import (
	"context"
	"errors"
	"fmt"
	"os"
)

// Backup writes a copy of the logbook, as it is at this moment, to a file that
// does not exist yet, while others go on writing; then it opens the copy and counts
// its events. The copy is on the disk when Backup returns; after an error there is
// none.
func (b *Book) Backup(ctx context.Context, path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return unreachable(path, err)
	}
	f.Close()
	if err = b.copyTo(ctx, path); err != nil {
		os.Remove(path)
	}
	return err
}

func (b *Book) copyTo(ctx context.Context, path string) error {
	before, err := b.count(ctx)
	if err != nil {
		return err
	}
	if err := b.dialect.backup(ctx, b, path); err != nil {
		return b.explainCopy(path, err)
	}
	if err := syncFile(path); err != nil {
		return diskError(path, err)
	}
	after, err := b.count(ctx)
	if err != nil {
		return err
	}
	there, err := Open(ctx, path, Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer there.Close()
	copied, err := there.count(ctx)
	if err == nil && (copied < before || copied > after) {
		err = damaged(path, fmt.Sprintf("the copy holds %d events, and the logbook %d", copied, after), nil)
	}
	return err
}

// explainCopy says whether the logbook or the copy is in the way.
func (b *Book) explainCopy(path string, err error) error {
	var e *Error
	if err = b.explain(err); errors.As(err, &e) && e.Kind != Damaged && e.Kind != Busy {
		about := *e
		about.Path = path
		return &about
	}
	return err
}

// count is how many events there are. Events are never removed, so what is copied
// between two counts lies between them.
func (b *Book) count(ctx context.Context) (int64, error) {
	var n int64
	err := b.readingLong(ctx, func(tx *transaction) error {
		return tx.QueryRowContext(ctx, "SELECT COUNT(*) FROM events").Scan(&n)
	})
	return n, err
}

package logbook

import (
	"context"
	"database/sql"
	"errors"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/adrg/xdg"
	"github.com/google/uuid"
)

// Options say how a logbook is opened.
type Options struct {
	// ReadOnly leaves the logbook's bytes alone, and takes one that cannot be
	// written. It implies MustExist.
	ReadOnly bool
	// MustExist refuses to begin a new logbook.
	MustExist bool
	// Wait is how long others may hold the logbook; 0 stands for DefaultWait.
	Wait time.Duration
}

// DefaultWait is long beside the milliseconds that an entry takes.
const DefaultWait = 10 * time.Second

// Book is an open logbook. Its methods may be used from several goroutines, and
// several programs may have one logbook open.
type Book struct {
	db       *sql.DB
	dialect  *dialect
	address  string
	readOnly bool

	writing  sync.Mutex           // one writer at a time: the others would only wait in the database
	prepared map[string]*sql.Stmt // what writers run, guarded by writing
}

// DefaultPath is the logbook in the user's data folder.
func DefaultPath() string { return filepath.Join(xdg.DataHome, "leakback", "logbook.db") }

// NewTestID is a new UUIDv7: ids sort by the time they were made at.
func NewTestID() string { return uuid.Must(uuid.NewV7()).String() }

// Open opens the logbook at a path, and begins one where there is none and the
// options allow it. A damaged logbook, or what is left of one, is never replaced:
// the error is an *Error.
func Open(ctx context.Context, address string, o Options) (*Book, error) {
	if o.Wait <= 0 {
		o.Wait = DefaultWait
	}
	if scheme, _, ok := strings.Cut(address, "://"); ok {
		return nil, &Error{Kind: Unreachable, Path: scheme + "://…", Detail: "expected the path of a file",
			hint: "give the logbook as a path"}
	}
	return openSQLite(ctx, address, o)
}

// Close lets go of the logbook. What Append reported is safe without it.
func (b *Book) Close() error { return b.explain(b.db.Close()) }

// explain turns an error of the database into one that says what to do.
func (b *Book) explain(err error) error {
	if err == nil || explained(err) {
		return err
	}
	if errors.As(err, new(contentError)) {
		return damaged(b.address, "damaged: "+err.Error(), err)
	}
	return b.dialect.explain(b.address, err)
}

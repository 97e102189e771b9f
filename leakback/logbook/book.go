package logbook

import (
	"context"
	"database/sql"
	"errors"
	"path/filepath"
	"regexp"
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
	// Wait is how long others may hold the logbook, or its server be away in the
	// middle of the work; 0 stands for DefaultWait.
	Wait time.Duration
}

// DefaultWait is long beside the milliseconds that an entry takes.
const DefaultWait = 10 * time.Second

// Book is an open logbook. Its methods may be used from several goroutines, and
// several programs may have one logbook open.
type Book struct {
	db       *sql.DB
	dialect  *dialect
	address  string // for people
	readOnly bool
	wait     time.Duration
	notice   string

	files identity // of a SQLite logbook that is open for writing

	writing  sync.Mutex           // one writer at a time: the others would only wait in the database
	prepared map[string]*sql.Stmt // what writers run, guarded by writing
}

// DefaultPath is the logbook in the user's data folder.
func DefaultPath() string { return filepath.Join(xdg.DataHome, "leakback", "logbook.db") }

// NewTestID is a new UUIDv7: ids sort by the time they were made at.
func NewTestID() string { return uuid.Must(uuid.NewV7()).String() }

// Open opens the logbook at an address, the path of a file or the URL of a database
// of a PostgreSQL server, and begins one where there is none and the options allow
// it. A damaged logbook, or what is left of one, is never replaced: the error is an
// *Error. A server that is away is one of kind Unreachable, within seconds.
func Open(ctx context.Context, address string, o Options) (*Book, error) {
	if o.Wait <= 0 {
		o.Wait = DefaultWait
	}
	switch scheme, _, ok := strings.Cut(address, "://"); {
	case !ok && meantForServer.MatchString(address):
		return nil, unreadable("it does not begin with postgres://")
	case !ok:
		return openSQLite(ctx, address, o)
	case scheme == "postgres" || scheme == "postgresql":
		return openPostgres(ctx, address, o)
	default:
		return nil, &Error{Kind: Unreachable, Path: scheme + "://…", Detail: "expected the path of a file, or postgres://…",
			hint: "give the logbook as a path, or as the URL of a PostgreSQL database"}
	}
}

// meantForServer finds what is neither the path of a file nor a URL, but was to
// be a server's address: it may hold a password.
var meantForServer = regexp.MustCompile(`(?i)^postgres(ql)?:|(^|\s)password\s*=`)

// Address is where the logbook is, for people: a path, or a URL without user and
// password.
func (b *Book) Address() string { return b.address }

// Notice is one line about what was found wrong with the logbook when it was opened,
// though it can be used; "" where nothing was.
func (b *Book) Notice() string { return b.notice }

// Shown is an address as it may be shown to people, without user and password.
func Shown(address string) string {
	scheme, _, ok := strings.Cut(address, "://")
	switch {
	case !ok && meantForServer.MatchString(address):
		return unreadAddress
	case !ok:
		return address
	}
	if s, err := parsePostgres(address); err == nil {
		return s.shown
	}
	return scheme + "://…"
}

// Close lets go of the logbook. What Append reported is safe without it.
func (b *Book) Close() error { return b.explain(b.db.Close()) }

// explain turns an error of the database into one that says what to do.
func (b *Book) explain(err error) error {
	if err == nil || explained(err) {
		return err
	}
	if errors.As(err, new(contentError)) {
		return b.damaged(err.Error(), err)
	}
	return b.dialect.explain(b.address, err)
}

package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/pressly/goose/v3"
	_ "modernc.org/sqlite" // the driver
)

// applicationID marks a SQLite file as a logbook ("lkbk" in its header).
const applicationID = 0x6c6b626b

// sqliteHeader is the length of the header that each SQLite file begins with
// (https://www.sqlite.org/fileformat2.html#the_database_header).
const sqliteHeader = 100

var sqliteDialect = &dialect{
	goose: goose.DialectSQLite3,
	own: []string{
		`CREATE TRIGGER events_are_not_changed BEFORE UPDATE ON events
		 BEGIN SELECT RAISE(ABORT, 'events are never changed'); END`,
		`CREATE TRIGGER events_are_not_removed BEFORE DELETE ON events
		 BEGIN SELECT RAISE(ABORT, 'events are never removed'); END`,
	},
	read:      &sql.TxOptions{ReadOnly: true}, // otherwise it would take the lock of a writer
	integrity: sqliteIntegrity,
	backup:    sqliteBackup,
	explain:   explainSQLite,
}

// access is how a connection uses the file.
type access int

const (
	toWrite access = iota
	toRead         // beside writers; needs a folder that may be written, or SQLite's files there
	atRest         // nobody writes, and there is no write-ahead log
	toMake         // a new file that nobody else knows, made durable as a whole afterwards
)

// dsn names a file to the driver. The driver knows _pragma and _txlock and drops
// what it does not know; mode and immutable are SQLite's own. Nowhere may SQLite
// create the file.
func dsn(path string, a access, wait time.Duration) string {
	abs, err := filepath.Abs(path)
	if err != nil {
		abs = path
	}
	abs = filepath.ToSlash(abs)
	if !strings.HasPrefix(abs, "/") {
		abs = "/" + abs // a drive letter
	}
	options := []string{
		fmt.Sprintf("_pragma=busy_timeout(%d)", wait.Milliseconds()),
		"_pragma=foreign_keys(1)", "_pragma=trusted_schema(0)", "_pragma=cell_size_check(1)",
		"_txlock=immediate", "_dqs=0", "_defensive=1", "_error_rc=1",
	}
	switch a {
	case toWrite:
		options = append(options, "mode=rw", "_pragma=journal_mode(WAL)", "_pragma=synchronous(FULL)")
	case toRead:
		options = append(options, "mode=ro")
	case atRest:
		options = append(options, "mode=ro", "immutable=1")
	case toMake:
		options = append(options, "mode=rw", "_pragma=journal_mode(DELETE)", "_pragma=synchronous(OFF)")
	}
	return (&url.URL{Scheme: "file", Path: abs}).String() + "?" + strings.Join(options, "&")
}

// openSQLite opens a file, or makes one where there is none.
func openSQLite(ctx context.Context, path string, o Options) (*Book, error) {
	there, err := inspect(path)
	if err != nil {
		return nil, err
	}
	if !there {
		if o.MustExist || o.ReadOnly {
			return nil, &Error{Kind: Missing, Path: path, Detail: "there is no logbook here", err: fs.ErrNotExist,
				hint: "look at the path; a logbook begins with the first test that is recorded"}
		}
		if err := create(ctx, path); err != nil {
			return nil, err
		}
	}
	var said string
	if tornLog(path) {
		if said, err = notice(path, o.ReadOnly); err != nil {
			return nil, err
		}
	}
	db, err := readable(ctx, path, o)
	if err != nil {
		return nil, err
	}
	b := &Book{notice: said, db: db, dialect: sqliteDialect, address: path, readOnly: o.ReadOnly, wait: o.Wait}
	if !o.ReadOnly {
		db.Close()
		if b.db, err = writable(ctx, path, o.Wait); err != nil {
			return nil, err
		}
		b.files = identify(path)
	}
	return b, nil
}

// inspect looks at a file without SQLite, which would take an empty file for a
// new database and throw a lonely write-ahead log away. False: there is nothing.
// It does not open the file: to close it again would drop the locks that this
// process has on it (https://www.sqlite.org/howtocorrupt.html, 2.2).
func inspect(path string) (bool, error) {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return false, inspectLog(path)
	case err != nil:
		return false, unreachable(path, err)
	case info.IsDir():
		return false, &Error{Kind: Unreachable, Path: path, Detail: "expected a file, and this is a folder",
			hint: "give the path of the file in it, logbook.db for instance"}
	case info.Size() == 0:
		return false, damaged(path, "the file is empty", nil)
	case info.Size() < sqliteHeader:
		return false, damaged(path, fmt.Sprintf("the file was cut off after %d bytes", info.Size()), nil)
	}
	return true, nil
}

// inspectLog refuses a write-ahead log whose main file is gone: it may hold tests.
func inspectLog(path string) error {
	if !logWithContent(path) {
		return nil
	}
	name := filepath.Base(path)
	return &Error{Kind: Damaged, Path: path, Detail: "the file is missing, and " + name + "-wal, which belongs to it, is there",
		hint: name + "-wal may hold tests: keep it, and put " + name + " back beside it or take both from a backup; nothing was changed"}
}

// logWithContent says whether there is a write-ahead log that holds something.
func logWithContent(path string) bool {
	info, err := os.Stat(path + "-wal")
	return err == nil && info.Size() > 0
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// readable opens a file for reading and refuses what this program cannot read.
func readable(ctx context.Context, path string, o Options) (*sql.DB, error) {
	db, v, err := tryReadable(ctx, path, toRead, o.Wait)
	switch {
	case err == nil || !folderRefused(err) && !noRoomBeside(err):
	case logWithContent(path):
		return nil, unreadableLog(path, err)
	// SQLite makes its -shm where nobody else has the logbook open.
	case noRoomBeside(err) || !exists(path+"-shm") || !exists(path+"-wal"):
		db, v, err = tryReadable(ctx, path, atRest, o.Wait)
	}
	if err != nil {
		return nil, explainSQLite(path, err)
	}
	if err := fitting(path, v, o.ReadOnly); err != nil {
		db.Close()
		return nil, err
	}
	return db, nil
}

// fitting refuses a version of the tables that cannot be used.
func fitting(path string, v int64, readOnly bool) error {
	switch {
	case v > newestVersion:
		return &Error{Kind: Newer, Path: path, Detail: fmt.Sprintf("written by a newer version of the program (tables %d, known up to %d)", v, newestVersion),
			hint: "use that version; nothing was changed, and what is in the logbook is safe"}
	case v < 1:
		return damaged(path, "damaged: the tables are missing", nil)
	case v < newestVersion && readOnly:
		return &Error{Kind: Older, Path: path, Detail: fmt.Sprintf("written by an older version of the program (tables %d, expected %d)", v, newestVersion),
			hint: "record a test, or open it for writing otherwise: that brings it up to date"}
	}
	return nil
}

func tryReadable(ctx context.Context, path string, a access, wait time.Duration) (*sql.DB, int64, error) {
	db, err := sql.Open("sqlite", dsn(path, a, wait))
	if err != nil {
		return nil, 0, err
	}
	limit(db)
	v, err := ours(ctx, path, db)
	if err != nil {
		db.Close()
		return nil, 0, err
	}
	return db, v, nil
}

// ours is the version of a logbook's tables; another database is refused.
func ours(ctx context.Context, path string, db *sql.DB) (int64, error) {
	var id int32
	if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&id); err != nil {
		return 0, err
	}
	if id != applicationID {
		return 0, &Error{Kind: Damaged, Path: path, Detail: fmt.Sprintf("the file is a database and no logbook: its application id is %#x", uint32(id)),
			hint: "give the path of a logbook; nothing was changed"}
	}
	return version(ctx, db)
}

// folderRefused says whether SQLite could not make its own files beside the
// logbook. Where it has none there nobody is writing, and the file may be read as
// it lies there.
func folderRefused(err error) bool {
	code := resultCode(err) & 0xff
	return code == resultReadOnly || code == resultCantOpen
}

// writable opens a file that was found readable, and brings it up to date.
func writable(ctx context.Context, path string, wait time.Duration) (*sql.DB, error) {
	db, err := sql.Open("sqlite", dsn(path, toWrite, wait))
	if err != nil {
		return nil, explainSQLite(path, err)
	}
	limit(db)
	if err = upToDate(ctx, db, wait); err == nil {
		// SQLite opens a file that it may not write without a word, for reading; this
		// changes nothing, and needs to be able to.
		_, err = db.ExecContext(ctx, "UPDATE tests SET number = number WHERE id = ''")
	}
	if err != nil {
		db.Close()
		return nil, unwritable(path, err)
	}
	return db, nil
}

// unwritable explains why a file that can be read cannot be written.
func unwritable(path string, err error) error {
	var e *Error
	if err = explainSQLite(path, err); errors.As(err, &e) && e.Kind == Unreachable {
		e.Kind = ReadOnly
	}
	return err
}

// upToDate migrates where something is pending. Another program may be doing the
// same: then this one waits for it.
func upToDate(ctx context.Context, db *sql.DB, wait time.Duration) error {
	for deadline := time.Now().Add(wait); ; {
		v, err := version(ctx, db)
		if err != nil || v >= newestVersion {
			return err
		}
		if err = migrate(ctx, db, sqliteDialect); err != nil && time.Now().After(deadline) {
			return err
		}
	}
}

// limit keeps few connections: one writes, others read beside it.
func limit(db *sql.DB) {
	db.SetMaxOpenConns(4)
	db.SetMaxIdleConns(4)
}

// create makes a logbook beside the path, whole and on the disk, and only then
// gives it its name: nobody ever sees half of one, and one that is there is never
// replaced.
func create(ctx context.Context, path string) error {
	folder := filepath.Dir(path)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return unreachable(path, err)
	}
	f, err := os.CreateTemp(folder, "."+filepath.Base(path)+".new-*") // mode 0600
	if err != nil {
		return unreachable(path, err)
	}
	f.Close()
	defer os.Remove(f.Name() + "-journal") // where SQLite could not
	defer os.Remove(f.Name())
	if err := build(ctx, f.Name()); err != nil {
		return explainSQLite(path, err)
	}
	if err := syncFile(f.Name()); err != nil {
		return diskError(path, err)
	}
	if err := claim(f.Name(), path); err != nil && !errors.Is(err, fs.ErrExist) {
		return unreachable(path, err)
	}
	syncFolder(folder)
	return nil
}

// build fills an empty file.
func build(ctx context.Context, path string) error {
	db, err := sql.Open("sqlite", dsn(path, toMake, DefaultWait))
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(1)
	if _, err = db.ExecContext(ctx, fmt.Sprintf("PRAGMA application_id = %d", applicationID)); err == nil {
		err = migrate(ctx, db, sqliteDialect)
	}
	if err == nil {
		_, err = db.ExecContext(ctx, "PRAGMA journal_mode = WAL")
	}
	return errors.Join(err, db.Close())
}

// claim gives a file a name that nobody has. Where the file system knows no links
// (memory sticks) the bytes are copied to a file that is made for it.
func claim(from, to string) error {
	err := os.Link(from, to)
	if err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	made, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(made)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		os.Remove(to)
	}
	return err
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// syncFolder makes a new name durable, where the system can do that.
func syncFolder(path string) {
	if f, err := os.Open(path); err == nil {
		f.Sync() // not every system takes it for a folder
		f.Close()
	}
}

// sqliteIntegrity is SQLite's own examination of the whole file.
func sqliteIntegrity(ctx context.Context, q querier) ([]string, error) {
	rows, err := q.QueryContext(ctx, "PRAGMA integrity_check")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var faults []string
	for rows.Next() {
		var fault string
		if err := rows.Scan(&fault); err != nil {
			return faults, err
		}
		if fault != "ok" {
			faults = append(faults, fault)
		}
	}
	return faults, rows.Err()
}

func sqliteBackup(ctx context.Context, b *Book, path string) error {
	_, err := b.db.ExecContext(ctx, "VACUUM INTO ?", path)
	return err
}

package logbook

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// identity is which files an open logbook is. Where the system lets a file be moved
// or removed that is open, what is written goes on into it, and nobody finds it
// again under the logbook's name.
type identity struct{ file, log os.FileInfo }

// identify looks at the files of a logbook that was opened for writing. What cannot
// be looked at is not missed later.
func identify(path string) (i identity) {
	i.file, _ = os.Stat(path)
	i.log, _ = os.Stat(path + "-wal")
	return i
}

// stay is an error where another file, or none, has the logbook's name now. Where
// that cannot be looked up it stays: what was entered is in the open file.
func (i identity) stay(path string) error {
	is, err := os.Stat(path)
	if i.file == nil || err == nil && os.SameFile(i.file, is) || err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return &Error{Kind: Moved, Path: path, Detail: "the file was moved, removed or replaced while it was open; what was entered last is not in what lies there now",
		hint: "put the file back where it was moved; where it is gone, enter again what is missing"}
}

func same(was os.FileInfo, path string) bool {
	is, err := os.Stat(path)
	return was != nil && err == nil && os.SameFile(was, is)
}

// Reopen opens a logbook again whose file was moved, removed or replaced while it
// was open (Moved). What has its name now is left as it is and used; where nothing
// has, all that the logbook holds is put there again, as far as it can be read. The
// write-ahead log of the file that is gone may lie there still, and another file
// must not be taken for its: then the logbook goes on under a name beside it.
func (b *Book) Reopen(ctx context.Context) (*Book, error) {
	path := b.address
	if same(b.files.log, path+"-wal") || !exists(path) && logWithContent(path) {
		path = beside(path)
	}
	err := b.putBack(ctx, path)
	b.Close() // SQLite leaves alone what is not its file any more
	if err != nil {
		return nil, err
	}
	return openSQLite(ctx, path, Options{Wait: b.wait})
}

// putBack writes what the logbook holds to where nothing is.
func (b *Book) putBack(ctx context.Context, path string) error {
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		return nil // opening it says what that is
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return unreachable(path, err)
	}
	temporary := filepath.Join(filepath.Dir(path), fmt.Sprintf(".%s.new-%d", filepath.Base(path), os.Getpid()))
	if err := b.Backup(ctx, temporary); err != nil {
		return nil // a new one is begun
	}
	defer os.Remove(temporary)
	if err := claim(temporary, path); err != nil && !errors.Is(err, fs.ErrExist) {
		return unreachable(path, err)
	}
	syncFolder(filepath.Dir(path))
	return nil
}

// beside is the first name beside a logbook's that nothing has.
func beside(path string) string {
	end := filepath.Ext(path)
	for n := 2; ; n++ {
		other := fmt.Sprintf("%s-%d%s", strings.TrimSuffix(path, end), n, end)
		if !exists(other) && !exists(other+"-wal") {
			return other
		}
	}
}

package command

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"leakback/leakback/logbook"
	"leakback/leakback/refused"
	"leakback/limits/quantity"
)

// replaceable says, before any work is done, whether a file may be written
// there; what happens in between is caught when it is written. A logbook is never
// replaced, whatever it is called and whichever link leads to it.
func replaceable(path string, overwrite bool) error {
	if err := free(path, overwrite); err != nil {
		return err
	}
	if isDatabase(path) {
		return leftAlone(path, "is a logbook, or another database,")
	}
	return nil
}

// free says whether a file may be written there, a logbook's copy among them.
//
// A link is followed, so that it goes on pointing to the file that is replaced. One
// that leads nowhere is not taken for a name that is free: where its folder is on a
// drive that is away, the report would stay here and never be where it is looked
// for.
func free(path string, overwrite bool) error {
	if err := portableName(path); err != nil {
		return err
	}
	switch info, err := os.Stat(path); {
	case errors.Is(err, fs.ErrNotExist):
		if target, err := os.Readlink(path); err == nil {
			return leftAlone(path, "is a link to "+quantity.Name(target)+", which is not there,")
		}
		return nil
	case err != nil:
		return unwritten(path, err)
	case info.IsDir():
		return &fileError{fmt.Errorf("%s: is a folder; expected the name of a file to write", quantity.Name(path))}
	case !info.Mode().IsRegular():
		return leftAlone(path, "is not an ordinary file")
	case !overwrite:
		return alreadyThere(path)
	}
	return nil
}

func leftAlone(path, what string) error {
	return &fileError{fmt.Errorf("%s: %s and is left alone", quantity.Name(path), what)}
}

func unwritten(path string, err error) error {
	return &fileError{fmt.Errorf("%s: cannot be written: %w", quantity.Name(path), reason(err))}
}

func unread(path string, err error) error {
	return &fileError{fmt.Errorf("%s: cannot be read: %w", quantity.Name(path), reason(err))}
}

// databaseHead is how every SQLite file begins
// (https://www.sqlite.org/fileformat.html, 1.3).
const databaseHead = "SQLite format 3\x00"

func isDatabase(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	head := make([]byte, len(databaseHead))
	_, err = io.ReadFull(f, head)
	return err == nil && string(head) == databaseHead
}

// followed is the file that a path leads to; the path itself where there is none.
func followed(path string) string {
	if target, err := filepath.EvalSymlinks(path); err == nil {
		return target
	}
	return path
}

// writable says, before long work is done, whether a file can be made there.
func writable(path string) error {
	probe, err := os.CreateTemp(filepath.Dir(path), ".leakback-*.tmp")
	if err != nil {
		return unwritten(path, err)
	}
	probe.Close()
	if err := os.Remove(probe.Name()); err != nil {
		return unwritten(path, err)
	}
	return nil
}

func alreadyThere(path string) error {
	return &fileError{&hintedError{
		fmt.Errorf("%s: already exists and is left as it is", quantity.Name(path)),
		"choose another name, or replace it with --overwrite",
	}}
}

// writeFile writes a file as a whole or not at all: into a temporary file in
// the same folder, synced, then renamed. Without overwrite a file that is
// there, even one that appeared meanwhile, stays. Whatever fails, an earlier
// file is intact and no half file is left.
func writeFile(path string, overwrite bool, write func(io.Writer) error) (err error) {
	if err := replaceable(path, overwrite); err != nil {
		return err
	}
	place := followed(path)
	temporary, err := os.CreateTemp(filepath.Dir(place), ".leakback-*.tmp")
	if err != nil {
		return unwritten(path, err)
	}
	defer func() {
		if err != nil {
			temporary.Close()
			os.Remove(temporary.Name())
		}
	}()
	if err := fill(temporary, write); err != nil {
		return fmt.Errorf("%s: not written: %w", quantity.Name(path), err)
	}
	return publish(temporary.Name(), path, place, overwrite)
}

// writeCopy is writeFile of a logbook's copy: what writes it needs the name of a
// file that is not there yet. An earlier copy may be replaced, and a logbook with
// entries that stand beside its file may not: SQLite would take them for the copy's.
func writeCopy(path string, overwrite bool, write func(temporary string) error) (err error) {
	if err := free(path, overwrite); err != nil {
		return err
	}
	place := followed(path)
	if info, err := os.Stat(place + "-wal"); err == nil && info.Size() > 0 {
		return leftAlone(path, "is a logbook in use, with entries in "+quantity.Name(filepath.Base(place)+"-wal")+",")
	}
	folder, err := os.MkdirTemp(filepath.Dir(place), ".leakback-*.tmp")
	if err != nil {
		return unwritten(path, err)
	}
	defer os.RemoveAll(folder)
	temporary := filepath.Join(folder, "copy.db")
	if err := write(temporary); err != nil {
		return ofCopy(err, temporary, path)
	}
	if err := syncFile(temporary); err != nil {
		return &fileError{fmt.Errorf("%s: not written: %w", quantity.Name(path), reason(err))}
	}
	return publish(temporary, path, place, overwrite)
}

// ofCopy is an error of the temporary copy as one of the file that was asked for.
func ofCopy(err error, temporary, path string) error {
	var kept *logbook.Error
	if errors.As(err, &kept) && kept.Path == temporary {
		return kept.At(path)
	}
	return fmt.Errorf("%s: not written: %w", quantity.Name(path), err)
}

// syncFile makes what was written to a file last through a power cut.
func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}

// fill writes, syncs and closes the temporary file.
func fill(f *os.File, write func(io.Writer) error) error {
	buffered := bufio.NewWriterSize(unnamed{f}, 1<<16)
	if err := write(buffered); err != nil {
		return err
	}
	for _, step := range []func() error{
		buffered.Flush, func() error { return f.Chmod(0o644) }, f.Sync, f.Close,
	} {
		if err := step(); err != nil {
			return &fileError{reason(err)}
		}
	}
	return nil
}

// unnamed is a temporary file whose errors do not tell its name.
type unnamed struct{ io.Writer }

// Write writes to the file.
func (u unnamed) Write(p []byte) (int, error) {
	n, err := u.Writer.Write(p)
	if err != nil {
		err = &fileError{reason(err)}
	}
	return n, err
}

// publish puts the finished file in its place, the one that the path leads to. A
// link that fails where the name is taken is the only step that cannot replace
// another's file; where the file system has no links, a look beforehand must do.
func publish(temporary, path, place string, overwrite bool) error {
	if !overwrite {
		switch err := os.Link(temporary, place); {
		case err == nil:
			os.Remove(temporary)
			syncFolder(filepath.Dir(place))
			return nil
		case errors.Is(err, fs.ErrExist):
			return alreadyThere(path)
		}
		if err := free(path, false); err != nil {
			return err
		}
	}
	if err := os.Rename(temporary, place); err != nil {
		return notReplaced(path, err)
	}
	syncFolder(filepath.Dir(place))
	return nil
}

// notReplaced says why a file could not be given its name. Windows leaves a file
// alone that another program has open, or that is marked read-only.
func notReplaced(path string, err error) error {
	failed := unwritten(path, err)
	info, missing := os.Stat(path)
	switch {
	case missing != nil || !refused.InUse(err):
		return failed
	case info.Mode().Perm()&0o200 == 0:
		return &hintedError{failed, "it is marked read-only: take the mark off, or choose another name"}
	}
	return &hintedError{failed, "close it where it is open, in a spreadsheet program for instance, or choose another name"}
}

// portableName refuses what Windows takes for a device or for another file: a
// report written to NUL.xlsx would be gone without a word.
func portableName(path string) error {
	if runtime.GOOS != "windows" {
		return nil
	}
	for part := range strings.FieldsFuncSeq(path[len(filepath.VolumeName(path)):], func(r rune) bool { return r == '\\' || r == '/' }) {
		switch {
		case part == "." || part == "..":
		case !filepath.IsLocal(part):
			return fmt.Errorf("%s: %s is no file's name on Windows: expected another name, without a colon", quantity.Name(path), quantity.Quote(part))
		case strings.TrimRight(part, ". ") != part:
			return fmt.Errorf("%s: %s: expected a name that ends in neither a dot nor a space, which Windows leaves out", quantity.Name(path), quantity.Quote(part))
		}
	}
	return nil
}

// syncFolder makes the new name last through a power cut, where folders can
// be synced at all.
func syncFolder(folder string) {
	if d, err := os.Open(folder); err == nil {
		d.Sync()
		d.Close()
	}
}

// makeFolder makes a folder where there is none, and those above it, and gives what
// it made, the innermost first.
func makeFolder(path string) (made []string, err error) {
	for at := filepath.Clean(path); ; at = filepath.Dir(at) {
		if _, err := os.Stat(at); !errors.Is(err, fs.ErrNotExist) || at == filepath.Dir(at) {
			break
		}
		made = append(made, at)
	}
	if err := os.MkdirAll(path, 0o755); err != nil {
		removeFolders(made)
		return nil, &fileError{fmt.Errorf("%s: cannot be made: %w", quantity.Name(path), reason(err))}
	}
	return made, nil
}

// removeFolders removes folders again that nothing came into.
func removeFolders(made []string) {
	for _, folder := range made {
		os.Remove(folder) // one that holds something stays
	}
}

// reason is the cause in plain words, without the temporary file's name, which
// tells nobody anything.
func reason(err error) error { return refused.Plainly(err) }

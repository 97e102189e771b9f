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

	"leakback/leakback/refused"
	"leakback/limits/quantity"
)

// replaceable says, before any work is done, whether a file may be written
// there; what happens in between is caught when it is written.
func replaceable(path string, overwrite bool) error {
	if err := portableName(path); err != nil {
		return err
	}
	switch info, err := os.Stat(path); {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return &fileError{fmt.Errorf("%s: cannot be written: %w", path, reason(err))}
	case info.IsDir():
		return &fileError{fmt.Errorf("%s: is a folder; expected the name of a file to write", path)}
	case !info.Mode().IsRegular():
		return &fileError{fmt.Errorf("%s: is not an ordinary file and is left alone", path)}
	case !overwrite:
		return alreadyThere(path)
	}
	return nil
}

// writable says, before long work is done, whether a file can be made there.
func writable(path string) error {
	probe, err := os.CreateTemp(filepath.Dir(path), ".leakback-*.tmp")
	if err != nil {
		return &fileError{fmt.Errorf("%s: cannot be written: %w", path, reason(err))}
	}
	probe.Close()
	if err := os.Remove(probe.Name()); err != nil {
		return &fileError{fmt.Errorf("%s: cannot be written: %w", path, reason(err))}
	}
	return nil
}

func alreadyThere(path string) error {
	return &fileError{&hintedError{
		fmt.Errorf("%s: already exists and is left as it is", path),
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
	if overwrite { // a link keeps pointing to the file that is replaced
		if target, err := filepath.EvalSymlinks(path); err == nil {
			path = target
		}
	}
	temporary, err := os.CreateTemp(filepath.Dir(path), ".leakback-*.tmp")
	if err != nil {
		return &fileError{fmt.Errorf("%s: cannot be written: %w", path, reason(err))}
	}
	defer func() {
		if err != nil {
			temporary.Close()
			os.Remove(temporary.Name())
		}
	}()
	if err := fill(temporary, write); err != nil {
		return fmt.Errorf("%s: not written: %w", path, err)
	}
	if err := publish(temporary.Name(), path, overwrite); err != nil {
		return err
	}
	syncFolder(filepath.Dir(path))
	return nil
}

// writeFileAt is writeFile where what writes needs the name of a file that is
// not there yet.
func writeFileAt(path string, overwrite bool, write func(temporary string) error) (err error) {
	if err := replaceable(path, overwrite); err != nil {
		return err
	}
	folder, err := os.MkdirTemp(filepath.Dir(path), ".leakback-*.tmp")
	if err != nil {
		return &fileError{fmt.Errorf("%s: cannot be written: %w", path, reason(err))}
	}
	defer os.RemoveAll(folder)
	temporary := filepath.Join(folder, filepath.Base(path))
	if err := write(temporary); err != nil {
		return fmt.Errorf("%s: not written: %w", path, err)
	}
	if err := syncFile(temporary); err != nil {
		return &fileError{fmt.Errorf("%s: not written: %w", path, reason(err))}
	}
	if err := publish(temporary, path, overwrite); err != nil {
		return err
	}
	syncFolder(filepath.Dir(path))
	return nil
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
	buffered := bufio.NewWriterSize(f, 1<<16)
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

// publish gives the finished file its name. A link that fails where the name
// is taken is the only step that cannot replace another's file; where the file
// system has no links, a look beforehand must do.
func publish(temporary, path string, overwrite bool) error {
	if !overwrite {
		switch err := os.Link(temporary, path); {
		case err == nil:
			os.Remove(temporary)
			return nil
		case errors.Is(err, fs.ErrExist):
			return alreadyThere(path)
		}
		if err := replaceable(path, false); err != nil {
			return err
		}
	}
	if err := os.Rename(temporary, path); err != nil {
		return notReplaced(path, err)
	}
	return nil
}

// notReplaced says why a file could not be given its name. Windows leaves a file
// alone that another program has open, or that is marked read-only.
func notReplaced(path string, err error) error {
	failed := &fileError{fmt.Errorf("%s: cannot be written: %w", path, reason(err))}
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
			return fmt.Errorf("%s: %s is no file's name on Windows: expected another name, without a colon", path, quantity.Quote(part))
		case strings.TrimRight(part, ". ") != part:
			return fmt.Errorf("%s: %s: expected a name that ends in neither a dot nor a space, which Windows leaves out", path, quantity.Quote(part))
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
		return nil, &fileError{fmt.Errorf("%s: cannot be made: %w", path, reason(err))}
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

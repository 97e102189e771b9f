package command

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback/logbook"
)

func text(s string) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := io.WriteString(w, s)
		return err
	}
}

// only requires that the folder holds exactly these files: nothing temporary.
func only(t *testing.T, folder string, names ...string) {
	t.Helper()
	entries, err := os.ReadDir(folder)
	require.NoError(t, err)
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	assert.Equal(t, names, got)
}

func TestWriteFile(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "a.xlsx")
	require.NoError(t, writeFile(path, false, text("first")))

	err := writeFile(path, false, text("second"))
	assert.Equal(t, exitFile, exitCode(err))
	assert.ErrorContains(t, err, "already exists")
	require.NoError(t, writeFile(path, true, text("third")))
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "third", string(got))
	only(t, folder, "a.xlsx")
}

// A writer that fails half way leaves the earlier file, and nothing else.
func TestWriteFileThatFails(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "a.xlsx")
	require.NoError(t, writeFile(path, false, text("first")))
	broken := errors.New("broken")
	err := writeFile(path, true, func(w io.Writer) error {
		_, _ = io.WriteString(w, "half")
		return broken
	})
	assert.ErrorIs(t, err, broken)
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "first", string(got))
	only(t, folder, "a.xlsx")
}

// A file that appears while the report is being written is somebody's work.
func TestWriteFileThatAppearsMeanwhile(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "a.xlsx")
	err := writeFile(path, false, func(w io.Writer) error {
		return os.WriteFile(path, []byte("theirs"), 0o600)
	})
	assert.Equal(t, exitFile, exitCode(err))
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "theirs", string(got))
	only(t, folder, "a.xlsx")
}

// linked makes a symbolic link; false where there are none, and where one is said to
// be made and is not seen as one (Wine 8).
func linked(target, link string) bool {
	if os.Symlink(target, link) != nil {
		return false
	}
	made, err := os.Lstat(link)
	return err == nil && made.Mode()&os.ModeSymlink != 0
}

func needsLink(t *testing.T, target, link string) {
	t.Helper()
	if !linked(target, link) {
		t.Skip("no symbolic links here")
	}
}

// A link keeps pointing to the file that is replaced through it.
func TestWriteFileThroughALink(t *testing.T) {
	folder := t.TempDir()
	real, link := filepath.Join(folder, "real.xlsx"), filepath.Join(folder, "link.xlsx")
	require.NoError(t, os.WriteFile(real, []byte("first"), 0o600))
	needsLink(t, "real.xlsx", link)
	require.NoError(t, writeFile(link, true, text("second")))
	got, err := os.ReadFile(real)
	require.NoError(t, err)
	assert.Equal(t, "second", string(got))
	info, err := os.Lstat(link)
	require.NoError(t, err)
	assert.NotZero(t, info.Mode()&os.ModeSymlink)
}

// A link that leads nowhere is neither replaced nor followed, one to a logbook is
// not followed, and what is no file of ours is left alone; with and without leave
// to replace.
func TestWriteFileLeavesAlone(t *testing.T) {
	folder := t.TempDir()
	at := func(name string) string { return filepath.Join(folder, name) }
	book := logbookAt(t, at("shop.db"))
	require.NoError(t, os.Mkdir(at("folder.xlsx"), 0o755))
	require.NoError(t, os.Link(at("shop.db"), at("hard.xlsx")))
	for link, target := range map[string]string{"lonely.xlsx": "away.xlsx", "itself.xlsx": "itself.xlsx", "round.xlsx": "trip.xlsx",
		"trip.xlsx": "round.xlsx", "to-folder.xlsx": "folder.xlsx", "book.xlsx": "shop.db", "twice.xlsx": "book.xlsx"} {
		needsLink(t, target, at(link))
	}
	before, err := os.ReadDir(folder)
	require.NoError(t, err)
	for name, want := range map[string]string{
		"lonely.xlsx": "is a link to away.xlsx, which is not there, and is left alone", "itself.xlsx": "cannot be written: ",
		"round.xlsx": "cannot be written: ", "folder.xlsx": "is a folder", "to-folder.xlsx": "is a folder", "book.xlsx": "is a logbook",
		"twice.xlsx": "is a logbook", "hard.xlsx": "is a logbook", "shop.db": "is a logbook",
	} {
		for _, overwrite := range []bool{false, true} {
			err := writeFile(at(name), overwrite, text("report"))
			assert.Equal(t, exitFile, exitCode(err), name)
			if overwrite || want != "is a logbook" {
				assert.ErrorContains(t, err, at(name)+": "+want)
			}
		}
	}
	now, err := os.ReadFile(at("shop.db"))
	require.NoError(t, err)
	assert.Equal(t, book, now)
	after, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Equal(t, fmt.Sprint(before), fmt.Sprint(after), "nothing new, nothing temporary, every link a link")
}

// logbookAt makes a logbook and gives its bytes.
func logbookAt(t *testing.T, path string) []byte {
	t.Helper()
	book, err := logbook.Open(t.Context(), path, logbook.Options{})
	require.NoError(t, err)
	require.NoError(t, book.Close())
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	return content
}

// Whatever goes wrong, the error names the file that was asked for and no temporary
// one, and says so on one line.
func TestErrorsNameTheFile(t *testing.T) {
	vanish := func(folder string) func(io.Writer) error {
		return func(io.Writer) error { return os.RemoveAll(folder) }
	}
	full := func(io.Writer) error {
		_, err := unnamed{brokenFile{}}.Write([]byte("half"))
		return err
	}
	folder := t.TempDir()
	shop := filepath.Join(folder, "shop.db")
	logbookAt(t, shop)
	book, err := logbook.Open(t.Context(), shop, logbook.Options{ReadOnly: true})
	require.NoError(t, err)
	defer book.Close()
	for name, write := range map[string]func(path string) error{
		"folder vanishes": func(path string) error { return writeFile(path, true, vanish(filepath.Dir(path))) },
		"no folder":       func(path string) error { return writeFile(filepath.Join(path, "b.xlsx"), false, text("")) },
		"full disk":       func(path string) error { return writeFile(path, false, full) },
		"copy's folder vanishes": func(path string) error {
			return writeCopy(path, false, func(temporary string) error {
				require.NoError(t, os.RemoveAll(filepath.Dir(temporary)))
				return book.Backup(t.Context(), temporary)
			})
		},
		"copy vanishes": func(path string) error {
			return writeCopy(path, false, func(temporary string) error { return nil })
		},
	} {
		t.Run(name, func(t *testing.T) {
			inside := filepath.Join(t.TempDir(), "inside")
			require.NoError(t, os.Mkdir(inside, 0o755))
			err := write(filepath.Join(inside, "a\nb.xlsx"))
			require.Error(t, err)
			assert.Equal(t, exitFile, exitCode(err))
			said := err.Error()
			var kept *logbook.Error
			if errors.As(err, &kept) {
				said += kept.Hint()
			}
			assert.Contains(t, said, `a\nb.xlsx`)
			assert.NotContains(t, said, ".leakback-")
			assert.NotContains(t, said, "\n")
			if entries, err := os.ReadDir(inside); err == nil {
				assert.Empty(t, entries)
			}
		})
	}
}

// brokenFile is a file on a full disk.
type brokenFile struct{}

func (brokenFile) Write([]byte) (int, error) {
	return 0, &os.PathError{Op: "write", Path: ".leakback-1.tmp", Err: errors.New("no space left on device")}
}

// A backup replaces an earlier one, through a link as well, and never a logbook that
// has entries beside its file: they would be taken for the copy's.
func TestWriteCopy(t *testing.T) {
	folder := t.TempDir()
	old, link := filepath.Join(folder, "old.db"), filepath.Join(folder, "link.db")
	logbookAt(t, old)
	needsLink(t, "old.db", link)
	copied := func(temporary string) error { return os.WriteFile(temporary, []byte("copy"), 0o600) }
	assert.ErrorContains(t, writeCopy(link, false, copied), "already exists")
	require.NoError(t, writeCopy(link, true, copied))
	now, err := os.ReadFile(old)
	require.NoError(t, err)
	assert.Equal(t, "copy", string(now))
	info, err := os.Lstat(link)
	require.NoError(t, err)
	assert.NotZero(t, info.Mode()&os.ModeSymlink)

	require.NoError(t, os.WriteFile(old+"-wal", []byte(strings.Repeat("e", 100)), 0o600))
	for _, path := range []string{old, link} {
		err = writeCopy(path, true, copied)
		assert.Equal(t, exitFile, exitCode(err))
		assert.ErrorContains(t, err, path+": is a logbook in use, with entries in old.db-wal, and is left alone")
	}
	only(t, folder, "link.db", "old.db", "old.db-wal")

}

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	in, err := os.Open(from)
	require.NoError(t, err)
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_WRONLY, 0o755)
	require.NoError(t, err)
	_, err = io.Copy(out, in)
	require.NoError(t, err)
	require.NoError(t, out.Close())
}

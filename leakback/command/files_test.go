package command

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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

// A link keeps pointing to the file that is replaced through it.
func TestWriteFileThroughALink(t *testing.T) {
	folder := t.TempDir()
	real, link := filepath.Join(folder, "real.xlsx"), filepath.Join(folder, "link.xlsx")
	require.NoError(t, os.WriteFile(real, []byte("first"), 0o600))
	if err := os.Symlink("real.xlsx", link); err != nil {
		t.Skip("no symbolic links here: ", err)
	}
	require.NoError(t, writeFile(link, true, text("second")))
	got, err := os.ReadFile(real)
	require.NoError(t, err)
	assert.Equal(t, "second", string(got))
	info, err := os.Lstat(link)
	require.NoError(t, err)
	assert.NotZero(t, info.Mode()&os.ModeSymlink)
}

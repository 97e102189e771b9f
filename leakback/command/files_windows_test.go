package command

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A report that is open in another program stays, and it is said where to look.
func TestWriteFileThatIsOpenElsewhere(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "a.xlsx")
	require.NoError(t, os.WriteFile(path, []byte("first"), 0o600))
	open, err := os.Open(path)
	require.NoError(t, err)
	err = writeFile(path, true, text("second"))
	require.NoError(t, open.Close())
	assert.Equal(t, exitFile, exitCode(err))
	assert.ErrorContains(t, err, "a.xlsx: cannot be written: ")
	var hinted *hintedError
	require.ErrorAs(t, err, &hinted)
	assert.Contains(t, hinted.hint, "close it where it is open")
	require.NoError(t, writeFile(path, true, text("second")))
	only(t, folder, "a.xlsx")
}

// So does one that is marked read-only.
func TestWriteFileThatIsMarkedReadOnly(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "a.xlsx")
	require.NoError(t, os.WriteFile(path, []byte("first"), 0o444))
	t.Cleanup(func() { os.Chmod(path, 0o600) })
	err := writeFile(path, true, text("second"))
	if err == nil {
		t.Skip("this Windows (Wine 8) replaces files that are marked read-only")
	}
	assert.Equal(t, exitFile, exitCode(err))
	var hinted *hintedError
	require.ErrorAs(t, err, &hinted)
	assert.Contains(t, hinted.hint, "marked read-only")
	only(t, folder, "a.xlsx")
}

// What Windows takes for a device, a stream or another file is no file's name.
func TestPortableName(t *testing.T) {
	for _, path := range []string{
		"NUL", "con", `out\COM1`, "lpt9", `C:\reports\PRN`, `aux\report.xlsx`,
		"report.xlsx:hidden.xlsx", "12:30.xlsx", "report.xlsx.", "report.xlsx ", `a. \b.xlsx`,
	} {
		err := replaceable(path, true)
		assert.Error(t, err, path)
		assert.Equal(t, exitBadInput, exitCode(err), path)
	}
	for _, path := range []string{
		`C:report-that-is-not-there.xlsx`, `..\report-that-is-not-there.xlsx`, `.\null.xlsx`, "con-rod.xlsx",
		`\\?\C:\report-that-is-not-there.xlsx`,
	} {
		assert.NoError(t, replaceable(path, false), path)
	}
}

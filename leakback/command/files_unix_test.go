//go:build unix

package command

import (
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// nobody is an ordinary user, for a test that root cannot make by itself: root
// writes into read-only folders all the same.
const nobody = 65534

// TestReadOnlyFolder writes a report into a folder that may not be written to,
// as an ordinary user would.
func TestReadOnlyFolder(t *testing.T) {
	folder, err := os.MkdirTemp("", "leakback-read-only")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(folder) })
	program := filepath.Join(folder, "leakback")
	copyFile(t, os.Args[0], program)
	inside := filepath.Join(folder, "inside")
	require.NoError(t, os.Mkdir(inside, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(inside, "old.xlsx"), []byte("old"), 0o444))
	for _, path := range []string{inside, folder} {
		require.NoError(t, os.Chmod(path, 0o555))
	}

	for _, args := range [][]string{
		{"-o", filepath.Join(inside, "new.xlsx")},
		{"-o", filepath.Join(inside, "old.xlsx"), "--overwrite"},
	} {
		cmd := exec.Command(program, append([]string{"check", "--interval", "60", "--volumes", "21 22 23"}, args...)...)
		if os.Geteuid() == 0 {
			cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
			cmd.Dir = "/"
		}
		out, err := cmd.CombinedOutput()
		var exit *exec.ExitError
		if !assert.ErrorAs(t, err, &exit, "%s", out) {
			continue
		}
		assert.Equal(t, exitFile, exit.ExitCode(), "%s", out)
		assert.Contains(t, string(out), "cannot be written: permission denied")
	}
	require.NoError(t, os.Chmod(folder, 0o755))
	require.NoError(t, os.Chmod(inside, 0o755))
	only(t, inside, "old.xlsx")
}

// Where nothing can be written, what is there is read all the same, and an export
// that failed leaves not even its folder.
func TestNoFileMayGrow(t *testing.T) {
	program := program(t)
	folder := t.TempDir()
	book := filepath.Join(folder, "book.db")
	out, err := exec.Command(program, "check", root+"/testdata/demo/idle.csv", "--log", "--logbook", book).CombinedOutput()
	require.NoError(t, err, string(out))
	limited := func(args ...string) (string, int) {
		cmd := exec.Command("sh", append([]string{"-c", `ulimit -f 0; exec "$0" "$@"`, program}, args...)...)
		out, _ := cmd.CombinedOutput()
		return string(out), cmd.ProcessState.ExitCode()
	}
	said, code := limited("history", "--logbook", book)
	assert.Equal(t, exitDone, code, said)
	assert.Contains(t, said, "Northmoor Six-90")
	said, code = limited("logbook", "export", filepath.Join(folder, "new", "export"), "--logbook", book)
	assert.Equal(t, exitFile, code, said)
	assert.Contains(t, said, "not written: larger than a file may become here")
	assert.NoDirExists(t, filepath.Join(folder, "new"))
	said, code = limited("record", "--plain", "--logbook", book)
	assert.Equal(t, exitFile, code, said)
	assert.Contains(t, said, "there is no room on its disk")
}

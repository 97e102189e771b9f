//go:build unix

package logbook

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

func init() {
	tasks["fill"] = fillTask
	tasks["limited"] = limitedTask
	tasks["ordinary user"] = ordinaryTask
}

// limitedTask appends until no file may grow beyond so many bytes.
func limitedTask(args []string) error {
	most, err := strconv.ParseUint(args[1], 10, 64)
	if err != nil {
		return err
	}
	limit := syscall.Rlimit{Cur: most, Max: most}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
		return err
	}
	return fillTask(args)
}

// fillTask appends long texts to a test until that fails, and prints each one that
// was reported and how it ended.
func fillTask(args []string) error {
	b, err := Open(context.Background(), args[0], Options{})
	if err != nil {
		return printed(err)
	}
	defer b.Close()
	long := strings.Repeat("x", 50_000)
	for k := 1; ; k++ {
		e := reading(int64(k), k, strconv.Itoa(k))
		e.Reason = long
		if _, err := b.Append(context.Background(), args[2], []leakback.Event{e}); err != nil {
			return printed(err)
		}
		fmt.Println("appended", k)
	}
}

// printed prints an error's kind, the error and its hint for the test to see.
func printed(err error) error {
	var e *Error
	if !errors.As(err, &e) {
		return err
	}
	fmt.Printf("kind %d\n%v\n%s\n", e.Kind, e, e.Hint())
	return nil
}

// filledUp runs a task that ends with an error of the logbook and returns how many
// appends it reported.
func filledUp(t *testing.T, out []byte) (appends int, kind Kind, text string) {
	t.Helper()
	lines := bufio.NewScanner(bytes.NewReader(out))
	for lines.Scan() {
		word, n, _ := strings.Cut(lines.Text(), " ")
		number, err := strconv.Atoi(n)
		switch {
		case word == "appended" && err == nil:
			appends = number
		case word == "kind" && err == nil:
			kind = Kind(number)
		default:
			text += lines.Text() + "\n"
		}
	}
	return appends, kind, text
}

func TestALimitOnFilesIsReached(t *testing.T) {
	path := filepath.Join(t.TempDir(), "logbook.db")
	b := open(t, path, Options{})
	add(t, b, idA, set(1, leakback.FieldVehicle, "AB 12"))
	require.NoError(t, b.Close())
	id := NewTestID()
	c := child(t, "limited", path, "600000", id)
	c.Stderr = os.Stderr
	out, err := c.Output()
	require.NoError(t, err)
	appends, kind, text := filledUp(t, out)
	assert.Contains(t, []Kind{Full, Disk}, kind, text)
	assert.Contains(t, text, "everything that was entered before is safe")
	assert.Greater(t, appends, 3)
	requireGoesOn(t, path, id, appends)
}

// requireGoesOn holds a logbook against what was reported before its disk was full,
// and enters one more.
func requireGoesOn(t *testing.T, path, id string, appends int) {
	t.Helper()
	b := open(t, path, Options{})
	events, err := b.Events(t.Context(), id)
	require.NoError(t, err)
	assert.Len(t, events, appends)
	add(t, b, id, reading(1, 1, "2"))
	assert.Empty(t, faults(t, b))
}

func TestANewLogbookThatFindsNoRoom(t *testing.T) {
	folder := t.TempDir()
	c := child(t, "limited", filepath.Join(folder, "logbook.db"), "20000", NewTestID())
	c.Stderr = os.Stderr
	out, err := c.Output()
	require.NoError(t, err)
	appends, kind, text := filledUp(t, out)
	assert.Zero(t, appends)
	assert.Contains(t, []Kind{Full, Disk}, kind, text)
	left, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Empty(t, left, "no half of a logbook")
}

// nobody is a user that owns nothing, on most systems.
const nobody = 65534

// ordinaryTask becomes an ordinary user, for whom modes hold, and opens a logbook
// in each way; it prints what happened.
func ordinaryTask(args []string) error {
	if os.Geteuid() == 0 {
		if err := syscall.Setuid(nobody); err != nil {
			return err
		}
	}
	return openBothWays(args)
}

func openBothWays(args []string) error {
	fmt.Println(readThrough(args[0]))
	_, err := Open(context.Background(), args[0], Options{})
	if err == nil {
		return errors.New("it could be opened for writing")
	}
	return printed(err)
}

// readThrough is how many events a logbook has when it is only read, or why not.
func readThrough(path string) string {
	b, err := Open(context.Background(), path, Options{ReadOnly: true})
	if err != nil {
		return err.Error()
	}
	defer b.Close()
	c, err := b.Check(context.Background(), nil)
	if err != nil {
		return err.Error()
	}
	return fmt.Sprintf("%d events, %d faults", c.Events, len(c.Faults))
}

// lockedFolder is a folder that may be read and not written by an ordinary user,
// with the files of a logbook.
func lockedFolder(t *testing.T, files map[string]string) (path string) {
	t.Helper()
	folder := t.TempDir()
	require.NoError(t, os.Chmod(filepath.Dir(folder), 0o755)) // go test makes it for its own user
	path = filepath.Join(folder, "logbook.db")
	for end, content := range files {
		if content != "" {
			require.NoError(t, os.WriteFile(path+end, []byte(content), 0o644))
		}
	}
	require.NoError(t, os.Chmod(folder, 0o555))
	t.Cleanup(func() { os.Chmod(folder, 0o755) })
	return path
}

func TestALogbookInAFolderThatCannotBeWritten(t *testing.T) {
	b := two(t)
	atWork := bytesOf(t, b.address)
	shm, err := os.ReadFile(b.address + "-shm")
	require.NoError(t, err)
	require.NoError(t, b.Close())
	closed := bytesOf(t, b.address)
	for name, c := range map[string]struct {
		files map[string]string
		want  string
	}{
		"at rest":                         {closed, "6 events, 0 faults"},
		"after a crash":                   {map[string]string{"": atWork[""], "-wal": atWork["-wal"], "-shm": string(shm)}, "6 events, 0 faults"},
		"after a crash, without the -shm": {atWork, "its folder cannot be written, and logbook.db-wal holds entries"},
		"with a -shm and no log":          {map[string]string{"": closed[""], "-shm": string(shm)}, "6 events, 0 faults"},
	} {
		t.Run(name, func(t *testing.T) {
			path := lockedFolder(t, c.files)
			before := bytesOf(t, path)
			cmd := child(t, "ordinary user", path)
			cmd.Stderr = os.Stderr
			out, err := cmd.Output()
			require.NoError(t, err)
			_, kind, text := filledUp(t, out)
			assert.Contains(t, text, c.want)
			assert.Equal(t, ReadOnly, kind, text)
			assert.Equal(t, before, bytesOf(t, path))
		})
	}
}

func TestANewLogbookInAFolderThatCannotBeWritten(t *testing.T) {
	path := lockedFolder(t, nil)
	cmd := child(t, "ordinary user", path)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	require.NoError(t, err)
	_, kind, text := filledUp(t, out)
	assert.Equal(t, ReadOnly, kind, text)
	assert.Contains(t, text, "permission denied")
}

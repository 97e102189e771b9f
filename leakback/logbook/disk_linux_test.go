package logbook

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

func init() {
	tasks["small disk"] = smallDiskTask
	tasks["read-only disk"] = readOnlyDiskTask
	tasks["full disk"] = fullDiskTask
}

// alone runs a task in namespaces of its own, where it may mount.
func alone(t *testing.T, task string, args ...string) []byte {
	t.Helper()
	cmd := child(t, task, args...)
	cmd.SysProcAttr = &syscall.SysProcAttr{
		Cloneflags:  syscall.CLONE_NEWUSER | syscall.CLONE_NEWNS,
		UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
		GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
	}
	var complaints strings.Builder
	cmd.Stderr = &complaints
	out, err := cmd.Output()
	if err != nil && (errors.Is(err, syscall.EPERM) || errors.Is(err, syscall.ENOSPC) || strings.Contains(complaints.String(), "mount: ")) {
		t.Skip("this system gives no namespaces: ", err, complaints.String())
	}
	require.NoError(t, err, complaints.String())
	return out
}

// smallDiskTask fills a disk of 600 kB with a logbook, and hands its files out.
func smallDiskTask(args []string) error {
	if err := syscall.Mount("tmpfs", args[0], "tmpfs", 0, "size=600k"); err != nil {
		return errors.Join(errors.New("mount: "), err)
	}
	path := filepath.Join(args[0], "logbook.db")
	if err := fillTask([]string{path, "", args[2]}); err != nil {
		return err
	}
	for _, end := range []string{"", "-wal"} {
		raw, err := os.ReadFile(path + end)
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
		if err := os.WriteFile(args[1]+end, raw, 0o600); err != nil {
			return err
		}
	}
	return nil
}

func TestAFullDisk(t *testing.T) {
	id, saved := NewTestID(), filepath.Join(t.TempDir(), "saved.db")
	out := alone(t, "small disk", t.TempDir(), saved, id)
	appends, kind, text := filledUp(t, out)
	assert.Equal(t, Full, kind, text)
	assert.Contains(t, text, "the disk is full")
	assert.Contains(t, text, "everything that was entered before is safe")
	assert.Greater(t, appends, 3)
	requireGoesOn(t, saved, id, appends)
}

// readOnlyDiskTask makes a folder a read-only disk and opens the logbook there.
func readOnlyDiskTask(args []string) error {
	folder := filepath.Dir(args[0])
	err := syscall.Mount(folder, folder, "", syscall.MS_BIND, "")
	if err == nil {
		err = syscall.Mount("", folder, "", syscall.MS_BIND|syscall.MS_REMOUNT|syscall.MS_RDONLY, "")
	}
	if err != nil {
		return errors.Join(errors.New("mount: "), err)
	}
	return openBothWays(args)
}

func TestALogbookOnAReadOnlyDisk(t *testing.T) {
	b := two(t)
	path := crashed(t, b)
	out := alone(t, "read-only disk", path)
	_, kind, text := filledUp(t, out)
	assert.Equal(t, ReadOnly, kind, text)
	assert.Contains(t, text, "crashed.db-wal holds entries")

	require.NoError(t, b.Close())
	out = alone(t, "read-only disk", b.address)
	_, kind, text = filledUp(t, out)
	assert.Contains(t, text, "6 events, 0 faults")
	assert.Equal(t, ReadOnly, kind, text)

	out = alone(t, "read-only disk", filepath.Join(t.TempDir(), "none.db"))
	_, kind, text = filledUp(t, out)
	assert.Equal(t, ReadOnly, kind, text)
	add(t, open(t, b.address, Options{}), idA, set(9, leakback.FieldVehicle, "writable here"))
}

// fullDiskTask copies a logbook to a disk that has no room for anything else, and
// opens it there.
func fullDiskTask(args []string) error {
	if err := syscall.Mount("tmpfs", args[0], "tmpfs", 0, "size=400k"); err != nil {
		return errors.Join(errors.New("mount: "), err)
	}
	path := filepath.Join(args[0], "logbook.db")
	for _, end := range []string{"", "-wal"} {
		raw, err := os.ReadFile(args[1] + end)
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
		if err == nil {
			if err := os.WriteFile(path+end, raw, 0o600); err != nil {
				return err
			}
		}
	}
	if err := os.WriteFile(filepath.Join(args[0], "other"), make([]byte, 1<<20), 0o600); !errors.Is(err, syscall.ENOSPC) {
		return fmt.Errorf("the disk is not full: %w", err)
	}
	return openBothWays([]string{path})
}

// A logbook on a full disk can be read, as long as nothing that a crash left waits
// beside it; else that is said.
func TestALogbookOnAFullDisk(t *testing.T) {
	b := two(t)
	crash := crashed(t, b)
	require.NoError(t, b.Close())
	for path, want := range map[string]string{
		b.address: "6 events, 0 faults\n",
		crash:     "there is no room on its disk, and logbook.db-wal holds entries that cannot be read without\n",
	} {
		_, kind, text := filledUp(t, alone(t, "full disk", t.TempDir(), path))
		assert.Contains(t, text, want)
		assert.Equal(t, Full, kind, text)
	}
}

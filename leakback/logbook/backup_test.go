package logbook

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestBackupIsTheSameLogbook(t *testing.T) {
	for name, o := range map[string]Options{"": {}, "of one that is only read": {ReadOnly: true}} {
		t.Run(name, func(t *testing.T) {
			b := two(t)
			reader := open(t, b.address, o)
			path := filepath.Join(t.TempDir(), portable("it's a backup ?.db"))
			require.NoError(t, reader.Backup(t.Context(), path))
			info, err := os.Stat(path)
			require.NoError(t, err)
			if runtime.GOOS != "windows" { // which has no such bits
				assert.EqualValues(t, 0o600, info.Mode().Perm())
			}
			names, err := os.ReadDir(filepath.Dir(path))
			require.NoError(t, err)
			assert.Len(t, names, 1, "nothing beside it")

			copied := open(t, path, Options{})
			assert.Empty(t, faults(t, copied))
			assert.Equal(t, contents(t, b), contents(t, copied))
			add(t, copied, "", reading(1, 1, "2")) // it is a logbook to go on with
		})
	}
}

func TestBackupReplacesNothing(t *testing.T) {
	b := two(t)
	path := filepath.Join(t.TempDir(), "there.db")
	require.NoError(t, os.WriteFile(path, []byte("something"), 0o600))
	require.Error(t, b.Backup(t.Context(), path))
	is, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "something", string(is))
	require.Error(t, b.Backup(t.Context(), filepath.Join(t.TempDir(), "no folder", "x.db")))
}

func TestBackupOfADamagedLogbookLeavesNothing(t *testing.T) {
	b := two(t)
	require.NoError(t, b.Close())
	raw, err := os.ReadFile(b.address)
	require.NoError(t, err)
	for i := 3 * 4096; i < len(raw); i++ {
		raw[i] = 0xa5
	}
	require.NoError(t, os.WriteFile(b.address, raw, 0o600))
	damaged := open(t, b.address, Options{ReadOnly: true})
	path := filepath.Join(t.TempDir(), "copy.db")
	err = damaged.Backup(t.Context(), path)
	var e *Error
	require.ErrorAs(t, err, &e)
	assert.Equal(t, Damaged, e.Kind)
	assert.NoFileExists(t, path)
}

// contents are all tests with their events, by id.
func contents(t *testing.T, b *Book) map[string]any {
	t.Helper()
	entries, err := b.Tests(t.Context(), Filter{})
	require.NoError(t, err)
	all := map[string]any{}
	for _, e := range entries {
		events, err := b.Events(t.Context(), e.ID)
		require.NoError(t, err)
		all[e.ID] = []any{e, events}
	}
	return all
}

//go:build unix

package logbook

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// A file whose name is gone goes on taking what is written. That is said with the
// first entry, and nothing that was entered is missing when the logbook is opened
// again.
func TestALogbookThatIsTakenAwayWhileItIsOpen(t *testing.T) {
	for name, c := range map[string]struct {
		take func(t *testing.T, path string)
		// at is the file that goes on, and events how many it has of the test.
		at     string
		events int
	}{
		"removed":               {func(t *testing.T, path string) { removeAll(t, path, path+"-wal", path+"-shm") }, "logbook.db", 4},
		"the file alone":        {func(t *testing.T, path string) { removeAll(t, path) }, "logbook-2.db", 4},
		"moved":                 {func(t *testing.T, path string) { require.NoError(t, os.Rename(path, path+".old")) }, "logbook-2.db", 4},
		"with its folder":       {func(t *testing.T, path string) { require.NoError(t, os.RemoveAll(filepath.Dir(path))) }, "logbook.db", 4},
		"replaced":              {func(t *testing.T, path string) { replace(t, path); removeAll(t, path+"-wal", path+"-shm") }, "logbook.db", 0},
		"replaced, not its log": {replace, "logbook-2.db", 4},
	} {
		t.Run(name, func(t *testing.T) {
			b := two(t)
			before := contents(t, b)[idA]
			c.take(t, b.address)
			_, err := b.Append(t.Context(), idA, []leakback.Event{reading(9, 4, "23")})
			requireKind(t, Moved, err)
			again, err := b.Reopen(t.Context())
			require.NoError(t, err)
			t.Cleanup(func() { again.Close() })
			assert.Equal(t, filepath.Join(filepath.Dir(b.address), c.at), again.address)
			assert.Empty(t, faults(t, again))
			if c.events == 0 {
				_, err := again.Events(t.Context(), idA)
				require.ErrorAs(t, err, new(*NotFoundError))
				return
			}
			events, err := again.Events(t.Context(), idA)
			require.NoError(t, err)
			assert.Equal(t, before.([]any)[1], events[:len(events)-1])
			assert.Equal(t, "23", events[len(events)-1].Value)
			add(t, again, idA, reading(10, 5, "24"))
		})
	}
}

func removeAll(t *testing.T, paths ...string) {
	t.Helper()
	for _, path := range paths {
		require.NoError(t, os.Remove(path))
	}
}

// replace puts another logbook where one is.
func replace(t *testing.T, path string) {
	t.Helper()
	other := fresh(t)
	add(t, other, "", reading(1, 1, "2"))
	require.NoError(t, other.Close())
	require.NoError(t, os.Rename(other.address, path))
}

// A look at the name that fails says nothing of the file.
func TestALogbookThatCannotBeLookedAtStays(t *testing.T) {
	b := two(t)
	require.NoError(t, b.files.stay(filepath.Join(b.address, "a file is no folder")))
	require.Error(t, b.files.stay(b.address+".gone"))
}

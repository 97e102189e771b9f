package logbook

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every bit of what a crash left counts: either all that was entered is there, or it
// is said that something is not. Only of the last entry SQLite cannot tell damage
// from a write that the crash cut short.
func TestFlippedBitsInTheLogOfACrash(t *testing.T) {
	b := fresh(t)
	const entries = 12
	for k := range entries {
		add(t, b, idA, reading(int64(k+1), k+1, strconv.Itoa(k)))
	}
	path := crashed(t, b)
	whole := bytesOf(t, path)
	require.False(t, tornLog(path))
	random := rand.New(rand.NewPCG(4, 9))
	said := 0
	for k := range 100 + logHeader {
		raw := []byte(whole["-wal"])
		at := k // the header, byte by byte
		if k >= logHeader {
			at += random.IntN(len(raw) - k)
		}
		if frame := (at - logHeader) % (4096 + logFrameHeader); frame >= 8 && frame < 16 {
			continue // the salt: the frame is one of an earlier use of the file
		}
		raw[at] ^= 1 << random.IntN(8)
		require.NoError(t, os.WriteFile(path, []byte(whole[""]), 0o600))
		require.NoError(t, os.WriteFile(path+"-wal", raw, 0o600))
		os.Remove(path + "-shm")
		if !torn(raw) {
			if reader, err := Open(t.Context(), path, Options{ReadOnly: true}); err == nil {
				assert.GreaterOrEqual(t, held(t, reader), entries-1, "a bit at %d", at)
				require.NoError(t, reader.Close())
			}
			continue
		}
		said++
	}
	assert.Greater(t, said, 60)
}

// held is how many events the logbook has.
func held(t *testing.T, b *Book) int {
	c, err := b.Check(t.Context(), nil)
	require.NoError(t, err)
	return int(c.Events)
}

// What a broken log holds is kept before it is written on, and both readers and
// writers are told.
func TestABrokenLogIsKept(t *testing.T) {
	b := fresh(t)
	for k := range 6 {
		add(t, b, idA, reading(int64(k+1), k+1, strconv.Itoa(k)))
	}
	path := crashed(t, b)
	raw := []byte(bytesOf(t, path)["-wal"])
	raw[len(raw)/3] ^= 1
	require.NoError(t, os.WriteFile(path+"-wal", raw, 0o600))

	reader := open(t, path, Options{ReadOnly: true})
	assert.Contains(t, reader.Notice(), "has a broken place, and entries that were made after it cannot be read; keep a copy")
	found := faults(t, reader)
	require.Len(t, found, 1)
	require.NoError(t, reader.Close())
	assert.NoFileExists(t, path+"-wal.damaged")

	writer := open(t, path, Options{})
	assert.Contains(t, writer.Notice(), "it is kept as crashed.db-wal.damaged")
	add(t, writer, "", reading(9, 1, "2"))
	require.NoError(t, writer.Close())
	kept, err := os.ReadFile(path + "-wal.damaged")
	require.NoError(t, err)
	assert.Equal(t, raw, kept)
	assert.Empty(t, open(t, path, Options{}).Notice())
	assert.NoFileExists(t, path+"-wal.damaged-2")

	raw[len(raw)/4] ^= 1 // another crash, another broken place
	other := crashed(t, b)
	require.NoError(t, os.WriteFile(other+"-wal", raw, 0o600))
	require.NoError(t, os.WriteFile(other+"-wal.damaged", kept, 0o600))
	assert.Contains(t, open(t, other, Options{}).Notice(), "it is kept as crashed.db-wal.damaged-2")
	second, err := os.ReadFile(other + "-wal.damaged-2")
	require.NoError(t, err)
	assert.Equal(t, raw, second)
	first, err := os.ReadFile(other + "-wal.damaged")
	require.NoError(t, err)
	assert.Equal(t, kept, first)
}

package refused

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What this system refuses is said in the words of every system.
func TestPlainly(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))

	_, err := os.Open(filepath.Join(folder, "absent"))
	assert.EqualError(t, Plainly(err), "no such file or folder")
	assert.ErrorIs(t, Plainly(err), fs.ErrNotExist)

	_, err = os.Open(filepath.Join(folder, "absent", "file"))
	assert.EqualError(t, Plainly(fmt.Errorf("around: %w", err)), "no such file or folder")

	_, err = os.OpenFile(file, os.O_CREATE|os.O_EXCL, 0o600)
	assert.EqualError(t, Plainly(err), "already exists")
	assert.ErrorIs(t, Plainly(err), fs.ErrExist)

	err = os.Rename(filepath.Join(folder, "absent"), filepath.Join(folder, "other"))
	require.Error(t, err)
	assert.EqualError(t, Plainly(err), "no such file or folder", "of a rename, neither name is repeated")

	_, err = os.OpenFile(folder, os.O_WRONLY, 0)
	assert.EqualError(t, Plainly(err), "is a folder")

	assert.EqualError(t, Plainly(&fs.PathError{Op: "open", Path: "x", Err: fs.ErrPermission}), "permission denied")
	own := errors.New("not the system's")
	assert.Same(t, own, Plainly(own))
}

// Other words of a system take the form of our messages.
func TestMessage(t *testing.T) {
	for said, want := range map[string]string{
		"The handle is invalid.":  "the handle is invalid",
		"RPC server unavailable.": "RPC server unavailable",
		"value too large":         "value too large",
		"I":                       "i",
		"":                        "",
	} {
		assert.Equal(t, want, message(said))
	}
}

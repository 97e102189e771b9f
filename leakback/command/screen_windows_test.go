package command

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What is no console gets no colours.
func TestShowsColor(t *testing.T) {
	f, err := os.Create(filepath.Join(t.TempDir(), "out.txt"))
	require.NoError(t, err)
	defer f.Close()
	assert.False(t, showsColor(f))
	assert.False(t, screenOf(f, func(string) string { return "" }).color)
}

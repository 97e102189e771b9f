package command

import (
	"bytes"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

func TestProgressLine(t *testing.T) {
	src := &source{}
	p := (&environment{stderr: &bytes.Buffer{}, watched: true}).watch(src)
	defer p.stop()
	p.add(312_000)
	p.add(4)
	assert.Equal(t, "leakback: 312,004 tests, 78,001 a second", p.line(4*time.Second))
	src.size = 2000
	src.read.Store(905)
	assert.Equal(t, "leakback: 312,004 tests, 78,001 a second, 45 %", p.line(4*time.Second))
}

// A shorter line leaves nothing of a longer one, and the end nothing at all.
func TestProgressIsWipedAway(t *testing.T) {
	var out bytes.Buffer
	p := &progress{w: &out}
	p.draw("")
	assert.Empty(t, out.String(), "nothing was shown, nothing is wiped")
	p.draw("abcd")
	p.draw("xy")
	p.draw("")
	assert.Equal(t, "\r\rabcd"+"\r    \rxy"+"\r  \r", out.String())
}

func TestShortWorkShowsNoProgress(t *testing.T) {
	var out bytes.Buffer
	env := &environment{stderr: &out, watched: true}
	p := env.watch(&source{})
	p.add(5)
	p.stop()
	assert.Empty(t, out.String())
}

func TestProgressOnlyOnATerminal(t *testing.T) {
	unwatched := (&environment{}).watch(&source{})
	assert.Nil(t, unwatched)
	unwatched.add(1)
	unwatched.stop()
	getenv := func(string) string { return "" }
	assert.False(t, watched(&bytes.Buffer{}, &bytes.Buffer{}, getenv))
	file, err := os.Create(t.TempDir() + "/messages")
	assert.NoError(t, err)
	defer file.Close()
	assert.False(t, watched(&bytes.Buffer{}, file, getenv))
}

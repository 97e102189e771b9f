package command

import (
	"bytes"
	"context"
	"errors"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
)

// quietly is an environment, and what it says.
func quietly() (*environment, *bytes.Buffer) {
	var said bytes.Buffer
	return &environment{stdout: io.Discard, stderr: &said, getenv: func(string) string { return "" }}, &said
}

// A sitting that ends before its end says what is kept and what goes on with it,
// whatever ended it.
func TestWhatWasKeptIsSaid(t *testing.T) {
	failure := errors.New("not kept: logbook book.db: the disk is full")
	for name, c := range map[string]struct {
		sitting func(e *entering) interface{ left(error) error }
		kept    string
		again   string
	}{
		"record": {func(e *entering) interface{ left(error) error } { return &recording{entering: e} },
			"test 3 is kept up to the last answer that was taken, in book.db", "go on with: leakback record --resume 3"},
		"work": {func(e *entering) interface{ left(error) error } { return &working{entering: e} },
			"the work after test 3 is kept up to the last answer that was taken, in book.db", "go on with: leakback work 3"},
	} {
		t.Run(name, func(t *testing.T) {
			env, text := quietly()
			s := c.sitting(&entering{env: env, at: "book.db", number: 3, events: []leakback.Event{{}}})
			require.Equal(t, failure, s.left(failure))
			assert.Equal(t, "leakback: "+c.kept+"\nleakback: "+c.again+"\n", text.String())

			for _, leaving := range []error{ask.ErrLeft, context.Canceled} {
				err := s.left(leaving)
				require.ErrorAs(t, err, new(*interruptedError))
				require.EqualError(t, err, c.kept)
				hinted := new(hintedError)
				require.ErrorAs(t, err, &hinted)
				assert.Equal(t, c.again, hinted.hint)
			}
			err := s.left(&sharedError{3})
			require.ErrorAs(t, err, new(*fileError))
			require.ErrorContains(t, err, "both entries are kept")
		})
	}
}

// Where a sitting kept nothing, only what went wrong is said.
func TestNothingIsSaidToBeKeptThatIsNot(t *testing.T) {
	env, text := quietly()
	refused := errors.New("--step: expected another unit")
	w := &working{entering: &entering{env: env, number: 3, events: []leakback.Event{{}}}, before: 1}
	require.Equal(t, refused, w.left(refused))
	r := &recording{entering: &entering{env: env}}
	require.Equal(t, refused, r.left(refused))
	assert.Empty(t, text.String())
}

// A clock that was never set (an empty battery) is found before anything is asked.
func TestNothingIsEnteredByAClockBefore1970(t *testing.T) {
	env, _ := quietly()
	env.logbook, env.place = t.TempDir()+"/logbook.db", time.UTC
	env.now = func() time.Time { return time.Date(1960, 3, 2, 10, 0, 0, 0, time.UTC) }
	_, err := openToEnter(t.Context(), env, &logbookOptions{})
	require.EqualError(t, err, "this machine's clock says 1960-03-02: expected a day since 1970")
	assert.NoFileExists(t, env.logbook)
}

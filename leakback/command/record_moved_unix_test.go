//go:build unix

package command

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/logbook"
)

// The logbook is taken away in the middle of a test: the next question says so, and
// no answer is missing where it says that they are.
func TestRecordIntoALogbookThatIsTakenAway(t *testing.T) {
	program := program(t)
	whole := uninterrupted(t, program)
	for name, c := range map[string]struct {
		take func(book string) error
		at   string
	}{
		"removed": {func(book string) error { return os.RemoveAll(filepath.Dir(book)) }, "book.db"},
		"moved":   {func(book string) error { return os.Rename(book, book+".old") }, "book-2.db"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			book := filepath.Join(t.TempDir(), "shop", "book.db")
			s := sit(t, program, recordFlags(book)...)
			const taken = 24
			for at, answer := range theTest {
				require.Equal(t, whole.prompts[at], s.prompt())
				said := strings.Join(strings.Fields(s.said.String()), " ")
				assert.Equal(t, at == taken+1, strings.Contains(said, "was moved, removed or replaced while it was open"), "question %d", at)
				if at == taken {
					require.NoError(t, c.take(book))
				}
				s.answer(answer)
			}
			assert.Empty(t, s.prompt())
			require.NoError(t, <-s.ended, s.said.String())
			at := filepath.Join(filepath.Dir(book), c.at)
			assert.Contains(t, s.said.String(), "leakback: test 1 is in the logbook, "+at)
			assert.Contains(t, s.said.String(), "--logbook "+at)
			assert.Equal(t, whole.entered, entered(t, at, "1"))
		})
	}
}

// A correction by flags has no question to say with what became of the logbook.
func TestCorrectIntoALogbookThatIsTakenAway(t *testing.T) {
	path := filepath.Join(t.TempDir(), "shop", "book.db")
	book, err := logbook.Open(t.Context(), path, logbook.Options{})
	require.NoError(t, err)
	id := logbook.NewTestID()
	events, err := book.Append(t.Context(), id, []leakback.Event{{AtUS: 1, Key: leakback.Key{Kind: leakback.KindEnd}, Value: leakback.EndDone}})
	require.NoError(t, err)
	env, said := quietly()
	e := &entering{env: env, at: path, book: book, id: id, number: 1, events: events}
	defer e.close()
	require.NoError(t, os.RemoveAll(filepath.Dir(path)))
	c := &correctOptions{job: leakback.Job{Vehicle: "Unit 12"}, by: "Kim Invented", reason: "misread", given: func(flag string) bool { return flag == "vehicle" }}
	require.NoError(t, c.correct(t.Context(), e, logbook.Entry{Number: 1}))
	assert.Contains(t, said.String(), "all of this test is kept in "+path)
	assert.Contains(t, said.String(), "test 1, vehicle: \"Unit 12\" (was nothing)")
	kept, err := e.book.Events(t.Context(), id)
	require.NoError(t, err)
	assert.Equal(t, "Unit 12", kept[len(kept)-1].Value)
}

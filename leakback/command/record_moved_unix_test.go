//go:build unix

package command

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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

package command

import (
	"database/sql"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	_ "modernc.org/sqlite"
)

// A test that somebody changed behind the program's back is named; the others are
// listed all the same.
func TestOneDamagedTestHidesNoOther(t *testing.T) {
	program := program(t)
	book := filepath.Join(t.TempDir(), "book.db")
	out, err := exec.Command(program, "check", root+"/testdata/demo/learn-ten.csv", "--log", "--logbook", book, "--format", "csv").CombinedOutput()
	require.NoError(t, err, string(out))
	db, err := sql.Open("sqlite", book)
	require.NoError(t, err)
	for _, statement := range []string{
		"DROP TRIGGER events_are_not_changed",
		"UPDATE events SET value = '12' WHERE kind = 'reading' AND cylinder = 3 AND test_id = (SELECT id FROM tests WHERE number = 4)",
	} {
		_, err := db.Exec(statement)
		require.NoError(t, err)
	}
	require.NoError(t, db.Close())
	cmd := exec.Command(program, "history", "--logbook", book, "--all")
	text, err := cmd.Output()
	require.NoError(t, err)
	assert.Regexp(t, `(?m)^  4  .* unreadable`, string(text))
	assert.Regexp(t, `(?m)^  9  .* FAIL 4$`, string(text), "the others are judged")
	out, err = exec.Command(program, "report", "4", "--logbook", book, "--output", book+".xlsx").CombinedOutput()
	require.Error(t, err)
	assert.Contains(t, string(out), "leakback: logbook "+book+": ")
}

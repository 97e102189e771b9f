package command

import (
	"database/sql"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	_ "modernc.org/sqlite"

	"leakback/leakback"
	"leakback/leakback/logbook"
)

// A test that somebody changed behind the program's back is named; the others are
// listed all the same.
func TestOneDamagedTestHidesNoOther(t *testing.T) {
	program := program(t)
	book := filepath.Join(t.TempDir(), "book.db")
	out, err := exec.Command(program, "check", root+"/testdata/demo/learn-ten.csv", "--log", "--logbook", book, "--format", "csv").CombinedOutput()
	require.NoError(t, err, string(out))
	forgeReading(t, book, 4)
	cmd := exec.Command(program, "history", "--logbook", book, "--all")
	text, err := cmd.Output()
	require.NoError(t, err)
	assert.Regexp(t, `(?m)^  4  .* unreadable`, string(text))
	assert.Regexp(t, `(?m)^  9  .* FAIL 4$`, string(text), "the others are judged")
	out, err = exec.Command(program, "report", "4", "--logbook", book, "--output", book+".xlsx").CombinedOutput()
	require.Error(t, err)
	assert.Contains(t, string(out), "leakback: logbook "+book+": ")
}

// forgeReading changes what was entered in a test behind the program's back.
func forgeReading(t *testing.T, book string, number int) {
	t.Helper()
	db, err := sql.Open("sqlite", book)
	require.NoError(t, err)
	_, err = db.Exec("DROP TRIGGER events_are_not_changed")
	require.NoError(t, err)
	_, err = db.Exec("UPDATE events SET value = '12' WHERE kind = 'reading' AND cylinder = 3 AND test_id = (SELECT id FROM tests WHERE number = ?)", number)
	require.NoError(t, err)
	require.NoError(t, db.Close())
}

// Who enters into a damaged logbook is told, and everything is kept all the same.
func TestRecordIntoADamagedLogbook(t *testing.T) {
	program := program(t)
	book := filepath.Join(t.TempDir(), "book.db")
	out, err := exec.Command(program, "check", root+"/testdata/demo/repair-before.csv", "--log", "--logbook", book, "--vehicle", "Unit 12").CombinedOutput()
	require.NoError(t, err, string(out))
	forgeReading(t, book, 1)
	cmd := exec.Command(program, append(recordFlags(book), "--new")...)
	cmd.Stdin = strings.NewReader(strings.Join(theTest, "\n") + "\n")
	out, err = cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	said := strings.Join(strings.Fields(string(out)), " ")
	assert.Equal(t, 1, strings.Count(said, "the logbook is damaged, with 1 fault; what you enter is kept in it all the same, "+
		"and what is wrong is named by: leakback logbook check --logbook "+book), said)
	assert.Contains(t, said, "done to this vehicle before: test 1: not known, as its entries are damaged")
	assert.Len(t, entered(t, book, "2"), len(uninterrupted(t, program).entered))
}

// A copy of a logbook of which a crash and a bad disk have left less says so.
func TestCopyOfALogbookWithABrokenLog(t *testing.T) {
	whole := filepath.Join(t.TempDir(), "whole.db")
	b, err := logbook.Open(t.Context(), whole, logbook.Options{})
	require.NoError(t, err)
	defer b.Close()
	id := logbook.NewTestID()
	for at := range int64(6) {
		_, err := b.Append(t.Context(), id, []leakback.Event{{AtUS: at + 1, Key: leakback.Key{Kind: leakback.KindSet, Field: leakback.FieldVehicle}, Value: "Unit 12"}})
		require.NoError(t, err)
	}
	crashed := filepath.Join(t.TempDir(), "crashed.db")
	for _, end := range []string{"", "-wal"} {
		raw := read(t, whole+end)
		if end == "-wal" {
			raw[len(raw)/3] ^= 1
		}
		require.NoError(t, os.WriteFile(crashed+end, raw, 0o600))
	}
	env, said := quietly()
	require.NoError(t, copyLogbook(t.Context(), env, crashed, filepath.Join(t.TempDir(), "to.db")))
	assert.Contains(t, said.String(), "crashed.db-wal, which a crash left, has a broken place")
}

package entry

import (
	"encoding/csv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A line without quotes is parted as encoding/csv, a reader of RFC 4180, does.
func FuzzSplit(f *testing.F) {
	for _, text := range []string{"a,b,c", ",", "a", " 1 ; 2 ", "\x00,\xff", "é;ü,\u00a0", "T1,1,>100,60,idle"} {
		f.Add(text, byte(','))
		f.Add(text, byte(';'))
	}
	f.Fuzz(func(t *testing.T, text string, mark byte) {
		if mark != ',' && mark != ';' && mark != '\t' || strings.ContainsAny(text, "\"\r\n") || text == "" {
			return
		}
		r := csv.NewReader(strings.NewReader(text + "\n"))
		r.Comma = rune(mark)
		want, err := r.Read()
		require.NoError(t, err)
		require.Equal(t, want, split(nil, text, mark))
	})
}

// Quotes around every cell say nothing, wherever they go another way: a file
// reads the same with them in no row, in some and in all.
func TestQuotedCellsReadTheSame(t *testing.T) {
	tried := 0
	for _, text := range corpus(t) {
		if strings.ContainsAny(text, "\"\r") {
			continue
		}
		tried++
		want, wantErr := readString(text, minute())
		for every := range 3 {
			got, err := readString(quoted(text, every+1), minute())
			equal(t, want, got)
			require.Equal(t, wantErr, err)
		}
	}
	require.GreaterOrEqual(t, tried, 6)
}

// quoted puts quotes around the cells of each so many-th line.
func quoted(text string, every int) string {
	lines := strings.Split(text, "\n")
	mark := string(separator([]byte(lines[0])))
	for i, line := range lines {
		if i%every == 0 && strings.TrimSpace(line) != "" {
			lines[i] = `"` + strings.ReplaceAll(line, mark, `"`+mark+`"`) + `"`
		}
	}
	return strings.Join(lines, "\n")
}

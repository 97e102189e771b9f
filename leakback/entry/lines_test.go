package entry

import (
	"bytes"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A line of 2 GB is refused after its first 64 KiB, wherever it stands.
func TestLineOfTwoGigabytes(t *testing.T) {
	for name, c := range map[string]struct {
		before string
		fill   string
		row    string
	}{
		"header":              {"", "a", "row 1"},
		"reading":             {"cylinder,volume_ml\n1,", "1", "row 2"},
		"quoted":              {"cylinder,volume_ml\n1,21\n2,\"", "1", "row 3"},
		"separators":          {"cylinder,volume_ml\n", ",", "row 2"},
		"quotes":              {"cylinder,volume_ml\n", `"`, "row 2"},
		"spaces at the start": {"", " ", "row 1"},
	} {
		t.Run(name, func(t *testing.T) {
			tail := &repeated{text: c.fill}
			r := io.MultiReader(strings.NewReader(c.before), io.LimitReader(tail, 2<<30))
			_, err := readAll(r, "idle.csv", minute())
			requireFaults(t, err, []string{"idle.csv: " + c.row + ": expected at most 65,536 bytes in a line; this is no readings file"})
			assert.Less(t, tail.taken, 2*longestLine)
		})
	}
}

// A quote that is never closed must not gather the rest of a long file.
func TestOpenQuoteBeforeManyLines(t *testing.T) {
	longest, rows := 0, 0
	text := "cylinder,volume_ml\n1,\"21\n" + strings.Repeat("2,22\n", 100)
	rd := NewReader(strings.NewReader(text), "idle.csv", "idle", minute())
	for rd.end == nil {
		rd.step()
		rows++
		for _, cell := range rd.record {
			longest = max(longest, len(cell))
		}
	}
	assert.Equal(t, len(" 21"), longest, "the quote blanked, no other line gathered")
	assert.Greater(t, rows, 20)
}

func TestLongestLine(t *testing.T) {
	for _, end := range []string{"", "\n", "\r", "\r\n"} {
		line := "1,21" + strings.Repeat(" ", longestLine-len("1,21"))
		tests, err := readString("cylinder,volume_ml\n"+line+end, minute())
		require.NoError(t, err)
		assert.Len(t, tests, 1)
		_, err = readString("cylinder,volume_ml\n"+line+" "+end, minute())
		require.Error(t, err)
	}
}

// Lines come out the same however the file is cut into reads, each ended by LF,
// and number counts them.
func TestLines(t *testing.T) {
	const text = "a\r\nb\rc\n\n\r\r\nd\r\n\re"
	want := []string{"a\n", "b\n", "c\n", "\n", "\n", "\n", "d\n", "\n", "e"}
	for name, r := range map[string]io.Reader{
		"whole":         strings.NewReader(text),
		"bytes":         iotest.OneByteReader(strings.NewReader(text)),
		"halves":        iotest.HalfReader(strings.NewReader(text)),
		"data with EOF": iotest.DataErrReader(strings.NewReader(text)),
	} {
		t.Run(name, func(t *testing.T) {
			l := newLines(r)
			var got []string
			p := make([]byte, 100)
			for {
				n, err := l.Read(p)
				if err == io.EOF {
					break
				}
				require.NoError(t, err)
				got = append(got, string(p[:n]))
				assert.Equal(t, len(got), l.number)
			}
			assert.Equal(t, want, got)
		})
	}
}

// A lone CR at the very end is a line end, not text.
func TestLastCR(t *testing.T) {
	got, err := io.ReadAll(newLines(strings.NewReader("a\rb\r")))
	require.NoError(t, err)
	assert.Equal(t, "a\nb\n", string(got))
}

// Only quotes that do not pair are blanked.
func TestQuotes(t *testing.T) {
	l := newLines(strings.NewReader("\"a\",b\n\"a,b\na,\"b\n"))
	want := []struct {
		text           string
		broken, quoted bool
	}{{"\"a\",b\n", false, false}, {" a,b\n", true, true}, {"a, b\n", true, false}}
	p := make([]byte, 100)
	for _, w := range want {
		n, err := l.Read(p)
		require.NoError(t, err)
		assert.Equal(t, w.text, string(p[:n]))
		assert.Equal(t, w.broken, l.broken)
		if l.broken {
			assert.Equal(t, w.quoted, l.quoted)
		}
	}
}

func TestSeparator(t *testing.T) {
	for header, want := range map[string]byte{
		"cylinder":                   ',',
		"cylinder,volume_ml":         ',',
		"cylinder;volume_ml":         ';',
		"cylinder\tvolume_ml":        '\t',
		`"a;b;c",volume_ml`:          ',',
		"cylinder;volume_ml,run;x;y": ';',
	} {
		assert.Equal(t, string(want), string(separator([]byte(header))), header)
	}
}

// UTF-16 is told from other binary files by the place of its NULs.
func TestSniff(t *testing.T) {
	utf16 := func(text string, big bool) []byte {
		var b bytes.Buffer
		for i := range len(text) {
			if big {
				b.WriteByte(0)
			}
			b.WriteByte(text[i])
			if !big {
				b.WriteByte(0)
			}
		}
		return b.Bytes()
	}
	const header = "cylinder;volume_ml\r\n1;22,5\r\n"
	assert.Equal(t, errUTF16, sniff(utf16(header, false)))
	assert.Equal(t, errUTF16, sniff(utf16(header, true)))
	assert.Equal(t, errBinary, sniff([]byte("GIF89a\x00\x00\x01")))
	assert.Equal(t, errBinary, sniff(make([]byte, 100)))
	assert.NoError(t, sniff([]byte(header)))
	assert.NoError(t, sniff(nil))
}

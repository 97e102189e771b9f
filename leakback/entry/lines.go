package entry

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"strings"
)

// longestLine is how many bytes a line may have: a row of readings has under a
// hundred, and a file without line ends must not fill the memory.
const longestLine = 64 << 10

// refusal is what was expected of a file that cannot be read as lines of text.
type refusal string

func (r refusal) Error() string { return "expected " + string(r) }

const (
	errLongLine refusal = "at most 65,536 bytes in a line; this is no readings file"
	errWorkbook refusal = "CSV text; this is a workbook or another packed file: save its sheet as CSV (UTF-8)"
	errUTF16    refusal = "UTF-8 text; this is UTF-16: save the file as CSV (UTF-8)"
	errBinary   refusal = "CSV text; this is a binary file"
)

// lines hands text to the CSV reader one line at a time and never reads ahead
// of it, so that number is the row of the record that was read last. A line may
// end with LF, CR LF or CR; each is handed on as LF.
//
// No cell of a readings file holds a line break, so a line whose quotes do not
// pair is broken: its quotes are blanked, which keeps it from swallowing the
// lines that follow.
type lines struct {
	in *bufio.Reader
	// number is the line handed out last, from 1.
	number int
	// broken says that its quotes did not pair; quoted that it began with one;
	// plain that it holds none, as it is handed out.
	broken, quoted, plain bool

	end  byte   // the line end that is looked for first
	used int    // bytes of in that the current line holds
	rest []byte // what is left of it to hand out
}

func newLines(r io.Reader) *lines {
	return &lines{in: bufio.NewReaderSize(r, longestLine+len("\r\n")), end: '\n'}
}

// Read hands out what is left of the current line, or the next one.
func (l *lines) Read(p []byte) (int, error) {
	if len(l.rest) == 0 {
		if err := l.next(); err != nil {
			return 0, err
		}
	}
	n := copy(p, l.rest)
	l.rest = l.rest[n:]
	return n, nil
}

// first makes the first line that is not blank the current one and gives it.
// It refuses what is not text.
func (l *lines) first() ([]byte, error) {
	err := l.next()
	if text := sniff(l.buffered()); text != nil {
		l.number = max(l.number, 1)
		return nil, text
	}
	if err == nil {
		l.rest = bytes.TrimPrefix(l.rest, []byte("\ufeff"))
	}
	for err == nil && len(bytes.Trim(l.rest, " \t,;\n")) == 0 {
		err = l.next()
	}
	return l.rest, err
}

// buffered is what has been read of the file and not been left behind.
func (l *lines) buffered() []byte {
	data, _ := l.in.Peek(l.in.Buffered()) // no more than there is: no error
	return data
}

// next makes the next line the current one; at the end of the file it gives
// io.EOF.
func (l *lines) next() error {
	if _, err := l.in.Discard(l.used); err != nil {
		return err
	}
	l.used, l.rest = 0, nil
	for {
		data := l.buffered()
		if length, after := l.cut(data, false); after > 0 {
			return l.take(data, length, after)
		}
		_, err := l.in.Peek(len(data) + 1)
		switch {
		case err == nil:
		case errors.Is(err, bufio.ErrBufferFull):
			return l.tooLong()
		case err == io.EOF && len(data) > 0:
			length, after := l.cut(data, true)
			return l.take(data, length, after)
		default:
			return err
		}
	}
}

func (l *lines) tooLong() error {
	l.number++
	return errLongLine
}

// cut finds the first line end: the length of the line before it and where the
// next begins; 0, 0 where more of the file must be read to tell. At the end of
// the file the rest is a line. The line end seen last is looked for first, or a
// file of CRs would be searched to its end for an LF at each line.
func (l *lines) cut(data []byte, eof bool) (length, after int) {
	i := indexOrLen(data, l.end)
	i = indexOrLen(data[:i], '\n'+'\r'-l.end)
	switch {
	case i == len(data) && eof:
		return i, i
	case i == len(data):
		return 0, 0
	case data[i] == '\n':
		l.end = '\n'
		return i, i + 1
	case i+1 < len(data) && data[i+1] == '\n':
		return i, i + 2
	case i+1 < len(data) || eof:
		l.end = '\r'
		return i, i + 1
	}
	return 0, 0 // whether an LF follows the CR
}

func indexOrLen(data []byte, c byte) int {
	if i := bytes.IndexByte(data, c); i >= 0 {
		return i
	}
	return len(data)
}

// take makes data[:length] the current line.
func (l *lines) take(data []byte, length, after int) error {
	if length > longestLine {
		return l.tooLong()
	}
	l.number++
	l.used = after
	line := data[:length]
	quotes := bytes.Count(line, []byte{'"'})
	l.broken = quotes%2 == 1
	l.plain = quotes == 0 || l.broken
	if l.broken {
		l.quoted = line[0] == '"'
		blank(line, '"')
	}
	if after > length {
		data[length] = '\n'
		line = data[:length+1]
	}
	l.rest = line
	return nil
}

// cells hands out the current line, or the next one, as cells where it needs
// no CSV reader to part them: RFC 4180 gives a mark no other meaning in a line
// without quotes. Like that reader it passes over empty lines.
func (l *lines) cells(to []string, mark byte) (cells []string, ok bool, err error) {
	for len(l.rest) == 0 || l.rest[0] == '\n' {
		if err := l.next(); err != nil {
			return nil, false, err
		}
	}
	if !l.plain {
		return nil, false, nil
	}
	text := strings.TrimSuffix(string(l.rest), "\n")
	l.rest = nil
	return split(to, text, mark), true, nil
}

// split appends the parts of text between the marks.
func split(to []string, text string, mark byte) []string {
	from := 0
	for i := range len(text) {
		if text[i] == mark {
			to = append(to, text[from:i])
			from = i + 1
		}
	}
	return append(to, text[from:])
}

// blank puts a space for every c.
func blank(line []byte, c byte) {
	for i := range line {
		if line[i] == c {
			line[i] = ' '
		}
	}
}

// sniff refuses what begins like no text.
func sniff(data []byte) error {
	data = data[:min(len(data), 512)]
	for _, magic := range []string{"PK\x03\x04", "PK\x05\x06", "\xd0\xcf\x11\xe0"} {
		if bytes.HasPrefix(data, []byte(magic)) {
			return errWorkbook
		}
	}
	if bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff")) {
		return errUTF16
	}
	var nuls [2]int
	for i, c := range data {
		if c == 0 {
			nuls[i%2]++
		}
	}
	switch few, many := min(nuls[0], nuls[1]), max(nuls[0], nuls[1]); {
	case many == 0:
		return nil
	case few == 0 && many > len(data)/4:
		return errUTF16 // every other byte of Latin text
	}
	return errBinary
}

// separators are the marks that may stand between cells, with their plurals.
var separators = []struct {
	mark byte
	name string
}{{'\t', "tabs"}, {';', "semicolons"}, {',', "commas"}}

// separator is the mark that stands most often in the header outside quotes,
// and a comma where there is none.
func separator(header []byte) byte {
	best, most := byte(','), 0
	for _, s := range separators {
		count, inside := 0, false
		for _, c := range header {
			if c == '"' {
				inside = !inside
			}
			if c == s.mark && !inside {
				count++
			}
		}
		if count > most {
			best, most = s.mark, count
		}
	}
	return best
}

// plural names a separator: "semicolons".
func plural(mark byte) string {
	for _, s := range separators {
		if s.mark == mark {
			return s.name
		}
	}
	return "commas"
}

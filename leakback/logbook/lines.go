package logbook

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"unicode/utf8"
)

// ImportError is a line that is no line of an export, or of a list of heads.
type ImportError struct {
	// Line is its number, from 1.
	Line int
	// TestID and Seq are the event, where it got that far.
	TestID string
	Seq    int64
	// Expected is what should have been there.
	Expected string
}

// Error is one line.
func (e *ImportError) Error() string {
	if e.TestID != "" {
		return fmt.Sprintf("line %d, test %.40q, event %d: expected %s", e.Line, e.TestID, e.Seq, e.Expected)
	}
	return fmt.Sprintf("line %d: expected %s", e.Line, e.Expected)
}

// maxLine is the longest line: six texts of maxText, each byte escaped.
const maxLine = 6*6*maxText + 4096

// lineReader reads lines of JSON that it does not trust.
type lineReader struct {
	in   *bufio.Reader
	what string    // that is read
	most int       // bytes a line
	sum  hash.Hash // of the lines before the current one
	line int
}

func newLineReader(r io.Reader, what string, most int) *lineReader {
	return &lineReader{in: bufio.NewReaderSize(r, 1<<16), what: what, most: most, sum: sha256.New()}
}

func (l *lineReader) fault(format string, args ...any) *ImportError {
	return &ImportError{Line: l.line, Expected: fmt.Sprintf(format, args...)}
}

// isFormat refuses what another program, or a newer one, wrote.
func (l *lineReader) isFormat(is, want string, version, known int) error {
	if is != want {
		return l.fault("the first line of %s, with the format %q", l.what, want)
	}
	if version != known {
		return l.fault("version %d of the format, not %d: a newer version of the program wrote this", known, version)
	}
	return nil
}

// missing says what the last line should have been.
func (l *lineReader) missing(want footer) error {
	return l.fault("%d tests, %d events and the digest %s, which is what stands before: lines are missing or were changed",
		want.Tests, want.Events, want.SHA256)
}

// isEnd refuses what follows the last line.
func (l *lineReader) isEnd() error {
	switch _, err := l.in.ReadByte(); {
	case err == nil:
		return l.fault("nothing after the last line of %s", l.what)
	case !errors.Is(err, io.EOF):
		return err
	}
	return nil
}

// next is the next line, with its end.
func (l *lineReader) next() ([]byte, error) {
	l.line++
	var line []byte
	for {
		part, err := l.in.ReadSlice('\n')
		if len(line)+len(part) > l.most {
			return nil, l.fault("at most %d bytes", l.most)
		}
		line = append(line, part...)
		switch {
		case err == nil:
			return line, nil
		case errors.Is(err, io.EOF):
			return nil, l.fault("the last line of %s: the file was cut off", l.what)
		case !errors.Is(err, bufio.ErrBufferFull):
			return nil, err
		}
	}
}

// decode reads a line that holds one object with the known names, no other ones.
func (l *lineReader) decode(line []byte, to any) error {
	if !utf8.Valid(line) {
		return l.fault("text in UTF-8")
	}
	d := json.NewDecoder(bytes.NewReader(line))
	d.DisallowUnknownFields()
	if err := d.Decode(to); err != nil {
		return l.fault("a line of %s: %.200v", l.what, err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return l.fault("one object a line")
	}
	return nil
}

// object reads a line, which counts in the digest from then on.
func (l *lineReader) object(to any) error {
	line, err := l.next()
	if err != nil {
		return err
	}
	l.sum.Write(line)
	return l.decode(line, to)
}

// lines writes JSON, a value a line, and hashes what it wrote.
type lines struct {
	out     *bufio.Writer
	sum     hash.Hash
	encoder *json.Encoder
}

func newLines(w io.Writer) *lines {
	l := &lines{out: bufio.NewWriterSize(w, 1<<16), sum: sha256.New()}
	l.encoder = json.NewEncoder(io.MultiWriter(l.out, l.sum))
	l.encoder.SetEscapeHTML(false)
	return l
}

// writeError is one of the writer, which the database has nothing to do with.
type writeError struct{ error }

func (e writeError) Unwrap() error { return e.error }

func (l *lines) write(v any) error {
	if err := l.encoder.Encode(v); err != nil {
		return writeError{err}
	}
	return nil
}

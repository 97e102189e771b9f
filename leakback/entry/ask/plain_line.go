package ask

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"
)

// longestLine is how many bytes an answer may have.
const longestLine = 64 << 10

// line is a line of the input, or why it cannot be an answer.
type line struct {
	text    string
	refused *Refusal
	err     error
}

// lineReader reads lines when they are asked for, in a goroutine, so that nobody
// has to wait for one. It reads nothing beyond them.
type lineReader struct {
	in    io.ByteReader
	next  chan line
	begun bool // a line was read
}

func newLineReader(in io.Reader) *lineReader {
	bytes, ok := in.(io.ByteReader)
	if !ok {
		bytes = &byteReader{in: in}
	}
	return &lineReader{in: bytes, next: make(chan line, 1)}
}

// byteReader reads no more than it is asked for.
type byteReader struct {
	in  io.Reader
	one [1]byte
}

// ReadByte reads the next byte.
func (r *byteReader) ReadByte() (byte, error) {
	_, err := io.ReadFull(r.in, r.one[:])
	return r.one[0], err
}

// ask has the next line read. It comes on the channel once, and is to be taken
// before another is asked for.
func (r *lineReader) ask() <-chan line {
	go func() { r.next <- r.read() }()
	return r.next
}

// read reads one line to its end, and keeps no more of it than an answer may
// have.
func (r *lineReader) read() line {
	var text []byte
	long := false
	for {
		c, err := r.in.ReadByte()
		switch {
		case errors.Is(err, io.EOF) && len(text) > 0:
			return line{refused: &Refusal{string(text), "the end of the line: the input ended within it"}}
		case errors.Is(err, io.EOF):
			return line{err: ErrLeft}
		case err != nil:
			return line{err: fmt.Errorf("the answers cannot be read: %w", err)}
		case c == '\n':
			return r.judge(string(text), long)
		case len(text) <= longestLine+len("\r"):
			text = append(text, c)
		default:
			long = true
		}
	}
}

// judge says whether a line can be an answer.
func (r *lineReader) judge(text string, long bool) line {
	text = strings.TrimSuffix(text, "\r")
	if !r.begun {
		text = strings.TrimPrefix(text, "\ufeff")
	}
	r.begun = true
	switch {
	case long || len(text) > longestLine:
		return line{refused: &Refusal{"", "at most 65,536 bytes in a line"}}
	case !utf8.ValidString(text):
		return line{refused: &Refusal{text, "text in UTF-8"}}
	case strings.ContainsFunc(text, unicode.IsControl):
		return line{refused: &Refusal{text, "text without control characters"}}
	}
	return line{text: text}
}

// await waits for the next line, while a clock runs beside it.
func (p *plain) await(ctx context.Context, q *Question) (line, error) {
	next := p.in.ask()
	for {
		if err := ctx.Err(); err != nil {
			return line{}, err
		}
		select {
		case got := <-next:
			return got, got.err
		case <-ctx.Done():
			return line{}, ctx.Err()
		case <-p.tick(q):
		}
		if p.to.err != nil {
			return line{}, nil
		}
	}
}

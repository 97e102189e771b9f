// Package refused says in plain words, and in the same ones on every system, why
// the system refused a file. Whose file it was and what to do about it is left to
// those who asked for it.
package refused

import (
	"errors"
	"io/fs"
	"os"
	"strings"
	"syscall"
	"unicode"
	"unicode/utf8"
)

// Plainly is an error of the system without the call and the file that it names,
// in plain words; errors.Is finds the cause in it. Other errors stay as they are.
func Plainly(err error) error {
	cause := err
	var (
		path *fs.PathError
		link *os.LinkError
		call *os.SyscallError
	)
	switch {
	case errors.As(err, &path):
		cause = path.Err
	case errors.As(err, &link):
		cause = link.Err
	}
	if errors.As(cause, &call) {
		cause = call.Err
	}
	if words := words(cause); words != "" {
		return &plain{words, cause}
	}
	return cause
}

// plain is a cause in plain words.
type plain struct {
	words string
	cause error
}

func (p *plain) Error() string { return p.words }

func (p *plain) Unwrap() error { return p.cause }

// words are what to call a cause; "" where it has words of its own.
func words(cause error) string {
	var number syscall.Errno
	isNumber := errors.As(cause, &number)
	if said, ok := numbered[number]; ok && isNumber {
		return said
	}
	for _, kind := range kinds {
		if errors.Is(cause, kind.is) {
			return kind.words
		}
	}
	if isNumber {
		return message(number.Error())
	}
	return ""
}

// kinds are the causes that Go tells apart on every system.
var kinds = []struct {
	is    error
	words string
}{
	{fs.ErrNotExist, "no such file or folder"},
	{fs.ErrPermission, "permission denied"},
	{fs.ErrExist, "already exists"},
}

// message is what the system itself says, in the form of our messages: Windows
// begins with a capital letter and ends with a full stop.
func message(own string) string {
	own = strings.TrimSuffix(strings.TrimSpace(own), ".")
	if own == "" {
		return ""
	}
	first, size := utf8.DecodeRuneInString(own)
	if second, _ := utf8.DecodeRuneInString(own[size:]); unicode.IsUpper(second) {
		return own // an abbreviation
	}
	return string(unicode.ToLower(first)) + own[size:]
}

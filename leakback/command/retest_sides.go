package command

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode"

	"leakback/leakback"
	"leakback/limits/quantity"
)

// soundSides refuses tests that are no before and after: one that is named twice,
// one that is of another vehicle or engine than the first, and one that is older
// than the test before it.
func (r *retest) soundSides(args []string, sides []side) error {
	for i := range sides {
		for j := range sides[:i] {
			if sides[i].sameAs(&sides[j], args[i], args[j]) {
				return fmt.Errorf("%s: expected another test than the one before, not the same twice", sides[i].label)
			}
		}
		if i == 0 {
			continue
		}
		if err := r.oneVehicle(&sides[0], &sides[i]); err != nil {
			return err
		}
		if err := inOrder(r.env, &sides[i-1], &sides[i], args[i-1], args[i]); err != nil {
			return err
		}
	}
	return nil
}

// sameAs says that two arguments name one test of the logbook, or one file.
func (s *side) sameAs(other *side, arg, otherArg string) bool {
	if s.logged != nil && other.logged != nil {
		return s.logged.entry.ID == other.logged.entry.ID
	}
	return s.logged == nil && other.logged == nil && filepath.Clean(arg) == filepath.Clean(otherArg)
}

// identities are what tells one engine from another of its kind, with the flag
// that says it of all tests.
var identities = []struct {
	name, flag string
	of         func(*leakback.Job) string
}{
	{"VIN", "vin", func(j *leakback.Job) string { return j.VIN }},
	{"engine serial number", "engine-serial", func(j *leakback.Job) string { return j.EngineSerial }},
	{"vehicle", "vehicle", func(j *leakback.Job) string { return j.Vehicle }},
}

// oneVehicle refuses tests that name different vehicles or engines, unless the
// flags say which it is. What is not written down contradicts nothing.
func (r *retest) oneVehicle(first, s *side) error {
	for _, identity := range identities {
		a, b := identity.of(&first.page.Job), identity.of(&s.page.Job)
		if a == "" || b == "" || lettersAndDigits(a) == lettersAndDigits(b) || identity.of(&r.o.job) != "" {
			continue
		}
		return &hintedError{fmt.Errorf("%s: %s %s: expected that of %s, %s", s.label, identity.name, quantity.Quote(b), first.label, quantity.Quote(a)),
			fmt.Sprintf("where both are one engine all the same, say which with --%s", identity.flag)}
	}
	return nil
}

// lettersAndDigits are what a name is told by: nobody types its case, its spaces
// and its hyphens the same way twice.
func lettersAndDigits(name string) string {
	return strings.Map(func(c rune) rune {
		if !unicode.IsLetter(c) && !unicode.IsDigit(c) {
			return -1
		}
		return unicode.ToLower(c)
	}, name)
}

// inOrder refuses a test of the logbook that is older than the one in front of it.
func inOrder(env *environment, before, after *side, beforeArg, afterArg string) error {
	if before.logged == nil || after.logged == nil {
		return nil
	}
	first := startedUS(env, &before.logged.entry, before.logged.record)
	last := startedUS(env, &after.logged.entry, after.logged.record)
	if len(after.page.Job.Tested) == len(time.DateOnly) { // a day without a time is as late as it can be
		last = time.UnixMicro(last).AddDate(0, 0, 1).UnixMicro()
	}
	if last >= first {
		return nil
	}
	return &hintedError{fmt.Errorf("%s is older than %s: expected the earlier test first", after.label, before.label),
		fmt.Sprintf("turn them round: leakback retest %s %s", afterArg, beforeArg)}
}

// noFileEither says of what looks like a file's name that there is no such file,
// and leaves every other error as it is.
func noFileEither(arg string, err error) error {
	if _, failed := os.Stat(arg); !strings.ContainsAny(arg, `./\`) || !errors.Is(failed, fs.ErrNotExist) {
		return err
	}
	return &fileError{fmt.Errorf("%s: no such file, and no test of the logbook", quantity.Name(arg))}
}

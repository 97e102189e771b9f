package command

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"leakback/leakback/terminal"
	"leakback/limits/quantity"
)

// wholeValue is a whole number given as a flag, in digits alone: what is written
// for programmers, such as 0x6 or 010, is taken for a slip or for the number that
// people read. It is a pflag.Value.
type wholeValue int

// addWhole adds a flag for a whole number; what it may be is for the command to
// say.
func addWhole(f *pflag.FlagSet, to *int, name string, usual int, usage string) {
	*to = usual
	f.Var((*wholeValue)(to), name, usage)
}

// Set reads digits, with a sign or without.
func (v *wholeValue) Set(text string) error {
	n, err := strconv.Atoi(text)
	if err != nil {
		return fmt.Errorf("%s: expected a whole number", quantity.Quote(text))
	}
	*v = wholeValue(n)
	return nil
}

// String is the number; zero is nothing that was given.
func (v *wholeValue) String() string { return strconv.Itoa(int(*v)) }

// Type names the kind of value in the help.
func (v *wholeValue) Type() string { return "number" }

// wholesValue are whole numbers, each behind a flag of its own or with commas
// between. It is a pflag.Value.
type wholesValue []int

// Set adds what is said to what was said before.
func (v *wholesValue) Set(text string) error {
	for part := range strings.SplitSeq(text, ",") {
		var n wholeValue
		if err := n.Set(strings.TrimSpace(part)); err != nil {
			return err
		}
		*v = append(*v, int(n))
	}
	return nil
}

// String is the numbers with commas between.
func (v *wholesValue) String() string { return strings.Trim(fmt.Sprint(*v), "[]") }

// Type names the kind of value in the help.
func (v *wholesValue) Type() string { return "number" }

// fileValue is the name of a file, or a logbook's address, given as a flag. Where
// nothing is given with the flag nothing would be written, or another file be read,
// without a word. It is a pflag.Value.
type fileValue string

// addFile adds a flag for the name of a file; short may be "".
func addFile(f *pflag.FlagSet, to *string, name, short, usage string) {
	f.VarP((*fileValue)(to), name, short, usage)
}

// Set takes any name but none.
func (v *fileValue) Set(text string) error {
	if strings.TrimSpace(text) == "" {
		return fmt.Errorf("%s: expected the name of a file", quantity.Quote(text))
	}
	*v = fileValue(text)
	return nil
}

// String is the name.
func (v *fileValue) String() string { return string(*v) }

// Type names the kind of value in the help.
func (v *fileValue) Type() string { return "file" }

// flagFault says what is wrong with a flag, in a line of bounded length, and where
// it is explained.
func flagFault(c *cobra.Command, err error) error {
	var value *pflag.InvalidValueError
	var unknown *pflag.NotExistError
	var syntax *pflag.InvalidSyntaxError
	meant := ""
	switch {
	case errors.As(err, &value) && value.GetFlag().Value.Type() == "bool":
		err = fmt.Errorf("--%s: %s: expected true, false or the flag alone", value.GetFlag().Name, quantity.Quote(value.GetValue()))
	case errors.As(err, &value):
		err = fmt.Errorf("--%s: %w", value.GetFlag().Name, errors.Unwrap(value))
	case errors.As(err, &syntax):
		err = fmt.Errorf("%s: expected a flag such as --help", quantity.Quote(syntax.GetSpecifiedFlag()))
	case errors.As(err, &unknown) && unknown.GetSpecifiedShortnames() != "":
		err = fmt.Errorf("unknown flag: -%s", shortened(unknown.GetSpecifiedShortnames()))
	case errors.As(err, &unknown):
		name := unknown.GetSpecifiedName()
		if meant = flagMeant(c, name); meant != "" {
			meant = "--" + meant
		}
		err = fmt.Errorf("unknown flag: --%s", shortened(name))
	}
	return &hintedError{errors.New(terminal.OneLine(err.Error())), helpHint(c, meant)} // a flag may be typed in two lines
}

// helpHint tells where a command is explained, and what was meant where something
// was ("" else).
func helpHint(c *cobra.Command, meant string) string {
	hint := "see " + c.CommandPath() + " --help"
	if meant == "" {
		return hint
	}
	return "did you mean " + meant + "? Else " + hint
}

// longestName is the most that a flag or a command may have to be looked for: the
// longest there is, and a slip or two.
const longestName = 32

// shortened is a name cut where no name goes on.
func shortened(name string) string {
	if r := []rune(name[:min(len(name), 4*longestName)]); len(r) > longestName {
		return string(r[:longestName]) + "…"
	}
	return name
}

// flagMeant is the flag nearest to one that there is not; "" where none is near.
func flagMeant(c *cobra.Command, name string) string {
	var names []string
	c.Flags().VisitAll(func(f *pflag.Flag) {
		if !f.Hidden {
			names = append(names, f.Name)
		}
	})
	return nearest(name, names)
}

// onlyCommands wants nothing behind a command that is there for those below it,
// and says which was meant.
func onlyCommands(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	var names []string
	for _, below := range c.Commands() {
		if below.IsAvailableCommand() {
			names = append(names, below.Name())
		}
	}
	meant := nearest(args[0], names)
	if meant != "" {
		meant = c.CommandPath() + " " + meant
	}
	return &hintedError{fmt.Errorf("unknown command %s for %q", quantity.Quote(args[0]), c.CommandPath()), helpHint(c, meant)}
}

// nearest is the name that the fewest slips lead to: two at most, and fewer than
// half of what was typed; "" where there is none.
func nearest(typed string, names []string) string {
	if len(typed) > longestName {
		return ""
	}
	typed = strings.ToLower(typed)
	meant, fewest := "", min(2, (len(typed)-1)/2)+1
	for _, name := range names {
		if n := slips(typed, name); n < fewest {
			meant, fewest = name, n
		}
	}
	return meant
}

// slips is how many letters are wrong, left out, put in or in one another's place
// between two words: the distance of Damerau and Levenshtein, of adjacent letters
// that are turned round once.
func slips(a, b string) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		before, last, row = last, row, before
		row[0] = i + 1
		for j := range len(b) {
			wrong := last[j]
			if a[i] != b[j] {
				wrong++
			}
			row[j+1] = min(wrong, last[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && a[i] == b[j-1] && a[i-1] == b[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
	}
	return row[len(b)]
}

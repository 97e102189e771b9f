package command

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
)

// tools are what scripts need beside the program, as programs of their own to exec:
// a shell is not there on every system. Each prints what it makes.
var tools = map[string]func(args []string) ([]byte, error){
	"lines":   func(a []string) ([]byte, error) { return part(a[1], a[0], bytes.SplitAfter, "\n") },
	"bytes":   func(a []string) ([]byte, error) { return part(a[1], a[0], bytes.SplitAfter, "") },
	"columns": columns,
	"with":    func(a []string) ([]byte, error) { return matching(a[0], a[1], true) },
	"without": func(a []string) ([]byte, error) { return matching(a[0], a[1], false) },
	"swap":    swap,
	"sum":     sum,
	"names":   names,
	"tests":   tests,
}

// tool is the program of one of the tools.
func tool(do func([]string) ([]byte, error)) func() {
	return func() {
		out, err := do(os.Args[1:])
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		_, _ = os.Stdout.Write(out)
	}
}

// part is the first so many pieces of a file.
func part(file, count string, cut func(text, mark []byte) [][]byte, mark string) ([]byte, error) {
	n, err := strconv.Atoi(count)
	if err != nil {
		return nil, err
	}
	text, err := os.ReadFile(file)
	pieces := cut(text, []byte(mark))
	return bytes.Join(pieces[:min(n, len(pieces))], nil), err
}

// columns N FILE: the first N columns of a CSV file without quotes.
func columns(a []string) ([]byte, error) {
	n, err := strconv.Atoi(a[0])
	if err != nil {
		return nil, err
	}
	text, err := os.ReadFile(a[1])
	var out bytes.Buffer
	for line := range strings.Lines(string(text)) {
		cells := strings.Split(strings.TrimSuffix(line, "\n"), ",")
		fmt.Fprintln(&out, strings.Join(cells[:min(n, len(cells))], ","))
	}
	return out.Bytes(), err
}

// matching are the lines of a file that hold a text, or those that do not.
func matching(text, file string, hold bool) ([]byte, error) {
	all, err := os.ReadFile(file)
	var out []byte
	for line := range bytes.Lines(all) {
		if bytes.Contains(line, []byte(text)) == hold {
			out = append(out, line...)
		}
	}
	return out, err
}

// swap OLD NEW FILE: the file with every OLD as NEW.
func swap(a []string) ([]byte, error) {
	text, err := os.ReadFile(a[2])
	return bytes.ReplaceAll(text, []byte(a[0]), []byte(a[1])), err
}

// sum PATTERN: names and digests of the files.
func sum(a []string) ([]byte, error) {
	files, err := filepath.Glob(a[0])
	var out bytes.Buffer
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(&out, "%s %x\n", filepath.Base(file), sha256.Sum256(data))
	}
	return out.Bytes(), err
}

// names: what the folder holds, hidden files too.
func names([]string) ([]byte, error) {
	entries, err := os.ReadDir(".")
	var out bytes.Buffer
	for _, entry := range entries {
		fmt.Fprintln(&out, entry.Name())
	}
	return out.Bytes(), err
}

// tests N: a readings file of so many tests of four cylinders.
func tests(a []string) ([]byte, error) {
	n, err := strconv.Atoi(a[0])
	out := bytes.NewBufferString("test_id,cylinder,volume_ml,interval_s\n")
	for i := range n {
		for c := 1; c <= 4; c++ {
			fmt.Fprintf(out, "full-%d,%d,2%d,60\n", i+1, c, c)
		}
	}
	return out.Bytes(), err
}

// filled runs the program with the arguments of a file, one a line, in which $1, $2
// stand for what follows: filled FILE VALUE...
func filled(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: filled FILE VALUE...")
	}
	text := ts.ReadFile(args[0])
	for i, value := range args[1:] {
		text = strings.ReplaceAll(text, "$"+strconv.Itoa(i+1), value)
	}
	ts.Check(ts.Exec("leakback", strings.Split(strings.TrimSuffix(text, "\n"), "\n")...))
}

package command

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestReadme runs the commands that the README shows with their output, in its
// order and in one folder, and compares the two. Commands without output shown
// (the tests themselves among them) are not run, only those of the program.
func TestReadme(t *testing.T) {
	top, err := filepath.Abs(root)
	require.NoError(t, err)
	page := filepath.Join(top, "README.md")
	text, err := os.ReadFile(page)
	require.NoError(t, err)
	home := t.TempDir()
	t.Chdir(home)
	require.NoError(t, os.CopyFS("testdata/demo", os.DirFS(filepath.Join(top, "testdata", "demo"))))

	parts := strings.Split(string(text), "```console\n")
	require.Greater(t, len(parts), 1, "the README shows at least one run")
	ran := 0
	for i, part := range parts[1:] {
		block, rest, ok := strings.Cut(part, "```")
		require.True(t, ok, "a block that does not end")
		said := replay(t, home, block)
		ran += strings.Count(said, "$ ")
		if !*update {
			assert.Equal(t, block, said)
		}
		parts[i+1] = said + "```" + rest
	}
	require.Positive(t, ran)
	if *update {
		require.NoError(t, os.WriteFile(page, []byte(strings.Join(parts, "```console\n")), 0o644))
	}
}

// replay gives the block as it should read: each command of the program with
// its results and then its messages.
func replay(t *testing.T, home, block string) string {
	var said strings.Builder
	for line := range strings.SplitAfterSeq(block, "\n") {
		command, ok := strings.CutPrefix(line, "$ ")
		if !ok {
			continue
		}
		said.WriteString(line)
		args := words(t, strings.TrimSpace(command))
		switch {
		case len(args) > 2 && args[0] == "go" && args[1] == "run" && args[2] == ".":
			args = args[3:]
		case args[0] == "leakback":
			args = args[1:]
		default:
			t.Fatalf("%q: expected go run . or leakback", command)
		}
		var stdout, stderr bytes.Buffer
		env := &environment{
			stdin: strings.NewReader(""), stdout: &stdout, stderr: &stderr,
			getenv:  func(name string) string { return map[string]string{"HOME": home, "LANG": "C.UTF-8"}[name] },
			logbook: filepath.Join(home, ".local", "share", "leakback", "logbook.db"),
			screen:  screen{width: usualWidth, unicode: true},
			now:     func() time.Time { return time.Date(2026, 3, 2, 10, 0, 0, 0, time.UTC) }, place: time.UTC,
		}
		run(context.Background(), env, args)
		said.WriteString(stdout.String() + stderr.String())
	}
	return said.String()
}

// words splits a command as a shell does, double quotes included.
func words(t *testing.T, command string) []string {
	var list []string
	for i, part := range strings.Split(command, `"`) {
		if i%2 == 1 {
			list = append(list, part)
			continue
		}
		list = append(list, strings.Fields(part)...)
	}
	require.NotEmpty(t, list)
	return list
}

package command

import (
	"archive/zip"
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/leakback/entry/recorded"
	"leakback/leakback/logbook"
	"leakback/leakback/ooxml"
	"leakback/limits"
)

// bay is a workshop with a logbook of its own.
type bay struct {
	t    testing.TB
	dir  string
	zone *time.Location
}

func newBay(t testing.TB) *bay { return &bay{t, t.TempDir(), time.UTC} }

func (b *bay) path(name string) string { return filepath.Join(b.dir, name) }

// run runs the program and gives its exit code and what it printed.
func (b *bay) run(args ...string) (code int, stdout, stderr string) {
	b.t.Helper()
	var out, messages bytes.Buffer
	env := &environment{stdin: strings.NewReader(""), stdout: &out, stderr: &messages, getenv: func(string) string { return "" },
		logbook: b.path("logbook.db"), place: b.zone, screen: paper}
	code = run(context.Background(), env, args)
	return code, strings.ReplaceAll(out.String(), b.dir+string(filepath.Separator), ""),
		strings.ReplaceAll(messages.String(), b.dir+string(filepath.Separator), "")
}

func (b *bay) does(args ...string) {
	b.t.Helper()
	code, _, stderr := b.run(args...)
	require.Zero(b.t, code, stderr)
}

// same requires that a report tells the logbook's story, and gives what is said.
func (b *bay) same(report string) string {
	b.t.Helper()
	code, stdout, stderr := b.run("logbook", "verify", b.path(report))
	assert.Zero(b.t, code, "%s%s", stdout, stderr)
	assert.Empty(b.t, stderr)
	assert.Contains(b.t, stdout, report+": tells the same story as test ")
	return stdout
}

// other requires that it tells another one, and gives what is said.
func (b *bay) other(report string) string {
	b.t.Helper()
	code, stdout, stderr := b.run("logbook", "verify", b.path(report))
	assert.Equal(b.t, exitFile, code, "%s%s", stdout, stderr)
	assert.Contains(b.t, stderr, "leakback: 1 of 1 report: another story than the logbook's\n")
	assert.NotContains(b.t, stdout, "same story")
	return stdout
}

// records enters a test of two cylinders reading by reading, one of them
// corrected, from a moment on.
func (b *bay) records(from time.Time) string {
	b.t.Helper()
	r := entry.NewReader(strings.NewReader("cylinder,volume_ml\n1,21\n2,22\n"), "two.csv", "two",
		func() entry.Defaults { d := entry.NoDefaults(); d.IntervalS = 60; return d }())
	test, err := r.Next()
	require.NoError(b.t, err)
	sheet, err := limits.Find("", "", func(string) string { return "" }, "")
	require.NoError(b.t, err)
	events := append([]leakback.Event{{Key: leakback.Key{Kind: leakback.KindOpen}, Value: version(), Reason: "bay 1"}},
		recorded.Events(test, leakback.Job{Workshop: "Invented workshop", Customer: "=Invented & Sons"}, sheet)...)
	for _, e := range events {
		if e.Kind == leakback.KindReading && e.Cylinder == 2 {
			e.Value, e.Reason = "22.5", "misread"
			events = append(events, e)
		}
	}
	events = append(events, leakback.Event{Key: leakback.Key{Kind: leakback.KindEnd}, Value: "done"})
	for i := range events {
		events[i].AtUS = from.Add(time.Duration(i) * 7 * time.Second).UnixMicro()
		events[i].Person = "Kim Invented"
	}
	id := logbook.NewTestID()
	b.append(id, events)
	return id
}

func (b *bay) append(id string, events []leakback.Event) {
	b.t.Helper()
	book, err := logbook.Open(b.t.Context(), b.path("logbook.db"), logbook.Options{})
	require.NoError(b.t, err)
	defer book.Close()
	_, err = book.Append(b.t.Context(), id, events)
	require.NoError(b.t, err)
}

// march is a moment of a winter, and april of the summer after it.
var (
	march = time.Date(2026, 3, 20, 9, 41, 12, 345678000, time.UTC)
	april = time.Date(2026, 4, 2, 15, 0, 0, 0, time.UTC)
)

// reportParts are the parts of a workbook.
func reportParts(t testing.TB, path string) []ooxml.Part {
	t.Helper()
	r, err := openReport(path)
	require.NoError(t, err)
	return r.file.Parts
}

// rewritten is the file of parts, some of them changed; one that changes to
// nothing is left out.
func rewritten(t testing.TB, parts []ooxml.Part, change func(name, content string) string) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, p := range parts {
		content := change(p.Name, string(p.Content))
		if content == "" {
			continue
		}
		w, err := z.CreateHeader(&zip.FileHeader{Name: p.Name, Method: zip.Store})
		require.NoError(t, err)
		_, err = io.WriteString(w, content)
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	return out.Bytes()
}

// changed writes a report with some text of one part changed.
func (b *bay) changed(report, name, part, before, after string) {
	b.t.Helper()
	found := false
	data := rewritten(b.t, reportParts(b.t, b.path(report)), func(is, content string) string {
		if is != part {
			return content
		}
		found = strings.Contains(content, before)
		return strings.Replace(content, before, after, 1)
	})
	require.True(b.t, found, "%s: %s", part, before)
	require.NoError(b.t, os.WriteFile(b.path(name), data, 0o600))
}

// edited writes a report that was changed with excelize.
func (b *bay) edited(report, name string, edit func(f *excelize.File)) {
	b.t.Helper()
	f, err := excelize.OpenFile(b.path(report))
	require.NoError(b.t, err)
	defer f.Close()
	edit(f)
	require.NoError(b.t, f.SaveAs(b.path(name)))
}

func read(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	return data
}

package command

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync/atomic"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/leakback/entry/form"
	"leakback/limits"
	"leakback/limits/quantity"
)

// job is one test with the limits sheet to judge it by.
type job struct {
	test  *leakback.Test
	sheet *limits.Sheet
	// info is what is known of the work order.
	info leakback.Job
	// more is what the input says beside test and work order.
	more []leakback.Event
	// file names the input in messages; "" for --volumes.
	file string
	// digest gives the digest of the input, once all of it has been read.
	digest func() string
}

// blame puts the input's name in front of what is wrong with a test.
func (j *job) blame(err error) error {
	if j.file == "" {
		return err
	}
	return fmt.Errorf("%s: %w", j.file, err)
}

// source gives the tests of all inputs in their order.
type source struct {
	c     *check
	files []string // that are not open yet
	ahead []job    // read, and not given yet

	in    io.Closer // the file that is open; nil where none is
	tests testReader
	job   job // what the jobs of the open file have in common

	// size is how long all inputs are in bytes, 0 where that is not known; read
	// is how much of it has been read.
	size int64
	read atomic.Int64
}

func (c *check) newSource(files []string) (*source, error) {
	s := &source{c: c, files: files, size: sizeOf(files)}
	if c.o.volumes == "" {
		return s, nil
	}
	d, err := c.defaults()
	if err != nil {
		return nil, err
	}
	t, err := entry.Volumes(c.o.volumes, d)
	if err != nil {
		return nil, err
	}
	j, err := s.give(t, job{digest: digestOf(strings.NewReader(c.o.volumes))})
	s.ahead = []job{j}
	return s, err
}

// sizeOf is how long the files are together; 0 where one cannot tell.
func sizeOf(files []string) (size int64) {
	for _, name := range files {
		info, err := os.Stat(name)
		if name == "-" || err != nil || !info.Mode().IsRegular() {
			return 0
		}
		size += info.Size()
	}
	return size
}

// next is the next test; io.EOF after the last.
func (s *source) next() (job, error) {
	if len(s.ahead) > 0 {
		j := s.ahead[0]
		s.ahead = s.ahead[1:]
		return j, nil
	}
	for {
		if err := s.open(); err != nil {
			return job{}, err
		}
		switch t, err := s.tests.Next(); err {
		case nil:
			return s.give(t, s.job)
		case io.EOF:
			s.close()
		default:
			return job{}, err
		}
	}
}

// give completes a job with its test and the sheet for it.
func (s *source) give(t *leakback.Test, j job) (job, error) {
	sheet, err := s.c.sheetFor(t.Engine)
	if err != nil {
		return job{}, j.blame(err)
	}
	j.test, j.sheet = t, sheet
	j.info = merged(j.info, s.c.o.job)
	return j, nil
}

// merged is what a form says of the work order, under what the flags say.
func merged(form, flags leakback.Job) leakback.Job {
	for _, field := range leakback.JobFields() {
		if said := *flags.Field(field); said != "" {
			*form.Field(field) = said
		}
	}
	return form
}

// alone says whether the first test is the only one. Both stay to be given.
func (s *source) alone() (bool, error) {
	var ahead []job
	for range 2 {
		j, err := s.next()
		if err == io.EOF && len(ahead) == 1 {
			break
		}
		if err != nil {
			return false, err
		}
		ahead = append(ahead, j)
	}
	s.ahead = ahead
	return len(ahead) == 1, nil
}

// onlyTest reads the one test of a file. An error begins with the file's name and
// says what was expected of one that holds none, or more.
func (c *check) onlyTest(name, none, more string) (job, error) {
	src, err := c.newSource([]string{name})
	if err != nil {
		return job{}, err
	}
	defer src.close()
	switch alone, err := src.alone(); {
	case errors.Is(err, io.EOF):
		return job{}, fmt.Errorf("%s: expected %s", quantity.Name(name), none)
	case err != nil:
		return job{}, err
	case !alone:
		return job{}, fmt.Errorf("%s: expected %s", quantity.Name(name), more)
	}
	return src.next()
}

// open opens the next file where none is open; io.EOF where there is none.
func (s *source) open() error {
	if s.in != nil {
		return nil
	}
	if len(s.files) == 0 {
		return io.EOF
	}
	name := s.files[0]
	in, shown, err := s.c.open(name)
	if err != nil {
		return err
	}
	d, err := s.c.defaults()
	if err != nil {
		in.Close()
		return err
	}
	s.files, s.in, s.job = s.files[1:], in, job{file: shown}
	var r io.Reader = &countingReader{in, &s.read}
	if s.c.o.output != "" || s.c.o.log { // only they name the readings
		digest := newDigest(r)
		r, s.job.digest = digest, digest.sum
	}
	start := bufio.NewReader(r)
	if isWorkbook(start) {
		return s.openForm(start, shown, d)
	}
	s.tests = entry.NewReader(start, shown, entry.TestID(name), d)
	return nil
}

// testReader gives tests one after the other, then io.EOF.
type testReader interface {
	Next() (*leakback.Test, error)
}

// isWorkbook says whether a file begins like a packed one, as workbooks do.
func isWorkbook(r *bufio.Reader) bool {
	start, _ := r.Peek(len(packed)) // a shorter file is none
	return string(start) == packed
}

const packed = "PK\x03\x04"

// openForm reads an entry form.
func (s *source) openForm(r io.Reader, shown string, d entry.Defaults) error {
	data, err := io.ReadAll(io.LimitReader(r, form.MostBytes+1))
	if err != nil {
		return &fileError{fmt.Errorf("%s: cannot be read: %w", shown, reason(err))}
	}
	filled, err := form.Read(bytes.NewReader(data), int64(len(data)), shown, d)
	if err != nil {
		return err
	}
	s.job.info, s.tests = filled.Job, &oneTest{filled.Test}
	if filled.BatteryV != "" {
		s.job.more = []leakback.Event{{Key: leakback.Key{Kind: leakback.KindSet, Field: leakback.FieldBatteryV}, Value: filled.BatteryV}}
	}
	return nil
}

// oneTest gives a test that has been read already.
type oneTest struct{ test *leakback.Test }

// Next is the test, and then the end.
func (o *oneTest) Next() (*leakback.Test, error) {
	if o.test == nil {
		return nil, io.EOF
	}
	t := o.test
	o.test = nil
	return t, nil
}

// close closes the file that is open.
func (s *source) close() {
	if s.in != nil {
		s.in.Close()
		s.in = nil
	}
}

// countingReader counts what is read through it.
type countingReader struct {
	io.Reader
	count *atomic.Int64
}

// Read reads and counts.
func (r *countingReader) Read(p []byte) (int, error) {
	n, err := r.Reader.Read(p)
	r.count.Add(int64(n))
	return n, err
}

func (c *check) open(name string) (io.ReadCloser, string, error) {
	if name == "-" {
		return io.NopCloser(c.env.stdin), "stdin", nil
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, "", unread(name, err)
	}
	if info, err := f.Stat(); err == nil && info.IsDir() {
		f.Close()
		return nil, "", &fileError{fmt.Errorf("%s: is a folder; expected a readings file", quantity.Name(name))}
	}
	return f, quantity.Name(name), nil
}

// sheetFor finds, once for each engine, the limits sheet.
func (c *check) sheetFor(engine string) (*limits.Sheet, error) {
	if sheet, ok := c.sheets[engine]; ok {
		return sheet, nil
	}
	sheet, err := c.env.findSheet(engine, c.o.limits)
	if err != nil {
		return nil, err
	}
	c.sheets[engine] = sheet
	return sheet, nil
}

// defaults are what the flags say, with the number of cylinders that their
// sheet has, so that a number beyond it is reported where it stands in the file.
func (c *check) defaults() (entry.Defaults, error) {
	d := c.o.state.defaults()
	d.FitDrift = c.o.drift
	sheet, err := c.sheetFor(d.Engine)
	if err != nil {
		return d, err
	}
	if d.Cylinders != 0 && sheet.Cylinders != 0 && d.Cylinders != sheet.Cylinders {
		return d, otherCount(d.Cylinders, sheet)
	}
	if d.Cylinders == 0 && (c.o.limits != "" || d.Engine != "") {
		d.Cylinders = sheet.Cylinders
	}
	return d, nil
}

// otherCount refuses another number of cylinders than the sheet's.
func otherCount(cylinders int, sheet *limits.Sheet) error {
	return fmt.Errorf("--cylinders: %d: expected %d, as the limits sheet %s has", cylinders, sheet.Cylinders, sheet.Name)
}

package command

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"leakback/leakback/logbook"
	"leakback/leakback/ooxml"
	"leakback/limits/quantity"
	"leakback/report"
)

// reportLimits bound a report that is read at all: 100 KB in most, of which a test
// of many runs makes some megabytes inside.
var reportLimits = ooxml.Limits{
	Bytes: 16 << 20, Unpacked: 64 << 20, Part: 32 << 20, Parts: 500, Depth: 64,
	Sheets: 100, Rows: 100_000, Columns: 1000, Cells: 500_000,
}

// mostDifferences are said of a report.
const mostDifferences = 20

// verification holds reports against a logbook.
type verification struct {
	env  *environment
	book *logbook.Book
	// same and other are how many reports tell the same story, and another one;
	// errs are those of reports that could not be verified.
	same, other int
	errs        []error
}

// verdict is what came of one report.
type verdict struct {
	path string
	// differences are said each on its own line; more is how many there are beside.
	differences []string
	more        int
	// same is what is said of a report without any, and notes go with either.
	same  string
	notes []string
}

func (v *verdict) differ(format string, args ...any) {
	if len(v.differences) == mostDifferences {
		v.more++
		return
	}
	v.differences = append(v.differences, fmt.Sprintf(format, args...))
}

// differs takes what a comparison found.
func (v *verdict) differs(all []ooxml.Difference) {
	for i, d := range all {
		if len(v.differences) == mostDifferences {
			v.more += len(all) - i
			return
		}
		v.differ("%s", differenceSaid(d))
	}
}

func (v *verdict) note(format string, args ...any) {
	v.notes = append(v.notes, fmt.Sprintf(format, args...))
}

// report holds one report against the logbook. An error of its own ends that of
// the report, another one all of it.
func (v *verification) report(ctx context.Context, path string) error {
	r, err := openReport(path)
	var said *verdict
	if err == nil {
		said, err = v.verify(ctx, r)
	}
	switch {
	case err == nil:
		return v.say(said)
	case errors.Is(err, context.Canceled):
		return err
	}
	v.errs = append(v.errs, fmt.Errorf("%s: %w", quantity.Name(path), err))
	return nil
}

// outcome is the error that the reports leave.
func (v *verification) outcome() error {
	errs := v.errs
	if v.other > 0 {
		errs = append(errs, &fileError{&hintedError{
			fmt.Errorf("%d of %s: another story than the logbook's", v.other, counted(v.same+v.other+len(v.errs), "report")),
			"leakback report TEST --output FILE.xlsx writes what the logbook has; which of the two was changed, their difference does not say",
		}})
	}
	return errors.Join(errs...)
}

// say prints what came of one report.
func (v *verification) say(said *verdict) error {
	var out bytes.Buffer
	line := func(text string) { fmt.Fprintf(&out, "%s: %s\n", quantity.Name(said.path), text) }
	if len(said.differences) == 0 {
		v.same++
		line(said.same)
	} else {
		v.other++
	}
	for _, text := range said.differences {
		line(text)
	}
	if said.more > 0 {
		line(fmt.Sprintf("and %s more", quantity.Grouped(float64(said.more))))
	}
	for _, text := range said.notes {
		line(text)
	}
	_, err := v.env.stdout.Write(out.Bytes())
	return stdoutError(err)
}

// openedReport is a report that was looked through.
type openedReport struct {
	path string
	file *ooxml.Package
	book *ooxml.Book
}

// openReport reads a stranger's workbook.
func openReport(path string) (*openedReport, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, &fileError{fmt.Errorf("cannot be read: %w", reason(err))}
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, &fileError{fmt.Errorf("cannot be read: %w", reason(err))}
	}
	r := &openedReport{path: path}
	err = ooxml.Guarded(func() error {
		if r.file, err = ooxml.Read(f, info.Size(), reportLimits); err != nil {
			return err
		}
		r.book, err = r.file.Book()
		return err
	})
	var why ooxml.Refusal
	switch {
	case errors.As(err, &why):
		return nil, fmt.Errorf("expected a report as leakback writes it: %s", string(why))
	case err != nil:
		return nil, &fileError{fmt.Errorf("cannot be read: %w", reason(err))}
	}
	return r, nil
}

// errNoRecord is of a workbook that was not made of a logbook, or not of one test.
var errNoRecord = errors.New("expected a report with its record, as leakback report writes it; this workbook has none and cannot be verified")

// verify finds the test that a report is of, builds the report again, and
// compares the two.
func (v *verification) verify(ctx context.Context, r *openedReport) (*verdict, error) {
	said := &verdict{path: r.path}
	if claims := r.repairClaims(); len(claims) > 0 {
		return said, v.repair(ctx, r, claims, said)
	}
	c, ok := r.claim()
	if !ok {
		return nil, errNoRecord
	}
	t, err := v.find(ctx, c, said)
	if err != nil || t == nil {
		return said, err
	}
	page := t.test.pageIn(zoneOf([]*foundTest{t}, v.env.zone()))
	page.Version = r.version()
	compared, err := r.compare(func(w io.Writer) error { return report.Workbook(w, page) })
	if err != nil {
		return nil, err
	}
	said.compared(compared, "tells the same story as "+t.said())
	t.notes(said)
	said.version(page.Version)
	return said, nil
}

// compare holds the report against a workbook that the program writes.
func (r *openedReport) compare(write func(io.Writer) error) (*ooxml.Compared, error) {
	again, err := built(write)
	if err != nil {
		return nil, err
	}
	return r.against(again)
}

// against holds the report against a workbook that was built again.
func (r *openedReport) against(again *ooxml.Package) (c *ooxml.Compared, err error) {
	err = ooxml.Guarded(func() (err error) {
		c, err = ooxml.Compare(r.file, again)
		return err
	})
	return c, err
}

// built is a workbook that the program writes, as a report is opened.
func built(write func(io.Writer) error) (*ooxml.Package, error) {
	var again bytes.Buffer
	if err := write(&again); err != nil {
		return nil, fmt.Errorf("the report cannot be built again: %w", err)
	}
	p, err := ooxml.Read(bytes.NewReader(again.Bytes()), int64(again.Len()), reportLimits)
	if err != nil {
		return nil, fmt.Errorf("the report that the logbook makes: %w", err)
	}
	return p, nil
}

// compared takes what a comparison found.
func (v *verdict) compared(c *ooxml.Compared, same string) {
	v.differs(c.Differences)
	v.same = fmt.Sprintf("%s; all %s are the same, and so is the rest of the file", same, counted(c.Cells, "cell"))
	if c.ByCells {
		v.same = fmt.Sprintf("%s; all %s are the same", same, counted(c.Cells, "cell"))
		v.note("%s: only the cells were compared, not drawings and looks", programSaid(c.Program))
	}
}

// version says where another version of the program wrote the report.
func (v *verdict) version(wrote string) {
	if wrote != version() {
		v.note("it says that leakback %s wrote it, and this is %s: differences may come from that", quoted(wrote), version())
	}
}

// programSaid is what a file that this program did not write says of itself.
func programSaid(program string) string {
	switch program {
	case "":
		return "saved by another program, it does not say which"
	case "leakback":
		return "most parts of the file are not as this leakback writes them"
	}
	return "saved by another program (" + quantity.Quote(program) + ")"
}

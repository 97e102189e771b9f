package report_test

import (
	"bytes"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/report"
)

// bayZone is that of an invented workshop.
var bayZone = time.FixedZone("", 3600)

// diary builds a record the way a bay would fill it.
type diary struct {
	events []leakback.Event
	at     time.Time
}

// add makes an entry some seconds after the one before it.
func (d *diary) add(after float64, k leakback.Key, value string, more ...func(*leakback.Event)) {
	d.at = d.at.Add(time.Duration(after * float64(time.Second)))
	e := leakback.Event{TestID: testUUID, Seq: int64(len(d.events) + 1), AtUS: d.at.UnixMicro(), Person: "R. Example", Key: k, Value: value}
	for _, change := range more {
		change(&e)
	}
	d.events = append(d.events, e)
}

func (d *diary) set(field, value string) {
	d.add(3, leakback.Key{Kind: leakback.KindSet, Field: field}, value)
}

func (d *diary) read(run, cylinder int, value string, more ...func(*leakback.Event)) {
	d.add(8, leakback.Key{Kind: leakback.KindReading, Run: run, Cylinder: cylinder, Field: "volume_ml"}, value, more...)
}

// run times a collection of that many seconds.
func (d *diary) run(run int, seconds string) {
	k := leakback.Key{Kind: leakback.KindStart, Run: run, Field: "collection"}
	d.add(20, k, "")
	k.Kind = leakback.KindTime
	s, _ := strconv.ParseFloat(seconds, 64)
	d.add(s, k, seconds)
}

func because(reason, person string) func(*leakback.Event) {
	return func(e *leakback.Event) { e.Reason, e.Person = reason, person }
}

func as(typed string) func(*leakback.Event) { return func(e *leakback.Event) { e.Typed = typed } }

const testUUID = "018e0e5d-3a40-7c31-9b1f-5f0a7d2c4e81"

// bayDiary is a six-cylinder idle test with an overflow, two corrections, a run
// that the machine slept through, and a second sitting.
func bayDiary() *diary {
	d := &diary{at: time.Date(2024, 3, 5, 8, 38, 4, 0, time.UTC)}
	d.add(0, leakback.Key{Kind: leakback.KindOpen}, "v0.1.0")
	job := fullJob()
	for _, field := range leakback.JobFields() {
		if value := *job.Field(field); value != "" && field != leakback.FieldTested {
			d.set(field, value)
		}
	}
	d.set(leakback.FieldEngine, "Northmoor Six-90")
	d.set(leakback.FieldLimits, "Bay sheet for the Northmoor Six-90")
	d.set(leakback.FieldLimitsTOML, strings.Repeat("key = 1\n", 41))
	d.set(leakback.FieldLimitsPath, "/home/example/sheets/northmoor.toml")
	d.set("condition", "idle")
	d.set(leakback.FieldBatteryV, "12.6")
	d.add(5, leakback.Key{Kind: leakback.KindSet, Field: "fuel_temp_c"}, "42.5", as("42,5"))
	d.add(9, leakback.Key{Kind: leakback.KindMark, Field: "cautions"}, "understood")
	d.run(1, "60.2")
	for c, v := range []string{"21", "22,5", "23", "84", ">100", "22"} {
		d.read(1, c+1, v)
	}
	d.read(1, 4, "48", because("read the wrong tube", "R. Example"))
	d.add(900, leakback.Key{Kind: leakback.KindOpen}, "v0.1.0")
	d.run(2, "60")
	d.add(1, leakback.Key{Kind: leakback.KindMark, Run: 2, Field: "asleep"}, "14")
	for c, v := range []string{"19", "20", "21", "45", "33", "20"} {
		d.read(2, c+1, v)
	}
	d.add(30, leakback.Key{Kind: leakback.KindLeaveOut, Run: 2}, "1", because("the laptop slept during the run", "S. Sample"))
	d.add(12, leakback.Key{Kind: leakback.KindSet, Field: leakback.FieldOdometer}, "412 380 km", because("misread the display", "S. Sample"))
	d.add(5, leakback.Key{Kind: leakback.KindEnd}, "done")
	return d
}

// bayRecord is the page of that test as a logbook gives it.
func bayRecord(t testing.TB) *report.Page {
	t.Helper()
	test := bayTest(t, typed{"21", "22,5", "23", "48", ">100", "22"}, typed{"19", "20", "21", "45", "33", "20"})
	test.Runs[0].IntervalS = 60.2
	test.LeaveOut(2, "the laptop slept during the run")
	job := fullJob()
	job.Odometer, job.Tested = "412 380 km", ""
	p := evaluated(t, test, baySheet(), job)
	p.Record = &report.Record{Number: 12, TestID: testUUID, Head: strings.Repeat("89abcdef", 8),
		Record: leakback.NewRecord(bayDiary().events), Zone: bayZone}
	return p
}

// fromFile is a page whose test came in as a file.
func fromFile(p *report.Page) *report.Page {
	d := &diary{at: time.Date(2024, 3, 9, 16, 0, 0, 0, time.UTC)}
	for _, run := range p.Result.Test.Runs {
		for _, r := range run.Readings {
			d.add(0, leakback.Key{Kind: leakback.KindReading, Run: run.Number, Cylinder: r.Cylinder, Field: "volume_ml"}, r.Typed)
		}
	}
	d.add(0, leakback.Key{Kind: leakback.KindSet, Field: leakback.FieldImportKey}, strings.Repeat("77", 32))
	own := *p
	own.Record = &report.Record{Number: 1, TestID: testUUID, Record: leakback.NewRecord(d.events)}
	return &own
}

// recordedCells are the cells of the page that a record may fill in: those that
// are blank without one.
func recordedCells(t *testing.T, f *excelize.File) map[string]bool {
	t.Helper()
	cells := map[string]bool{}
	_, date := find(t, f, "Report", "Date and time")
	_, battery := find(t, f, "Report", "Battery voltage")
	_, below := find(t, f, "Report", "Cylinder")
	cells[name(t, 3, date)], cells[name(t, 4, date)], cells[name(t, 11, battery)] = true, true, true
	for col := range 11 { // one cell made of several
		cells[name(t, col+1, below-1)] = true
	}
	return cells
}

// The workbook of a test from the logbook has every cell of the one that the same
// readings get as a file, with the same content at the same place.
func TestRecordChangesNoCell(t *testing.T) {
	all := pages(t)
	all["recorded"] = bayRecord(t)
	for name, p := range all {
		plain, logged := *p, fromFile(p)
		if p.Record != nil {
			logged = p
		}
		plain.Record = nil
		without, with := written(t, &plain), written(t, logged)
		mayDiffer := recordedCells(t, without)
		assert.Equal(t, append(without.GetSheetList(), "Record"), with.GetSheetList(), name)
		parts, _ := partsOf(t, workbook(t, &plain))
		own, _ := partsOf(t, workbook(t, logged))
		for _, sheet := range []string{"2", "3", "4", "5"} {
			part := "xl/worksheets/sheet" + sheet + ".xml"
			assert.Equal(t, parts[part], own[part], "%s: readings, working, limits and method are the same to the byte", name)
		}
		sameCells(t, name, without, with, mayDiffer)
	}
}

// sameCells holds every cell of the page against that of another workbook.
func sameCells(t *testing.T, of string, want, got *excelize.File, mayDiffer map[string]bool) {
	t.Helper()
	rows, err := want.GetRows("Report", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	gotRows, err := got.GetRows("Report", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	require.Len(t, gotRows, len(rows), of)
	count := 0
	for r := range rows {
		for c := range max(len(rows[r]), len(gotRows[r])) {
			cell := name(t, c+1, r+1)
			if mayDiffer[cell] {
				continue
			}
			require.Equal(t, raw(t, want, "Report", cell), raw(t, got, "Report", cell), "%s %s", of, cell)
			a, err := want.GetCellFormula("Report", cell)
			require.NoError(t, err)
			b, err := got.GetCellFormula("Report", cell)
			require.NoError(t, err)
			require.Equal(t, a, b, "%s %s", of, cell)
			count++
		}
	}
	assert.Greater(t, count, 100, of)
}

// What was typed as the date of the test stands; a file's entry times are not
// taken for it.
func TestRecordDate(t *testing.T) {
	p := bayRecord(t)
	assert.Equal(t, "2024-03-05 09:39 to 09:57 +01:00", fact(t, written(t, p), "Date and time"))
	assert.Equal(t, "12.6 V", fact(t, written(t, p), "Battery voltage"))
	p.Job.Tested = "last Tuesday"
	assert.Equal(t, "last Tuesday", fact(t, written(t, p), "Date and time"))
	p.Job.Tested = ""
	assert.Empty(t, fact(t, written(t, fromFile(p)), "Date and time"))
}

// The page says which record it is, when the runs were taken, and that there
// were corrections.
func TestRecordOnThePage(t *testing.T) {
	f := written(t, bayRecord(t))
	_, row := find(t, f, "Report", "Cylinder")
	assert.Equal(t, strings.Join([]string{
		"Logbook: Test 12, id " + testUUID + ", SHA-256 of its entries " + strings.Repeat("89abcdef", 8) + ".",
		"Collected: Run 1, 2024-03-05 09:39:26 to 09:40:26 +01:00; run 2, 09:56:42 to 09:57:42 +01:00.",
		"Corrections: 2 corrections, see sheet Record.",
		"Noted: Cautions acknowledged; run 2: the machine slept while it timed, or its clock was set ahead, by 14 s.",
	}, "\n"), raw(t, f, "Report", name(t, 1, row-1)))
	f = written(t, fromFile(bayRecord(t)))
	assert.Contains(t, raw(t, f, "Report", name(t, 1, row-1)), "Entered: From a file, 2024-03-09 16:00:00 +00:00.")
	assert.Contains(t, raw(t, f, "Report", name(t, 1, row-1)), "Corrections: No corrections.")
}

// A start that was broken off says nothing of when the run was.
func TestRecordOfCranks(t *testing.T) {
	d := &diary{at: time.Date(2024, 3, 5, 8, 0, 0, 0, time.UTC)}
	crank := func(n int, seconds string) {
		k := leakback.Key{Kind: leakback.KindStart, Run: 1, Field: "crank " + strconv.Itoa(n)}
		d.add(60, k, "")
		k.Kind = leakback.KindTime
		d.add(5, k, seconds)
	}
	crank(1, "5.1")
	crank(2, "")
	crank(2, "5")
	crank(3, "4.9")
	crank(4, "")
	p := bayRecord(t)
	p.Record.Record = leakback.NewRecord(d.events)
	assert.Equal(t, "2024-03-05 09:01 to 09:04 +01:00", fact(t, written(t, p), "Date and time"))
	var out bytes.Buffer
	require.NoError(t, report.RecordTable(&out, p, report.TableOptions{}))
	assert.Contains(t, out.String(), "run 1, 60.2 s, collected 2024-03-05 09:01:00 to 09:04:19 +01:00")
}

// What was entered is shown as well where there is no result.
func TestRecordWithoutResult(t *testing.T) {
	p := bayRecord(t)
	p.Result = nil
	var out bytes.Buffer
	require.NoError(t, report.RecordTable(&out, p, report.TableOptions{Unicode: true}))
	golden(t, "record-no-result.txt", out.Bytes())
}

// recordRows are the rows of the sheet by the number of the entry.
func recordRows(t *testing.T, f *excelize.File) map[string][]string {
	t.Helper()
	rows, err := f.GetRows("Record")
	require.NoError(t, err)
	all := map[string][]string{}
	for _, row := range rows[1:] {
		for len(row) < 11 {
			row = append(row, "")
		}
		all[row[0]] = row
	}
	return all
}

func TestRecordSheet(t *testing.T) {
	p := bayRecord(t)
	f := written(t, p)
	rows := recordRows(t, f)
	require.Len(t, rows, len(p.Record.Record.Events))
	for _, want := range []string{
		"1|2024-03-05 09:38:04 +01:00|R. Example|sitting began, program|||v0.1.0||||",
		"14|2024-03-05 09:38:43 +01:00|R. Example|limits sheet, its text|||sheet text, 41 lines||||",
		"15|2024-03-05 09:38:46 +01:00|R. Example|limits sheet, its file|||northmoor.toml||||",
		"18|2024-03-05 09:38:57 +01:00|R. Example|fuel temperature in °C|||42.5|42,5|||",
		"21|2024-03-05 09:40:26 +01:00|R. Example|collection ran, in s|1||60.2||||",
		"25|2024-03-05 09:40:58 +01:00|R. Example|reading, volume in mL|1|4|84||||replaced by 28",
		"28|2024-03-05 09:41:22 +01:00|R. Example|reading, volume in mL|1|4|48||84 (no. 25)|read the wrong tube|",
		"26|2024-03-05 09:41:06 +01:00|R. Example|reading, volume in mL|1|5|>100||||",
		"38|2024-03-05 09:58:31 +01:00|R. Example|reading, volume in mL|2|6|20||||",
		"39|2024-03-05 09:59:01 +01:00|S. Sample|run left out|2||yes|||the laptop slept during the run|",
	} {
		number, _, _ := strings.Cut(want, "|")
		assert.Equal(t, want, strings.Join(rows[number], "|"))
	}
}

// A length that was typed over the clock is a correction, in the list and in the
// sheet of entries.
func TestRecordTypedLength(t *testing.T) {
	p := bayRecord(t)
	d := bayDiary()
	d.add(9, leakback.Key{Kind: leakback.KindSet, Run: 1, Field: "interval_s"}, "61", because("stopped late", "S. Sample"))
	p.Record.Record = leakback.NewRecord(d.events)
	rows := recordRows(t, written(t, p))
	last := strconv.Itoa(len(d.events))
	assert.Equal(t, "replaced by "+last, rows["21"][10])
	assert.Equal(t, "60.2 (no. 21)", rows[last][8])
	var text bytes.Buffer
	require.NoError(t, report.RecordTable(&text, p, report.TableOptions{Width: 200, Unicode: true}))
	said := strings.Join(strings.Fields(text.String()), " ")
	assert.Contains(t, said, "run 1, interval in s: 61 in place of 60.2, ")
	assert.Contains(t, said, "by S. Sample, because: stopped late")
}

// The machine that a sitting was on stays in the logbook.
func TestRecordSheetKeepsTheMachine(t *testing.T) {
	p := bayRecord(t)
	d := bayDiary()
	d.add(9, leakback.Key{Kind: leakback.KindOpen}, "v0.1.0", because("bay-laptop 4711", "S. Sample"))
	p.Record.Record = leakback.NewRecord(d.events)
	row := recordRows(t, written(t, p))[strconv.Itoa(len(d.events))]
	assert.Equal(t, "sitting began, program", row[3])
	assert.Empty(t, row[9])
}

// Equal pages give equal bytes, and a text of a stranger is never a formula.
func TestRecordBytes(t *testing.T) {
	first := workbook(t, bayRecord(t))
	for range 3 {
		assert.True(t, bytes.Equal(first, workbook(t, bayRecord(t))))
	}
}

// Whatever was typed into an entry, it stands in its cell as it was typed and is
// text for every program.
func TestRecordHostileText(t *testing.T) {
	plain := formulas(t, workbook(t, hostileRecord(t, "plain")))
	for of, text := range hostile {
		file := workbook(t, hostileRecord(t, text))
		f := opened(t, file)
		rows := recordRows(t, f)
		want := afterCleaning.Replace(text)
		require.Len(t, rows, 4, of)
		for _, column := range []int{2, 5, 7, 9} {
			assert.Equal(t, want, rows["2"][column], "%s, column %d", of, column+1)
		}
		assert.Equal(t, want+" (no. 1)", rows["2"][8], of)
		isText(t, f, file, want, plain)
		parts, _ := partsOf(t, file)
		for part, content := range parts {
			wellFormed(t, part, content)
		}
	}
}

// hostileRecord has one hostile text in every place of an entry.
func hostileRecord(t *testing.T, text string) *report.Page {
	p := hostilePage(t, text)
	d := &diary{at: time.Date(2024, 3, 5, 8, 0, 0, 0, time.UTC)}
	all := func(e *leakback.Event) { e.Person, e.Typed, e.Reason = text, text, text }
	reading := leakback.Key{Kind: leakback.KindReading, Run: 1, Line: text, Field: "volume_ml"}
	d.add(1, reading, text)
	d.add(1, reading, "22", all)
	d.add(1, leakback.Key{Kind: leakback.KindMark, Field: "asleep"}, text, all)
	d.add(1, leakback.Key{Kind: leakback.KindSet, Field: leakback.FieldBatteryV}, text, all)
	p.Record = &report.Record{Number: 1, TestID: text, Head: text, Record: leakback.NewRecord(d.events)}
	return p
}

package report_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
	"leakback/report"
)

// lister makes the tests of an invented engine over some years.
type lister struct {
	*testing.T
	tests []report.Listed
}

func (l *lister) add(at, odometer string, sheet *limits.Sheet, runs ...typed) *report.Listed {
	l.Helper()
	started, err := time.Parse(time.RFC3339, at)
	require.NoError(l, err)
	n := int64(len(l.tests) + 7)
	one := report.Listed{Number: n, TestID: fmt.Sprintf("018e0e5d-3a40-7c31-9b1f-%012d", n), StartedUS: started.UnixMicro(),
		Name: "hot idle", Vehicle: "Invented tractor unit, 2014", VIN: "XX0EXAMPLE0000001", Engine: "Northmoor Six-90", Odometer: odometer,
		Condition: "idle", Method: "individual", Ended: "done", Events: 31}
	if len(runs) > 0 {
		one.Result = evaluated(l, bayTest(l, runs...), sheet, leakback.Job{}).Result
	}
	l.tests = append(l.tests, one)
	return &l.tests[len(l.tests)-1]
}

// listedTests are tests of one engine, oldest first: idle and cranking, one
// with an overflow and work after it, one that is not finished, and one that
// cannot be read.
func listedTests(t *testing.T) []report.Listed {
	t.Helper()
	l := &lister{T: t}
	l.add("2021-03-05T08:40:00Z", "298 000 km", baySheet(), typed{"20", "21", "22", "21", "19", "20"})
	l.add("2021-11-19T10:02:00Z", "331 250 km", baySheet(), typed{"21", "21,5", "22", "26", "20", "21"})
	l.add("2022-10-02T06:30:00Z", "377 900 km", baySheet(), typed{"21", "22", "23", "37", "22", "21.5"}).Corrections = 2
	crank := l.add("2022-10-02T07:10:00Z", "377 900 km", limits.Builtin(), typed{"2", "2", "3", "9", "2", ""})
	crank.Condition, crank.Result.Test.Condition = "cranking", "cranking"
	l.add("2023-02-15T14:00:00Z", "389.400 km", baySheet(), typed{"21", "22,5", "23", "48", ">100", "<1"}).Work =
		[]string{"new feed tube at cylinder 4, hold-down 60 N·m"}
	l.add("2023-02-16T09:00:00Z", "389.450 km", baySheet(), typed{"21", "22", "23", "22", "36.5", "22"})
	open := l.add("2024-03-05T08:40:00Z", "412 300 km", nil)
	open.Ended, open.Events, open.Progress = "", 14, "run 1, 3 of 6 cylinders read"
	l.add("2024-03-06T08:40:00Z", "412 300 km", baySheet()).Err = "entry 7 was changed after it was made"
	return l.tests
}

func newestFirst(tests []report.Listed) []report.Listed {
	tests = slices.Clone(tests)
	slices.Reverse(tests)
	return tests
}

func TestGoldenHistory(t *testing.T) {
	tests := listedTests(t)
	page := bayRecord(t)
	page.Advice, page.NotSeen = []string{"Look there."}, []string{"What drips elsewhere."}
	for name, o := range map[string]report.TableOptions{
		"80":       {Unicode: true, Zone: bayZone},
		"ascii":    {Zone: bayZone},
		"44":       {Width: 44, Unicode: true, Zone: bayZone},
		"color":    {Unicode: true, Color: true, Zone: bayZone},
		"44-ascii": {Width: 44, Zone: bayZone},
	} {
		var out bytes.Buffer
		require.NoError(t, report.HistoryTable(&out, newestFirst(tests), o))
		golden(t, "history-"+name+".txt", out.Bytes())
		out.Reset()
		require.NoError(t, report.TrendTable(&out, &report.Trend{Tests: tests}, o))
		golden(t, "trend-"+name+".txt", out.Bytes())
		out.Reset()
		require.NoError(t, report.RecordTable(&out, page, o))
		golden(t, "record-"+name+".txt", out.Bytes())
	}
}

// Whatever the terminal, and whatever was typed, nothing is wider than it, signs
// beyond ASCII only come where they may, and no control character gets through.
func TestHistoryTablesFitTheTerminal(t *testing.T) {
	tests := listedTests(t)
	for _, text := range hostile {
		l := tests[4]
		l.Name, l.Vehicle, l.Engine, l.Odometer, l.Customer, l.WorkOrder, l.Err, l.Work = text, text, text, text, text, text, "", []string{text}
		tests = append(tests, l)
		l.Result, l.Progress, l.Ended = nil, text, ""
		tests = append(tests, l)
	}
	page := bayRecord(t)
	for _, e := range bayDiary().events {
		e.Person, e.Reason = hostile["override"]+hostile["escape"], hostile["long"]
		page.Record.Record.Add(e)
	}
	for width := 20; width < 120; width += 9 {
		for _, o := range []report.TableOptions{{Width: width}, {Width: width, Unicode: true, Color: width%2 == 0}} {
			for _, write := range []func(*bytes.Buffer) error{
				func(b *bytes.Buffer) error { return report.HistoryTable(b, tests, o) },
				func(b *bytes.Buffer) error { return report.TrendTable(b, &report.Trend{Tests: tests}, o) },
				func(b *bytes.Buffer) error { return report.RecordTable(b, page, o) },
			} {
				var out bytes.Buffer
				require.NoError(t, write(&out))
				requireWidth(t, out.String(), o)
				require.NotContains(t, escapes.ReplaceAllString(out.String(), ""), "\x1b")
			}
		}
	}
}

// The picture names every cylinder that is not a plain pass, in words.
func TestHistoryPictureNamesTheFlagged(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, report.HistoryTable(&out, listedTests(t)[4:5], report.TableOptions{Unicode: true}))
	assert.Contains(t, out.String(), "▂▂▂▄><")
	assert.Contains(t, out.String(), "FAIL 4, 5, 6")
	total := report.Listed{Number: 1, Result: evaluated(t, totalTest(t), limits.Builtin(), leakback.Job{}).Result}
	out.Reset()
	require.NoError(t, report.HistoryTable(&out, []report.Listed{total}, report.TableOptions{}))
	assert.Regexp(t, `total [0-9.]+ \+/- [0-9.]+ mL/min`, out.String())
	out.Reset()
	require.NoError(t, report.HistoryTable(&out, nil, report.TableOptions{}))
	assert.Equal(t, " No test.\n", out.String())
}

// totalTest is a merged return alone.
func totalTest(t testing.TB) *leakback.Test {
	test := bayTest(t, typed{"90"})
	test.Method, test.Runs[0].Readings[0].Cylinder = leakback.MethodTotal, 0
	return test
}

// The names and their order are a contract with other programs.
func TestHistoryCSV(t *testing.T) {
	tests := listedTests(t)
	tests[4].Name, tests[4].Customer, tests[4].Vehicle = "=1+1", "'quoted", `a "b", c`
	text := []byte(report.HistoryCSVHeader())
	for i := range tests[4:] {
		text = report.AppendHistoryCSV(text, &tests[4+i])
	}
	assert.Equal(t, "number,test_id,name,started,vehicle,vin,engine,odometer,condition,method,ended,verdict,findings,rates_ml_min,"+
		"customer,work_order,engine_serial,corrections,error\n"+
		`11,018e0e5d-3a40-7c31-9b1f-000000000011,'=1+1,2023-02-15T14:00:00Z,"a ""b"", c",XX0EXAMPLE0000001,Northmoor Six-90,389.400 km,`+
		`idle,individual,done,fail,4:over-limit;4:high-in-set;5:over-limit;5:high-in-set;5:over-range;6:under-limit;6:low-in-set;`+
		`6:below-first-mark,21;22.5;23;48;>=100;<=1,''quoted,,,0,`+"\n",
		strings.Join(strings.SplitAfter(string(text), "\n")[:2], ""))
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	require.NoError(t, err)
	assert.Equal(t, []string{"", "", "", ""}, rows[3][10:14], "an open test has no result")
	assert.Equal(t, "entry 7 was changed after it was made", rows[4][18])
}

// typedIn is what was typed for a text of a history.
func typedIn(text string) string {
	pieces := strings.Split(text, ";")
	for i := range pieces {
		pieces[i] = strings.TrimPrefix(pieces[i], "'")
	}
	return strings.Join(pieces, ";")
}

// No text of a stranger begins as a formula would, not behind a semicolon either,
// and what was typed comes back without the apostrophes.
func FuzzHistoryCSV(f *testing.F) {
	for _, text := range hostile {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if strings.Contains(text, "\r") {
			t.Skip("that reader makes LF of CR LF")
		}
		l := report.Listed{Name: text, Vehicle: text, VIN: text, Engine: text, Odometer: text, Condition: text, Customer: text,
			WorkOrder: text, EngineSerial: text, Err: text}
		rows, err := csv.NewReader(bytes.NewReader(report.AppendHistoryCSV(nil, &l))).ReadAll()
		require.NoError(t, err)
		for _, i := range []int{2, 4, 5, 6, 7, 8, 14, 15, 16, 18} {
			assert.Equal(t, text, typedIn(rows[0][i]))
			assert.NotRegexp(t, "(^|;)[=+@\t\r＝＋－＠-]", rows[0][i])
		}
	})
}

// The names and their order are a contract with other programs.
func TestHistoryJSON(t *testing.T) {
	tests := listedTests(t)
	var out bytes.Buffer
	require.NoError(t, report.HistoryJSON(&out, &tests[3]))
	assert.Equal(t, `{"number":10,"test_id":"018e0e5d-3a40-7c31-9b1f-000000000010","name":"hot idle","started":"2022-10-02T07:10:00Z",`+
		`"vehicle":"Invented tractor unit, 2014","vin":"XX0EXAMPLE0000001","engine":"Northmoor Six-90","odometer":"377 900 km",`+
		`"condition":"cranking","method":"individual","ended":"done","verdict":"fail","findings":["no-absolute-limit"],`+
		`"median_ml_min":2,"total_ml_min":null,"cylinders":[`+
		`{"cylinder":1,"rate_ml_min":2,"rate_bound":null,"ratio_to_median":1,"verdict":"pass","findings":[]},`+
		`{"cylinder":2,"rate_ml_min":2,"rate_bound":null,"ratio_to_median":1,"verdict":"pass","findings":[]},`+
		`{"cylinder":3,"rate_ml_min":3,"rate_bound":null,"ratio_to_median":1.5,"verdict":"pass","findings":[]},`+
		`{"cylinder":4,"rate_ml_min":9,"rate_bound":null,"ratio_to_median":4.5,"verdict":"fail","findings":["high-in-set"]},`+
		`{"cylinder":5,"rate_ml_min":2,"rate_bound":null,"ratio_to_median":1,"verdict":"pass","findings":[]},`+
		`{"cylinder":6,"rate_ml_min":null,"rate_bound":null,"ratio_to_median":null,"verdict":"unread","findings":[]}],`+
		`"customer":null,"work_order":null,"engine_serial":null,"entries":31,"corrections":0,"work":[],"error":null}`+"\n", out.String())
	out.Reset()
	require.NoError(t, report.HistoryJSON(&out, &tests[6]))
	var open map[string]any
	require.NoError(t, json.Unmarshal(out.Bytes(), &open))
	for _, name := range []string{"verdict", "findings", "cylinders", "ended"} {
		assert.Nil(t, open[name], name)
	}
}

// Who looks at JSON sees what would be obeyed, and a program reads what was typed.
func TestJSONShowsWhatIsObeyed(t *testing.T) {
	const typed = "a\x1b[2J\u009b31m\u202eb\u200d\u2028\U000e0041ñ🛠"
	l := report.Listed{Name: typed}
	var out bytes.Buffer
	require.NoError(t, report.HistoryJSON(&out, &l))
	assert.Contains(t, out.String(), `"name":"a\u001b[2J\u009b31m\u202eb\u200d\u2028\udb40\udc41ñ🛠"`)
	var read struct{ Name string }
	require.NoError(t, json.Unmarshal(out.Bytes(), &read))
	assert.Equal(t, typed, read.Name)
}

// What a logbook from elsewhere says of a test's end or method is text as well.
func TestHistoryCSVOfWords(t *testing.T) {
	l := report.Listed{Method: "=1+1", Ended: "@SUM(1)"}
	row := string(report.AppendHistoryCSV(nil, &l))
	assert.Contains(t, row, ",'=1+1,'@SUM(1),")
}

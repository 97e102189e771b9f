package report

import (
	"bytes"
	"encoding/csv"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

func csvText(results ...*leakback.Result) string {
	text := []byte(CSVHeader())
	for _, r := range results {
		text = AppendCSV(text, r)
	}
	return string(text)
}

// The names and their order are a contract with other programs.
func TestCSVContract(t *testing.T) {
	r := sampleResult(maximum(40), bad(58, leakback.Fail, leakback.OverLimit, leakback.HighInSet),
		sample{rate: 100, bound: leakback.AtLeast}, unread())
	r.Test.ID = `a,"b"`
	r.Findings = []leakback.Finding{{Code: leakback.HalfSet}, {Code: leakback.NoAbsoluteLimit}}
	r.Cylinders[0].Budget.StandardMLMin = 1.5
	r.Cylinders[0].RatioToMedian, r.Cylinders[1].RatioToMedian = 2.5, 4.5
	assert.Equal(t, "test_id,cylinder,rate_ml_min,standard_uncertainty_ml_min,ratio_to_median,"+
		"verdict,findings,test_verdict,test_findings,rate_bound\n"+
		`"a,""b""",1,58,1.5,2.5,fail,over-limit;high-in-set,fail,half-set;no-absolute-limit,`+"\n"+
		`"a,""b""",2,100,,4.5,pass,,fail,half-set;no-absolute-limit,>=`+"\n"+
		`"a,""b""",3,,,,unread,,fail,half-set;no-absolute-limit,`+"\n", csvText(r))
}

// Where the comma is the decimal sign, spreadsheets part rows at semicolons.
func TestCSVIDIsNoFormula(t *testing.T) {
	r := sampleResult(nil, good(22))
	for id, want := range map[string]string{"A1;=1+1": "A1;'=1+1", "A1;-2": "A1;'-2", "a;b": "a;b", "a=b": "a=b"} {
		r.Test.ID = id
		assert.True(t, strings.HasPrefix(csvText(r)[len(CSVHeader()):], want+",1,22,"), id)
	}
}

// Figures come back bit for bit, and without an exponent.
func TestCSVKeepsEveryDigit(t *testing.T) {
	for _, x := range []float64{1.0 / 3, 0.1, 21, 100000.0 / 7, 1e-7 / 3, 123456789012345} {
		rows, err := csv.NewReader(bytes.NewBufferString(csvText(sampleResult(nil, good(x))))).ReadAll()
		require.NoError(t, err)
		assert.NotContains(t, rows[1][2], "e")
		back, err := strconv.ParseFloat(rows[1][2], 64)
		require.NoError(t, err)
		assert.Equal(t, math.Float64bits(x), math.Float64bits(back), rows[1][2])
	}
}

// Whatever the id of a test, encoding/csv reads back what was written.
func FuzzCSVField(f *testing.F) {
	for _, id := range []string{"a", `a,"b"`, "a b", " a", "\ta", "a\nb", "é;ü", ""} {
		f.Add(id)
	}
	f.Fuzz(func(t *testing.T, id string) {
		if strings.Contains(id, "\r") {
			t.Skip("that reader makes LF of CR LF")
		}
		r := csv.NewReader(strings.NewReader(string(appendField(nil, id)) + ",\n"))
		r.FieldsPerRecord = -1
		row, err := r.Read()
		require.NoError(t, err)
		assert.Equal(t, []string{id, ""}, row)
	})
}

var errFull = errors.New("no space left")

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, errFull }

func TestTableAndJSONReportWriteErrors(t *testing.T) {
	r := sampleResult(nil, good(22))
	assert.ErrorIs(t, Table(fullDisk{}, samplePage(r), TableOptions{}), errFull)
	assert.ErrorIs(t, JSON(fullDisk{}, r), errFull)
}

func BenchmarkCSV(b *testing.B) {
	r := sampleResult(maximum(40), good(21.0/7), good(22.0/7), good(23.0/7), good(25.0/7), good(26.0/7),
		bad(58.0/7, leakback.Fail, leakback.OverLimit))
	var text []byte
	b.ReportAllocs()
	for b.Loop() {
		text = AppendCSV(text[:0], r)
	}
}

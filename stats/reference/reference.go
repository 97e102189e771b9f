// Package reference reads the published check values under testdata/reference
// for tests. The program itself never imports it.
package reference

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"
)

// Row is one line of a table by column name.
type Row map[string]string

// Rows reads a table of testdata/reference by its file name: CSV whose lines
// beginning with # are comments and whose first other line is the header.
func Rows(t testing.TB, name string) []Row {
	t.Helper()
	_, here, _, _ := runtime.Caller(0)
	f, err := os.Open(filepath.Join(filepath.Dir(here), "..", "..", "testdata", "reference", filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	records, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []Row
	for _, record := range records[1:] {
		row := Row{}
		for i, name := range records[0] {
			row[name] = record[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// Float is the number in a column; the test fails where there is none.
func (r Row) Float(t testing.TB, column string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("column %s: %v", column, err)
	}
	return x
}

// Case gathers the rows of one worked case: the arrays and scalars that go in,
// and the rows of the values to expect, by name.
func Case(t testing.TB, rows []Row, name string) (data map[string][]float64, param map[string]float64, expect map[string]Row) {
	t.Helper()
	data, param, expect = map[string][]float64{}, map[string]float64{}, map[string]Row{}
	for _, row := range rows {
		if row["case"] != name {
			continue
		}
		switch row["role"] {
		case "data":
			data[row["name"]] = append(data[row["name"]], row.Float(t, "value"))
		case "param":
			param[row["name"]] = row.Float(t, "value")
		case "expect":
			expect[row["name"]] = row
		}
	}
	if len(expect) == 0 {
		t.Fatalf("no case %s", name)
	}
	return data, param, expect
}

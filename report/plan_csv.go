package report

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode"

	"leakback/leakback"
)

// fillIn is one column of a readings file to fill in: a text for each row, the
// same for all where of is nil.
type fillIn struct {
	name string
	same string
	of   func(i int) string
}

// PlanCSV writes the readings file that a planned test fills in: one row a
// reading, the volumes and what must be read beside them left empty.
func PlanCSV(w io.Writer, p *PlanPage) error {
	columns, rows := collectionColumns(p)
	if p.BlockOff != nil {
		columns, rows = blockOffColumns(p)
	}
	out := csv.NewWriter(w)
	record := make([]string, len(columns))
	for i := -1; i < rows; i++ {
		for k, c := range columns {
			switch {
			case i < 0:
				record[k] = c.name
			case c.of != nil:
				record[k] = c.of(i)
			default:
				record[k] = c.same
			}
		}
		if err := out.Write(record); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func collectionColumns(p *PlanPage) ([]fillIn, int) {
	if p.Collection == nil {
		return nil, 0
	}
	t := &p.Collection.Take
	columns := []fillIn{
		{name: "run", of: func(i int) string { return strconv.Itoa(i/p.Cylinders + 1) }},
		{name: "cylinder", of: func(i int) string { return strconv.Itoa(i%p.Cylinders + 1) }},
	}
	return append(columns, stateColumns(p, t.CollectS, t.Tube, t.Cranks)...), t.Runs * p.Cylinders
}

func blockOffColumns(p *PlanPage) ([]fillIn, int) {
	b := p.BlockOff
	columns := []fillIn{
		{name: "run", of: func(i int) string { return strconv.Itoa(b.Runs[i].Number) }},
		{name: "blocked", of: func(i int) string { return numbers(b.Runs[i].Blocked, "+") }},
	}
	if len(b.Lines) > 1 {
		columns = append(columns, fillIn{name: "return_line", of: func(i int) string { return fillText(b.Runs[i].Line) }})
	}
	return append(columns, stateColumns(p, b.IntervalS, b.Goal.Tube, b.Cranks)...), len(b.Runs)
}

// stateColumns are the columns that every method has.
func stateColumns(p *PlanPage, intervalS float64, tube leakback.Tube, cranks int) []fillIn {
	columns := []fillIn{
		{name: "volume_ml"},
		{name: "interval_s", same: fillNumber(intervalS)},
		{name: "graduation_ml", same: fillNumber(tube.GraduationML)},
		{name: "capacity_ml", same: fillNumber(known(tube.CapacityML))},
		{name: "tolerance_ml", same: fillNumber(tube.ToleranceML)},
		{name: "condition", same: fillText(p.Condition)},
		{name: "injectors", same: p.Injectors},
		{name: "cranks", same: fillNumber(known(float64(cranks)))},
	}
	kept := columns[:0]
	for _, c := range columns {
		if c.same != "" || c.name == "volume_ml" || c.name == "interval_s" {
			kept = append(kept, c)
		}
	}
	return append(kept, fillIn{name: "rail_pressure_bar"}, fillIn{name: "fuel_temp_c"})
}

// fillNumber is a number as the readings file takes it; nothing for NaN.
func fillNumber(x float64) string {
	if math.IsNaN(x) {
		return ""
	}
	return plainFigure(x)
}

// fillText is free text for a cell that a spreadsheet program will open: what
// does not begin with a letter or a digit could be taken for a formula and is
// left out, to be written in by hand.
func fillText(text string) string {
	text = oneLine(text)
	first := []rune(text + " ")[0]
	if !unicode.IsLetter(first) && !unicode.IsDigit(first) {
		return ""
	}
	return strings.TrimSpace(text)
}

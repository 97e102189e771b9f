package entry

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
)

// takeMerged puts a reading of the merged return into the open test. Where no
// cell says so, the row's place among those of its test is its run.
func (r *Reader) takeMerged(method leakback.Method) {
	number := r.runNumber(r.test.rows)
	reading := r.reading()
	r.takeWords()
	blocked, ok := r.blockedCylinders(method)
	if number == 0 || !ok {
		return
	}
	run := r.test.run(number, r.row)
	r.takeState(run)
	switch row := r.test.rowOf(number, 0, reading.ReturnLine); {
	case row > 0:
		r.fault(colRun, fmt.Sprint(number), fmt.Sprintf("each run once, or once for each return line; run %d is in row %d already",
			number, row))
		return
	case run.readings == 0:
		run.blocked = blocked
	case !slices.Equal(run.blocked, blocked):
		r.fault(colBlocked, r.cell(colBlocked), fmt.Sprintf("%s, as in row %d of the same run", blockedText(run.blocked), run.row))
		return
	}
	r.test.add(run, r.row, reading)
}

// blockedText is a list of blocked cylinders as its cell holds it, quoted.
func blockedText(blocked []int) string {
	words := make([]string, len(blocked))
	for i, c := range blocked {
		words[i] = fmt.Sprint(c)
	}
	return quantity.Quote(strings.Join(words, "+"))
}

const blockedExpected = "the blocked cylinders joined by +, such as 1+2, or nothing where none was"

// blockedCylinders reads the row's blocked cylinders in rising order; false
// where the cell is faulty.
func (r *Reader) blockedCylinders(method leakback.Method) (list []int, ok bool) {
	text := r.cell(colBlocked)
	if method != leakback.MethodBlockOff || text == "" {
		return nil, true
	}
	list, known := r.blocked[text]
	if !known {
		var expected string
		if list, expected = parseBlocked(text); expected != "" {
			r.fault(colBlocked, text, expected)
			return nil, false
		}
		r.keepBlocked(strings.Clone(text), list)
	}
	if most := r.def.Cylinders; most > 0 && list[len(list)-1] > most {
		r.fault(colBlocked, text, fmt.Sprintf("cylinders from 1 to %d, as --cylinders or the limits sheet says", most))
		return nil, false
	}
	return list, true
}

func (r *Reader) keepBlocked(text string, list []int) {
	if r.blocked == nil || len(r.blocked) >= mostWords {
		r.blocked = map[string][]int{}
	}
	r.blocked[text] = list
}

// parseBlocked reads cylinders joined by +; expected is "" where all is well.
func parseBlocked(text string) (list []int, expected string) {
	for part := range strings.SplitSeq(text, "+") {
		n, err := quantity.ParseNumber(strings.TrimSpace(part), false)
		switch {
		case err != nil:
			return nil, blockedExpected
		case !spans[colCylinder].holds(n):
			return nil, fmt.Sprintf("whole numbers of cylinders from 1 to %d, joined by +", limits.MostCylinders)
		case slices.Contains(list, int(n)):
			return nil, "each blocked cylinder once"
		}
		list = append(list, int(math.Round(n)))
	}
	slices.Sort(list)
	return list, ""
}

package form

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/limits"
)

// A form that was moved as a whole is found; one whose cells were moved against
// one another is refused.
func TestMovedForms(t *testing.T) {
	book := filledIn(t, six(), entries{"interval_s": "60", "row 1 run 1": "21"})
	moved := edited(t, book, func(f *excelize.File) {
		require.NoError(t, f.InsertRows(sheetName, 1, 3))
		require.NoError(t, f.InsertCols(sheetName, "A", 1))
	})
	form, err := readBytes(moved, "idle.xlsx")
	require.NoError(t, err)
	assert.Equal(t, "21", form.Test.Runs[0].Readings[0].Typed)

	l := newLayout(shapeFor(t, six()))
	torn := edited(t, book, func(f *excelize.File) { require.NoError(t, f.InsertRows(sheetName, l.firstRow+1, 1)) })
	_, err = readBytes(torn, "idle.xlsx")
	require.Error(t, err)
	assert.Contains(t, err.Error(), fmt.Sprintf(`idle.xlsx: cell A%d: expected "2" as on the blank form`, l.firstRow+1))

	cut := edited(t, moved, func(f *excelize.File) {
		require.NoError(t, f.RemoveCol(sheetName, "A"))
		require.NoError(t, f.RemoveCol(sheetName, "B"))
	})
	_, err = readBytes(cut, "idle.xlsx")
	require.Error(t, err)
	assert.Contains(t, err.Error(), "rows or columns were taken out")
}

// The layout of version 1 is for good: forms that were printed and handed out
// must still be read. Who changes it, raises Version and reads both.
func TestLayoutOfVersionOne(t *testing.T) {
	require.Equal(t, 1, Version)
	for _, c := range []struct {
		s    shape
		want string
	}{
		{shape{leakback.MethodIndividual, 6, 3, 0}, "E3 condition E11 interval E18 time1 D23 first D24 last R29 note E31 end 32"},
		{shape{leakback.MethodIndividual, 16, 3, 0}, "E3 condition E11 interval E18 time1 C23 first C24 last V31 note E33 end 34"},
		{shape{leakback.MethodIndividual, 64, 3, 0}, "E3 condition E11 interval E18 time1 B23 first B24 last V43 note E47 end 48"},
		{shape{leakback.MethodBlockOff, 6, 14, 0}, "E3 condition E11 interval E18 time1 E23 first H23 last U29 note E31 end 32"},
		{shape{leakback.MethodTotal, 6, 3, 2}, "E3 condition E11 interval E18 time1 G23 first G24 last S25 note E27 end 28"},
	} {
		l := newLayout(c.s)
		got := fmt.Sprintf("%s condition %s interval %s time1 %s first %s last %s note %s end %d", cellOf(t, l, "workshop"),
			cellOf(t, l, "condition"), cellOf(t, l, "interval_s"), l.times[0].cell(), l.readings[0].cell(),
			l.readings[len(l.readings)-1].cell(), cellOf(t, l, "note"), l.end)
		assert.Equal(t, c.want, got, c.s.marker())
	}
}

// No two cells that are entered, or read, share a place, whatever the engine.
func TestCellsDoNotOverlap(t *testing.T) {
	for _, method := range methods {
		for cylinders := 1; cylinders <= limits.MostCylinders; cylinders++ {
			for runs := 1; runs <= mostRuns; runs++ {
				for _, lines := range []int{0, 2} {
					s := shape{method, cylinders, runs, lines}
					if method == leakback.MethodBlockOff {
						s.runs = 2*cylinders + 2
					}
					noOverlap(t, newLayout(s))
					if again, ok := shapeOf(s.marker()); !ok || again != s {
						require.Fail(t, "marker", s.marker())
					}
				}
			}
		}
	}
}

func noOverlap(t *testing.T, l *layout) {
	t.Helper()
	taken := map[[2]int]bool{}
	take := func(b box) {
		if b.from == 0 {
			return
		}
		require.True(t, b.from <= b.to && b.to <= gridColumns && b.row < l.end, "%s: %+v", l.shape.marker(), b)
		for col := b.from; col <= b.to; col++ {
			require.False(t, taken[[2]int{b.row, col}], "%s: %+v", l.shape.marker(), b)
			taken[[2]int{b.row, col}] = true
		}
	}
	for _, f := range l.fields() {
		take(f.label)
		take(f.entry)
		take(f.hint)
	}
	for _, h := range l.heads {
		take(h.box)
	}
	for _, b := range append(append([]box{l.title, l.marker, l.stateHead, l.tableHead, l.guide}, l.blocked...), l.lines...) {
		take(b)
	}
	for _, s := range append(append([]slot(nil), l.times...), l.readings...) {
		take(s.box)
	}
	require.Len(t, l.readings, l.rows()*max(1, map[bool]int{true: 1, false: l.runs}[l.method == leakback.MethodBlockOff]))
}

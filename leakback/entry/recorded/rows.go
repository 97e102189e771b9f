package recorded

import (
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/limits/quantity"
	"leakback/stats"
)

// rows are the readings with what was said of them. The first row says what
// belongs to the whole test, and the first of a run what belongs to the run.
func (m *maker) rows(method leakback.Method) []entry.Row {
	rows := make([]entry.Row, 0, len(m.readings))
	for i := range m.readings {
		rd := &m.readings[i]
		if !m.fits(rd, method) {
			continue
		}
		row := m.row(rd)
		if len(rows) == 0 {
			for _, field := range testFields {
				row[field] = m.record.Set(field)
			}
		}
		if n := len(m.laid); n == 0 || m.laid[n-1].run != rd.run {
			m.ofRun(place{run: rd.run}, row)
		}
		m.layBlocked(place{run: rd.run}, row, method)
		rows = append(rows, row)
		m.laid = append(m.laid, rd.place)
	}
	return rows
}

// testFields are the columns of a readings file that belong to a whole test.
var testFields = []string{leakback.FieldEngine, FieldCondition, FieldInjectors}

// fits says whether a reading is one of the method. One of another method that
// was taken back is no fault.
func (m *maker) fits(rd *reading, method leakback.Method) bool {
	own := method == leakback.MethodIndividual
	switch {
	case !slices.Contains(entry.ReadingColumns(), rd.field):
		m.fault(rd.place, rd.field, rd.value, "one of "+strings.Join(entry.ReadingColumns(), ", "))
	case own == (rd.cylinder != 0):
		return true
	case rd.value == "":
	case own:
		m.fault(rd.place, rd.field, rd.value, "a cylinder's own return, since the method is "+string(method))
	default:
		m.fault(rd.place, rd.field, rd.value, "the merged return, since the method is "+string(method))
	}
	return false
}

// ofRun lays what belongs to a run into its first row.
func (m *maker) ofRun(at place, row entry.Row) {
	for _, f := range runFields {
		m.lay(row, at, f.name)
	}
	row[FieldIntervalS], row[FieldCranks] = m.interval(at), m.cranks(at)
}

// lay lays the value near a reading, or a run, into a row.
func (m *maker) lay(row entry.Row, at place, field string) {
	if value, _ := m.near(at, field); value != "" {
		row[field] = value
	}
}

// layBlocked lays the cylinders that were blocked into a row.
func (m *maker) layBlocked(at place, row entry.Row, method leakback.Method) {
	switch blocked := m.blocked(at.run); {
	case method == leakback.MethodBlockOff:
		row[FieldBlocked] = blocked
	case blocked != "":
		m.fault(at, FieldBlocked, blocked, "nothing, since the method is "+string(method))
	}
}

// interval is the length of a run's collection as a cell.
func (m *maker) interval(at place) string {
	t := m.run(at.run)
	if set := m.of(at, FieldIntervalS); len(t.times) > 0 && (t.last() > t.interval || set == "") {
		t.byClock = append(t.byClock, FieldIntervalS)
		return m.sum(at, t.times)
	}
	value, _ := m.near(at, FieldIntervalS)
	if value == "" {
		m.fault(at, FieldIntervalS, "", "the length of the collection, timed or set")
	}
	return value
}

// sum adds up the times of a run; they are whole milliseconds mostly, whose sum
// is to stay as round.
func (m *maker) sum(at place, times []timed) string {
	total := 0.0
	for _, t := range times {
		s, err := quantity.ParseNumber(t.value, true)
		if err != nil || s < 0 {
			m.fault(at, t.field, t.value, "how long it ran, in s")
			return ""
		}
		total += s
	}
	return quantity.Plain(stats.Round6(total), -1)
}

// cranks is how often the starter was used in a run, as a cell.
func (m *maker) cranks(at place) string {
	t := m.run(at.run)
	timed, last := 0, 0
	for _, one := range t.times {
		if strings.HasPrefix(one.field, crankPrefix) {
			timed, last = timed+1, one.at
		}
	}
	if set := m.of(at, FieldCranks); timed > 0 && (last > t.cranks || set == "") {
		t.byClock = append(t.byClock, FieldCranks)
		return strconv.Itoa(timed)
	}
	value, _ := m.near(at, FieldCranks)
	return value
}

// row is one reading with what was said of it.
func (m *maker) row(rd *reading) entry.Row {
	row := entry.Row{"run": strconv.Itoa(rd.run), rd.field: rd.value}
	if rd.cylinder != 0 {
		row["cylinder"] = strconv.Itoa(rd.cylinder)
	}
	for _, f := range readingFields {
		m.lay(row, rd.place, f.name)
	}
	m.scale(row, rd.place)
	if rd.line != "" {
		row[FieldReturnLine] = rd.line
	} else if line := row[FieldReturnLine]; rd.cylinder == 0 && line != "" && m.reads(place{run: rd.run, line: line}) {
		m.fault(rd.place, FieldReturnLine, line, "another one: it was read by its name as well")
	}
	return row
}

func (m *maker) reads(at place) bool {
	return slices.ContainsFunc(m.readings, func(r reading) bool { return r.place == at })
}

// scale takes the tolerance of a reading's tube out of its row where the glass's
// class was set nearer: at one place the tolerance stands.
func (m *maker) scale(row entry.Row, at place) {
	if row[FieldToleranceML] == "" || row[FieldTubeClass] == "" {
		return
	}
	tolerance, class := m.said(at, FieldToleranceML), m.said(at, FieldTubeClass)
	if tolerance != class && (tolerance == place{} || class == at) {
		delete(row, FieldToleranceML)
	}
}

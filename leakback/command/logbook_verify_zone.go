package command

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// stampLayout is how the sheet of entries has times.
const stampLayout = "2006-01-02 15:04:05 -07:00"

// rows is how many entries the report has: the last row that has its number.
func (c *claim) rows() int {
	if c.entries == nil {
		return 0
	}
	n := 0
	for name, cell := range c.entries.Cells {
		row, err := strconv.Atoi(strings.TrimPrefix(name, "A"))
		if err == nil && row > 1 && cell.Value == strconv.Itoa(row-1) {
			n = max(n, row-1)
		}
	}
	return n
}

// time is when an entry was made, as the report has it, by its place from 0.
func (c *claim) time(place int) (time.Time, bool) {
	if c.entries == nil {
		return time.Time{}, false
	}
	t, err := time.Parse(stampLayout, c.entries.Cell("B"+strconv.Itoa(place+2)).Value)
	return t, err == nil
}

// firstTime is when the first entry was made.
func (c *claim) firstTime() (time.Time, bool) { return c.time(0) }

// zoneOf is the zone of a report's times: ours where it gives the same offsets
// from UTC, else one that is made of the offsets which the report has.
func zoneOf(tests []*foundTest, ours *time.Location) *time.Location {
	var turns []turn
	same := true
	for _, t := range tests {
		for i, e := range t.test.record.Events {
			stated, ok := t.claim.time(i)
			if !ok {
				continue
			}
			_, offset := stated.Zone()
			_, our := time.UnixMicro(e.AtUS).In(ours).Zone()
			same = same && offset == our
			turns = append(turns, turn{e.AtUS / 1e6, offset})
		}
	}
	slices.SortStableFunc(turns, func(a, b turn) int { return cmp.Compare(a.atS, b.atS) })
	turns = slices.CompactFunc(turns, func(a, b turn) bool { return a.offset == b.offset })
	const most = 100 // a zone changes twice a year
	if same || len(turns) > most {
		return ours
	}
	return turning(turns)
}

// turn is a moment, in s since the beginning of 1970, from which on a zone has
// that offset from UTC in s.
type turn struct {
	atS    int64
	offset int
}

// turning is a zone with those turns, in their order; the first offset holds
// before them too. More than one can only be said in the form of RFC 9636.
func turning(turns []turn) *time.Location {
	if len(turns) == 1 {
		return time.FixedZone("", turns[0].offset)
	}
	var data bytes.Buffer
	header := func(times, types, letters uint32) {
		data.WriteString("TZif2" + string(make([]byte, 15)))
		for _, n := range []uint32{0, 0, 0, times, types, letters} {
			_ = binary.Write(&data, binary.BigEndian, n) // into memory
		}
	}
	header(0, 1, 1) // of the old form, which is skipped
	data.Write(make([]byte, 6+1))
	header(uint32(len(turns)), uint32(len(turns)), 1)
	for _, t := range turns {
		_ = binary.Write(&data, binary.BigEndian, t.atS)
	}
	for i := range turns {
		data.WriteByte(byte(i))
	}
	for _, t := range turns {
		_ = binary.Write(&data, binary.BigEndian, int32(t.offset))
		data.Write([]byte{0, 0})
	}
	data.WriteString("\x00\n\n")
	zone, err := time.LoadLocationFromTZData(fmt.Sprint("as reported, ", len(turns)), data.Bytes())
	if err != nil {
		return time.FixedZone("", turns[0].offset)
	}
	return zone
}

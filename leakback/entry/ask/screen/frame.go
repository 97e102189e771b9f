package screen

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/charmbracelet/x/ansi"

	"leakback/leakback/entry/ask"
	"leakback/leakback/terminal"
)

const (
	// margin is the column that stays free at either side.
	margin = 1
	// widest is how wide the form grows: lines that are longer are hard to read.
	widest = 100
	// roomy is the height from which rules set the head and the foot apart.
	roomy = 18
)

// wide is the width that is drawn on.
func (m *model) wide() int {
	if m.width == 0 {
		return 78
	}
	return max(1, min(m.width-2*margin, widest))
}

// compose draws the frame: the section at the head, what was said, what is
// asked, and how to answer at the foot.
func (m *model) compose() {
	if m.width <= 0 || m.rows <= 0 {
		return
	}
	w := m.wide()
	head, foot := m.head(w), m.foot(w)
	body := m.body(w, max(1, m.rows-len(head)-len(foot)))
	if again := m.foot(w); !slices.Equal(again, foot) { // what there is to scroll has changed
		foot = again
		body = m.body(w, max(1, m.rows-len(head)-len(foot)))
	}
	for len(head)+len(body)+len(foot) < m.rows {
		body = append(body, "")
	}
	lines := slices.Concat(head, body, foot)
	for i, line := range lines {
		lines[i] = ansi.Truncate(strings.Repeat(" ", margin)+line, m.width, "")
		if !m.look.unicode {
			lines[i] = terminal.InPlace(lines[i])
		}
	}
	m.frame = strings.Join(lines[:min(len(lines), m.rows)], "\n")
}

// head is the section that the question stands under.
func (m *model) head(w int) []string {
	lines := []string{m.look.strong.Render(ansi.Truncate(m.look.oneLine(m.q.Section), w, m.look.cut))}
	if m.rows >= roomy {
		lines = append(lines, m.look.faint.Render(repeated(m.look.rule, w)))
	}
	return lines
}

// foot is how to answer.
func (m *model) foot(w int) []string {
	lines := flowed(m.keys(), "   ", w)
	if more := flowed(append(m.keys(), ask.WordHelp+" explains"), "   ", w); !m.timed() && len(more) == len(lines) {
		lines = more // it takes no room from what is asked
	}
	lines = lines[:min(len(lines), 2)]
	for i, line := range lines {
		lines[i] = m.look.faint.Render(line)
	}
	if m.rows >= roomy {
		lines = append([]string{m.look.faint.Render(repeated(m.look.rule, w))}, lines...)
	}
	return lines
}

// keys are the keys that do something, those wanted most first.
func (m *model) keys() []string {
	down := map[bool]string{true: "↓", false: "Down"}[m.look.unicode]
	keys := []string{"Enter takes"}
	switch {
	case m.q.Kind == ask.Confirm && !m.read:
		keys = []string{"Enter reads on"}
	case m.q.Kind == ask.Confirm:
		keys = []string{"Enter confirms"}
	case m.q.Kind == ask.Choice:
		keys = []string{"Number or arrow, then Enter"}
	case m.q.Kind == ask.Timer && m.q.Running:
		keys = []string{"Enter or Space STOPS"}
	case m.q.Kind == ask.Timer:
		keys = []string{"Enter or Space STARTS"}
	case m.q.Kind == ask.Rest:
		keys = []string{"Enter goes on"}
	case len(m.q.Earlier) > 0:
		keys = append(keys, down+" earlier answers")
	}
	if m.clipped() {
		keys = append(keys, "PgUp PgDn scroll")
	}
	return append(keys, "Esc back", "Ctrl+C leaves")
}

// How much of the form gives way where there is little room.
const (
	ample  = iota // the plate is thick, and groups stand apart
	spacey        // groups stand apart
	dense         // they do not, and hints and offers are short
	bare          // there are none
)

// body is everything between head and foot, on at most that many rows.
func (m *model) body(w, rows int) []string {
	said, notes := m.saidLines(w), m.noteLines(w)
	if len(said) > max(1, rows/4) { // to be scrolled with the notes rather than cut
		notes = append(append(said, ""), notes...)
		said = nil
	}
	for tight := ample; ; tight++ {
		p := m.parts(w, rows-len(said), tight)
		room := rows - len(said) - p.rows()
		if tight <= spacey {
			room -= m.gaps(said, notes, p)
		}
		if tight == bare || room >= m.wants(len(notes), w, tight) {
			return spaced(tight <= spacey, m.stacked(said, notes, p, w, room))
		}
	}
}

// gaps is how many empty lines stand between the groups of the body.
func (m *model) gaps(said, notes []string, p parts) int {
	gaps := 0 // the plate is always there
	for _, there := range []bool{len(said) > 0, len(notes) > 0, m.pictured(), len(p.field) > 0} {
		if there {
			gaps++
		}
	}
	return gaps
}

// spaced puts groups of lines over one another, apart or not.
func spaced(apart bool, groups [][]string) []string {
	var lines []string
	for _, g := range groups {
		if apart && len(lines) > 0 && len(g) > 0 {
			lines = append(lines, "")
		}
		lines = append(lines, g...)
	}
	return lines
}

// wants is how many rows notes and pictures should have before anything else
// gives way.
func (m *model) wants(notes, w, tight int) int {
	wants := notes
	switch {
	case tight == dense && m.tabled():
		wants = min(notes, 13) // the answer and a row for each of six cylinders
	case tight == dense:
		wants = min(notes, 6)
	}
	switch {
	case m.timed():
		scale := min(scaleOf(m.digits(), w, math.MaxInt), []int{3, 2, 1, 1}[tight])
		wants += scale*glyphRows + 3
	case m.pictured():
		wants += len(m.q.Board.Bars) + 2
	}
	return wants
}

// pictured says whether a count-down or bars are drawn.
func (m *model) pictured() bool { return m.timed() || m.q.Board != nil && m.q.Kind == ask.Reading }

// stacked are the groups of the body in their order, the notes and the picture
// on as many rows as there is room.
func (m *model) stacked(said, notes []string, p parts, w, room int) [][]string {
	least := min(len(notes), max(3, room/3))
	picture := m.picture(w, room-least)
	notes = m.scrolled(notes, w, room-len(picture))
	if m.timed() || m.q.Kind == ask.Confirm {
		return [][]string{said, p.plate, notes, picture, p.field}
	}
	return [][]string{said, notes, picture, p.plate, p.field}
}

// picture is the count-down or the bars.
func (m *model) picture(w, rows int) []string {
	switch {
	case rows <= 0:
		return nil
	case m.timed():
		return m.timerLines(w, rows)
	case m.pictured():
		return m.newBoard(w).lines(rows)
	}
	return nil
}

// saidLines is what was said with the last answer.
func (m *model) saidLines(w int) []string {
	var lines []string
	for _, text := range m.said {
		for i, line := range m.look.wrapped(text, w-2) {
			lead := "  "
			if i == 0 {
				lead = m.look.said + " "
			}
			lines = append(lines, lead+line)
		}
	}
	return lines
}

// noteLines is what is to be read before the answer: the notes, and the results
// where a choice is made from them.
func (m *model) noteLines(w int) []string {
	var lines []string
	for _, text := range m.q.Notes {
		if len(lines) > 0 {
			lines = append(lines, "")
		}
		lines = append(lines, m.look.wrapped(text, w)...)
	}
	if !m.tabled() {
		return lines
	}
	if len(lines) > 0 {
		lines = append([]string{""}, lines...)
	}
	return slices.Concat(m.tableLines(w), lines)
}

// tabled says whether results are to be read before the answer.
func (m *model) tabled() bool { return m.q.Table != nil && !m.pictured() }

// tableLines is the table that was drawn last; nothing where there was none. It
// is drawn once for a question and a width.
func (m *model) tableLines(w int) []string {
	if m.table == nil {
		return nil
	}
	if m.drawnFor != w {
		m.drawn, m.drawnFor = m.look.lines(m.table(w), w), w
	}
	return m.drawn
}

// scrolled shows as much of the notes as fits, says how much is out of sight,
// and remembers when their end has been seen.
func (m *model) scrolled(notes []string, w, rows int) []string {
	m.notes.SetWidth(w)
	if len(notes) == 0 || rows <= 0 {
		m.notes.SetHeight(0)
		m.notes.SetContentLines(nil)
		m.read = m.read || len(notes) == 0
		return nil
	}
	height := min(len(notes), rows)
	if height < len(notes) && rows > 1 {
		height = rows - 1
	}
	m.notes.SetHeight(height)
	m.notes.SetContentLines(notes)
	if m.notes.PastBottom() {
		m.notes.GotoBottom()
	}
	m.read = m.read || m.notes.AtBottom()
	lines := strings.Split(m.notes.View(), "\n")
	if height < len(notes) && rows > 1 {
		lines = append(lines, m.outOfSight(len(notes)))
	}
	return lines
}

// outOfSight says how many lines are above and below what is shown.
func (m *model) outOfSight(total int) string {
	above := m.notes.YOffset()
	below := total - above - m.notes.Height()
	var parts []string
	if above > 0 {
		parts = append(parts, m.look.up+" "+counted(above)+" above")
	}
	if below > 0 {
		parts = append(parts, m.look.down+" "+counted(below)+" below")
	}
	return m.look.strong.Render(strings.Join(parts, "   "))
}

// counted is a number of lines.
func counted(n int) string {
	if n == 1 {
		return "1 line"
	}
	return strconv.Itoa(n) + " lines"
}

// clipped says whether there is anything to scroll.
func (m *model) clipped() bool { return m.notes.TotalLineCount() > m.notes.Height() }

package entry

import (
	"fmt"
	"math"
	"strings"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/stats"
)

// problem is what is wrong between the figures of one reading, and the column
// to blame; nothing is wrong where expected is "".
type problem struct {
	column   column
	expected string
}

// tube is the tube of a reading: what its cells say (NaN where they are empty),
// else the flags.
func (d *Defaults) tube(graduation, capacity, tolerance float64) (leakback.Tube, problem) {
	t := leakback.Tube{
		GraduationML: orElse(graduation, d.GraduationML),
		CapacityML:   orElse(capacity, d.CapacityML),
		ToleranceML:  orElse(tolerance, d.ToleranceML),
	}
	if t.CapacityML > 0 && t.GraduationML > t.CapacityML {
		if math.IsNaN(graduation) {
			return t, problem{colCapacity, atLeastAMark(t.GraduationML)}
		}
		return t, problem{colGraduation, "at most the tube's capacity, " + inML(t.CapacityML)}
	}
	if !math.IsNaN(t.ToleranceML) {
		return t, problem{}
	}
	if d.TubeClass == "" {
		t.ToleranceML = t.GraduationML
		return t, problem{}
	}
	return t, d.classify(&t)
}

// classify takes the tolerance from the glass's class.
func (d *Defaults) classify(t *leakback.Tube) problem {
	if t.CapacityML == 0 {
		return problem{colCapacity, noCapacityForClass}
	}
	tolerance, err := limits.GlassToleranceML(t.CapacityML, d.TubeClass)
	if err != nil {
		return problem{colCapacity, strings.TrimPrefix(err.Error(), inML(t.CapacityML)+": expected ")}
	}
	t.ToleranceML, t.Class = tolerance, d.TubeClass
	return problem{}
}

const noCapacityForClass = "the tube's capacity, which --tube-class needs: a column capacity_ml or --capacity"

func atLeastAMark(graduation float64) string {
	return fmt.Sprintf("at least one mark of %s; the marks are given by graduation_ml or --graduation", inML(graduation))
}

// typed is a figure as a cell may hold it.
func typed(x float64) string { return quantity.Plain(x, -1) }

func inML(x float64) string { return quantity.Format(quantity.Volume, x) }

// cutBound parts > or < from the figure behind it.
func cutBound(text string) (leakback.Bound, string) {
	switch {
	case strings.HasPrefix(text, ">"):
		return leakback.AtLeast, strings.TrimLeft(text[1:], " ")
	case strings.HasPrefix(text, "<"):
		return leakback.AtMost, strings.TrimLeft(text[1:], " ")
	}
	return leakback.Exact, text
}

// checkLevels holds the levels of a reading against one another and the tube, to
// the 6 decimals by which all is decided: a full tube is full in fluid ounces too.
// factor is the unit that the volume was written in.
func checkLevels(rd *leakback.Reading, factor float64) problem {
	level, start, full := stats.Round6(rd.VolumeML), stats.Round6(rd.StartML), stats.Round6(rd.Tube.CapacityML)
	switch {
	case rd.Bound != leakback.Exact && level == 0:
		return problem{colVolume, "a level above 0 where the tube overflowed or the first mark was not reached"}
	case full > 0 && level > full && rd.Bound != leakback.Exact:
		return problem{colVolume, "at most the tube's capacity, " + inML(full)}
	case full > 0 && level > full && factor != 1:
		return problem{colVolume, "at most the tube's capacity, " + inML(full) + "; where it overflowed write > and its highest mark"}
	case full > 0 && level > full:
		return problem{colVolume, fmt.Sprintf("at most the tube's capacity, %s; where it overflowed write >%s",
			inML(full), typed(full))}
	case full > 0 && start > full:
		return problem{colStart, "at most the tube's capacity, " + inML(full)}
	case start > level:
		return problem{colStart, "at most the level read, " + inML(level)}
	case rd.Bound == leakback.AtLeast && start == level:
		return problem{colStart, "less than the level at which the tube overflowed, " + inML(level)}
	}
	return problem{}
}

const (
	notUTF8     = "UTF-8 text; save the file as CSV (UTF-8)"
	noDrops     = "a volume, and a drop is none: collect to the first mark, or weigh"
	aFigure     = "a figure behind > or <, such as >100 or <2"
	aReading    = "a number such as 22.5, >100 or <2, or nothing where it was not read"
	pointPlease = "a decimal point, since commas separate the cells of this file"
)

// dropWords are how a drop begins in the languages of many workshops.
var dropWords = []string{"drop", "tropf", "goutte", "gota", "gocc", "druppel", "drypp", "kropl", "kapk", "damla", "капл"}

// countsDrops says whether a volume was given in drops.
func countsDrops(text string) bool {
	text = strings.ToLower(text)
	for _, word := range dropWords {
		if strings.Contains(text, word) {
			return true
		}
	}
	return false
}

// expectedBy is what an error about a quantity expects in the place of text.
func expectedBy(err error, text string) string {
	return strings.TrimPrefix(err.Error(), quantity.Quote(text)+": expected ")
}

// levelExpected says what should stand where text is no level.
func levelExpected(text, figure string) string {
	switch {
	case figure == "":
		return aFigure
	case countsDrops(text):
		return noDrops
	}
	return aReading
}

package entry

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
)

// volumesFlag stands in messages where a file's name would.
const volumesFlag = "--volumes"

// Volumes reads one run from the volumes on a scrap of paper, in the order of
// cylinder numbers: "21 22.5 23 >100 skip 22". Spaces, semicolons, or commas
// with a space behind them part the volumes; a decimal comma and units are
// allowed; skip or - is a cylinder that was not read. An error is a
// *FaultError.
func Volumes(text string, d Defaults) (*leakback.Test, error) {
	d, faults := d.settled()
	if len(faults) > 0 {
		return nil, &FaultError{Faults: faults}
	}
	list := faultList{file: volumesFlag}
	volumes := splitVolumes(text)
	checkCount(len(volumes), &d, &list)
	tube, p := d.tube(math.NaN(), math.NaN(), math.NaN())
	if p.expected != "" {
		list.add(Fault{Column: d.flagOf(p.column), Expected: p.expected})
	}
	if math.IsNaN(d.IntervalS) {
		list.add(Fault{Expected: "the length of the collection: --interval"})
	}
	run := leakback.Run{Number: 1, IntervalS: intervalS(d.IntervalS), State: d.state()}
	for i, volume := range volumes {
		rd := leakback.Reading{Cylinder: i + 1, VolumeML: math.NaN(), Tube: tube, ReturnLine: d.ReturnLine}
		if expected := readVolume(volume, &rd); expected != "" {
			list.add(Fault{Column: fmt.Sprintf("cylinder %d", i+1), Value: volume, Expected: expected})
		}
		run.Readings = append(run.Readings, rd)
	}
	if err := list.err(); err != nil {
		return nil, err
	}
	return &leakback.Test{ID: "volumes", Engine: d.Engine, Condition: d.Condition, Injectors: d.Injectors,
		Method: leakback.MethodIndividual, Cylinders: d.Cylinders, Runs: []leakback.Run{run}}, nil
}

func checkCount(count int, d *Defaults, list *faultList) {
	switch most := d.Cylinders; {
	case count == 0:
		list.add(Fault{Expected: `a volume for each cylinder, such as "21 22.5 23 >100 21 22"`})
	case most > 0 && count > most:
		list.add(Fault{Expected: fmt.Sprintf("at most %d volumes, as --cylinders or the limits sheet says; found %d", most, count)})
	case count > limits.MostCylinders:
		list.add(Fault{Expected: fmt.Sprintf("at most %d volumes; found %d", limits.MostCylinders, count)})
	}
}

// splitVolumes parts the volumes. What a space has parted by the way, a unit
// or the mark of a bound, it puts together again.
func splitVolumes(text string) []string {
	text = strings.ReplaceAll(text, ";", " ")
	var volumes []string
	for _, part := range strings.Fields(text) {
		part = strings.TrimSuffix(part, ",")
		last := len(volumes) - 1
		switch {
		case part == "":
		case last >= 0 && (volumes[last] == ">" || volumes[last] == "<"):
			volumes[last] += part
		case last >= 0 && isUnit(part) && !NotRead(volumes[last]):
			volumes[last] += " " + part
		default:
			volumes = append(volumes, part)
		}
	}
	return volumes
}

func isUnit(part string) bool {
	r, _ := utf8.DecodeRuneInString(part)
	return unicode.IsLetter(r) && !NotRead(part)
}

// NotRead says whether a word stands for a cylinder that was not read.
func NotRead(volume string) bool { return volume == "-" || strings.EqualFold(volume, "skip") }

// readVolume reads one volume into rd; it gives what was expected where it is
// none.
func readVolume(text string, rd *leakback.Reading) (expected string) {
	if NotRead(text) {
		return ""
	}
	bound, figure := cutBound(text)
	if figure == "" || countsDrops(text) {
		return levelExpected(text, figure)
	}
	x, err := quantity.Parse(quantity.Volume, figure)
	if err != nil && strings.Contains(figure, ",") && strings.ContainsAny(figure[strings.Index(figure, ",")+1:], ".,") {
		return "one volume; part volumes with spaces, or with commas that have a space behind them"
	}
	if err != nil {
		return expectedBy(err, figure)
	}
	rd.Typed, rd.Bound, rd.VolumeML = text, bound, x
	return checkLevels(rd, 1).expected
}

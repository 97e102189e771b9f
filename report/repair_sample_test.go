package report

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits"
)

// Bench is one test of an invented engine: volumes of a minute in the order of
// cylinder numbers, with > and < before bounds and - where nothing was read.
type Bench struct {
	Volumes string
	Runs    int // alike; 1 where 0
	TempC   float64
	Change  func(*leakback.Test)
}

func (b Bench) test(id string) *leakback.Test {
	words := strings.Fields(b.Volumes)
	t := &leakback.Test{ID: id, Engine: "Northmoor Six-90", Condition: "idle", Injectors: limits.Driven,
		Method: leakback.MethodIndividual, Cylinders: len(words)}
	for k := range max(1, b.Runs) {
		run := leakback.Run{Number: k + 1, IntervalS: 60, State: leakback.UnknownState()}
		run.State.RailPressureBar, run.State.EngineRPM = 350, 650
		if b.TempC != 0 {
			run.State.FuelTempC, run.State.FuelTempAt = b.TempC, "return"
		}
		for i, word := range words {
			r := leakback.Reading{Cylinder: i + 1, Typed: word, Tube: leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 1, Class: "B"}}
			r.VolumeML, _ = strconv.ParseFloat(strings.TrimLeft(word, "<>"), 64)
			switch word[0] {
			case '-':
				r.VolumeML, r.Typed = math.NaN(), ""
			case '>':
				r.Bound = leakback.AtLeast
			case '<':
				r.Bound = leakback.AtMost
			}
			run.Readings = append(run.Readings, r)
		}
		t.Runs = append(t.Runs, run)
	}
	if b.Change != nil {
		b.Change(t)
	}
	return t
}

// RepairSheet is the invented bay sheet with a limit for idle, 0 for none, and
// three tightening steps.
func RepairSheet(maximum float64) *limits.Sheet {
	s := limits.Builtin()
	s.Name = "Bay sheet for the Northmoor Six-90 (invented)"
	if maximum > 0 {
		s.Limits = []limits.Limit{{Condition: "idle", MaxRateMLMin: &maximum, Source: "Northmoor Service Information 4.2 (invented)"}}
	}
	const source = "Northmoor Service Information 6.1 (invented)"
	s.Tightening = []limits.Step{
		{Step: 1, Part: "feed tube nut, first", TorqueNM: 11 * 1.3558179483314004, TorqueText: "11 lbf·ft", TorqueToleranceNM: 1.5, Source: source},
		{Step: 2, Part: "injector hold-down, both", TorqueNM: 30, TorqueText: "30 N·m", AngleDeg: 60, AngleToleranceDeg: 5, NewFastener: true, Source: source},
		{Step: 3, Part: "return line fitting", TorqueNM: 30 * 1.3558179483314004 / 12, TorqueText: "30 lbf·in", Source: source},
	}
	return s
}

// workNoon is when the work of stories was entered: 2024-03-06, noon UTC.
const workNoon = 1709726400_000000

// workRecord makes events of lines "work cylinder field = value"; of a step the
// field has its place, "step@1".
func workRecord(lines ...string) *leakback.Record {
	r := &leakback.Record{}
	for i, line := range lines {
		key, value, _ := strings.Cut(line, " = ")
		word := strings.Fields(key)
		field, place, isStep := strings.Cut(word[2], "@")
		work, _ := strconv.Atoi(word[0])
		cylinder, _ := strconv.Atoi(word[1])
		e := leakback.Event{Seq: int64(i + 1), AtUS: workNoon + int64(i)*7_000000, Person: "R. Example", Value: value, Typed: value,
			Key: repair.Key(work, cylinder, field)}
		if isStep {
			n, _ := strconv.Atoi(place)
			e.Key = repair.StepKey(work, cylinder, n, field)
		}
		r.Add(e)
	}
	return r
}

// works are what lines say, parted by a bar.
func works(t testing.TB, lines string) []repair.Work {
	t.Helper()
	list, err := repair.Works(workRecord(strings.Split(lines, "|")...))
	require.NoError(t, err)
	return list
}

// NewTube is the work of the story: the reused feed tube of cylinder 4 replaced by a
// new one, one step first entered in the wrong unit, one done beyond its angle.
const NewTube = "1 4 injector = refitted|1 4 injector_serial_out = NM-0417|1 4 injector_serial_in = NM-0417|1 4 feed_tube = new|" +
	"1 4 seals = new|1 4 old_part_tag = T-17|1 4 old_part_whereabouts = in the customer's box|" +
	"1 4 step@1 = 1|1 4 torque@1 = 11 lbf·in|1 4 torque@1 = 11 lbf·ft|1 4 step@2 = 2|1 4 torque@2 = 30 N·m|1 4 angle_deg@2 = 75|" +
	"1 4 new_fastener@2 = yes|1 4 step@3 = 3|1 4 torque@3 = 30 lbf·in|" +
	"1 0 fault_codes_before = P0202 (invented)|1 0 fault_codes_after = none|1 0 symptom_before = hard hot start|1 0 symptom_after = starts at once|" +
	"1 0 complaint_gone = yes|1 0 work_done = 2024-03-06 11:40 +01:00"

// The benches of the story: warm, then cold, then warm again.
var (
	WarmHigh = Bench{Volumes: "36 37 35 60 36 37", TempC: 55}
	ColdFine = Bench{Volumes: "21 20 21 24 20 21", TempC: 25}
	WarmFine = Bench{Volumes: "36 37 35 34 36 37", TempC: 54}
)

// RepairStory is the page of a repair of an invented engine: benches in their order, the
// work done before the second.
func RepairStory(t testing.TB, maximum float64, work string, benches ...Bench) *RepairPage {
	t.Helper()
	sheet := RepairSheet(maximum)
	p := &RepairPage{Tightening: sheet.Tightening, Version: "test", CautionLine: "Never feel for a leak by hand.",
		Advice: []string{"Look first at what is asked for here.", "Then look there."}, NotSeen: []string{"What drips elsewhere.", "A normal return clears no injector."},
		Cautions: []string{"A jet of fuel goes through skin without much pain.", "The maker's service information comes first."}}
	var all []repair.Side
	for i, b := range benches {
		r, err := leakback.Evaluate(b.test("bay-"+strconv.Itoa(i+1)), sheet)
		require.NoError(t, err)
		side := repair.Side{Result: r, Label: "test " + strconv.Itoa(i+1), When: "2024-03-0" + strconv.Itoa(5+i)}
		if i == 1 && work != "" {
			side.Work = works(t, work)
		}
		all = append(all, side)
		job := leakback.Job{Workshop: "Example Diesel (invented)", Technician: "R. Example", Customer: "Invented Haulage", WorkOrder: "118",
			Vehicle: "tipper 7 (invented)", Complaint: "hard hot start", Tested: side.When}
		p.Tests = append(p.Tests, &Page{Result: r, Job: job, Digest: strings.Repeat(strconv.Itoa(i), 64), Version: "test"})
	}
	c, err := repair.Compare(all, repair.AssumedFuel())
	require.NoError(t, err)
	p.Comparison = c
	return p
}

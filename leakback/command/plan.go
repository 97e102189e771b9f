package command

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"leakback/leakback"
	"leakback/leakback/advice"
	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/report"
)

// The methods that can be planned for.
const (
	planIndividual = string(leakback.MethodIndividual)
	planBlockOff   = "block-off"
)

var planFormats = []string{"text", "json"}

// planOptions are the flags of leakback plan.
type planOptions struct {
	method                          string
	expect, limit                   *quantity.Value
	interval, tolerance             *quantity.Value
	railPressure, fuelTemp          *quantity.Value
	tube                            tubeValue
	runs, passes, cylinders, cranks int
	tubeClass, order                string
	engine, limits                  string
	condition, injectors            string
	rpm                             *numberValue
	format, output, csv             string
	overwrite                       bool
}

func newPlanCommand(env *environment) *cobra.Command {
	o := &planOptions{}
	cmd := &cobra.Command{
		Use:   "plan",
		Short: "say how long to collect, how often and from which tube",
		Long: `Plan a test before anyone cranks.

Individual (a tube for each cylinder): how long to collect, and how often, for a
95 % chance of a decided answer; when the tube runs over; when to repeat instead
of going on; which of the common tubes to take; in cranks and rests where the
limits sheet has the starter's figures. Without a limit: from when measuring is
not the larger doubt in the comparison of the cylinders.

Block-off (the returns merge): which injector to block in which run, as a list
for the wall, with the standard deviation to expect. --expect is the share of
one cylinder.

--output writes a sheet to print and to write on, --csv the readings file to
fill in. Existing files are replaced only with --overwrite.

Exit codes: 0 planned, even where the answer is out of reach; 2 bad use or bad
input, or no test to write a file for; 3 cannot read or write.`,
		Example: `  leakback plan --expect 30mL/min --limit 40mL/min --tube 100/1
  leakback plan --expect 30mL/min --limits engine.toml --condition cranking
  leakback plan --method block-off --cylinders 6 --expect 30mL/min --csv runs.csv`,
		Args: arguments(),
		RunE: func(c *cobra.Command, _ []string) error {
			return (&planning{env: env, o: o, given: c.Flags().Changed}).run()
		},
		ValidArgsFunction: cobra.NoFileCompletions,
	}
	o.addFlags(cmd.Flags())
	completeWords(cmd, map[string][]string{
		"method": {planIndividual, planBlockOff}, "format": planFormats, "order": {orderCylinder, orderFiring},
	})
	for _, flag := range []string{"tube-class", "injectors", "condition"} {
		completeWords(cmd, map[string][]string{flag: stateWords[flag]})
	}
	for flag, extension := range map[string]string{"limits": "toml", "output": "xlsx", "csv": "csv"} {
		_ = cmd.MarkFlagFilename(flag, extension) // it fails only for a flag that does not exist
	}
	return cmd
}

func (o *planOptions) addFlags(f *pflag.FlagSet) {
	f.SortFlags = false
	value := func(to **quantity.Value, kind quantity.Kind, name, usage string) {
		*to = quantity.NewValue(kind)
		f.Var(*to, name, usage)
	}
	f.StringVar(&o.method, "method", planIndividual, "individual or block-off")
	value(&o.expect, quantity.Rate, "expect", "rate to expect of a cylinder, such as 30mL/min")
	value(&o.limit, quantity.Rate, "limit", "limit to be over or under; else the sheet's")
	f.Var(&o.tube, "tube", "capacity/marks in mL, such as 100/1 (else 1 mL marks)")
	f.StringVar(&o.tubeClass, "tube-class", "", "A or B: the tolerance of ASTM E1272 by capacity")
	value(&o.tolerance, quantity.Volume, "tolerance", "largest error of the tube's scale (one mark)")
	addWhole(f, &o.runs, "runs", 1, "individual: runs to take at least")
	value(&o.interval, quantity.Interval, "interval", "length of each run, where that is settled")
	addWhole(f, &o.passes, "passes", 2, "block-off: runs that block each cylinder")
	f.StringVar(&o.order, "order", orderCylinder, "block-off: firing, or 1-5-3-6-2-4")
	addWhole(f, &o.cylinders, "cylinders", 0, "how many cylinders the engine has")
	addFile(f, &o.limits, "limits", "", "limits sheet; else LEAKBACK_LIMITS, else by engine")
	f.StringVar(&o.engine, "engine", "", "the engine's name, which picks its limits sheet")
	f.StringVar(&o.condition, "condition", "", "cranking, idle, raised-idle or another word")
	f.StringVar(&o.injectors, "injectors", "", "driven or off")
	addWhole(f, &o.cranks, "cranks", 0, "how many cranks make up a run")
	value(&o.railPressure, quantity.Pressure, "rail-pressure", "rail pressure, where the limits ask for it")
	value(&o.fuelTemp, quantity.Temperature, "fuel-temp", "fuel temperature, where they do")
	addSpeed(f, &o.rpm, "engine speed in 1/min, where they do")
	f.StringVar(&o.format, "format", "text", "text or json")
	addFile(f, &o.output, "output", "o", "write a sheet to print and write on (.xlsx)")
	addFile(f, &o.csv, "csv", "", "write the readings file to fill in (.csv)")
	f.BoolVar(&o.overwrite, "overwrite", false, "replace existing files")
}

// planning is one run of the command.
type planning struct {
	env   *environment
	o     *planOptions
	given func(flag string) bool
	sheet *limits.Sheet
	page  *report.PlanPage
}

func (p *planning) run() error {
	if err := p.sound(); err != nil {
		return err
	}
	sheet, err := p.env.findSheet(p.o.engine, p.o.limits)
	if err != nil {
		return err
	}
	p.sheet = sheet
	if err := p.count(); err != nil {
		return err
	}
	p.page = p.newPage()
	if p.o.method == planBlockOff {
		err = p.blockOff()
	} else {
		err = p.collection()
	}
	if err != nil {
		return flagged(err)
	}
	return p.write()
}

// atHand is the tube that the flags describe; marks of 1 mL where they do not.
func (p *planning) atHand() (leakback.Tube, error) {
	t := leakback.Tube{GraduationML: 1, Class: strings.ToUpper(p.o.tubeClass)}
	if p.o.tube.known {
		t.CapacityML, t.GraduationML = p.o.tube.capacityML, p.o.tube.graduationML
	}
	t.ToleranceML = t.GraduationML
	switch {
	case p.o.tolerance.Known():
		t.ToleranceML = p.o.tolerance.Value()
	case t.Class != "":
		tolerance, err := limits.GlassToleranceML(t.CapacityML, t.Class)
		if err != nil {
			return t, fmt.Errorf("--tube-class: %w", err)
		}
		t.ToleranceML = tolerance
	}
	return t, nil
}

func (p *planning) newPage() *report.PlanPage {
	page := &report.PlanPage{
		Engine: p.o.engine, Condition: p.o.condition, Injectors: p.o.injectors, Cylinders: p.o.cylinders, Sheet: p.sheet,
		Cautions: advice.Cautions(), CautionLine: advice.CautionLine(), Version: version(),
	}
	if page.Engine == "" {
		page.Engine = p.sheet.Engine
	}
	var topics []advice.Topic
	if p.o.method == planBlockOff {
		topics = append(topics, advice.OpeningLines, advice.Blocking)
	}
	if p.cranking() {
		topics = append(topics, advice.MovingEngine, advice.Exhaust)
		page.Condition = leakback.Cranking
	}
	page.Concerns = advice.CautionsAbout(topics...)
	if r := p.sheet.BackPressureBar; r != nil {
		page.Notes = append(page.Notes, fmt.Sprintf("The return of this engine must be held at %s: collected into open "+
			"tubes it means nothing.", span(r, quantity.Pressure.Unit())))
	}
	return page
}

// collection plans an individual test.
func (p *planning) collection() error {
	tube, err := p.atHand()
	if err != nil {
		return err
	}
	limitMLMin, err := p.limitMLMin()
	if err != nil {
		return err
	}
	cranks, err := p.cranks()
	if err != nil {
		return err
	}
	p.page.Collection, err = leakback.PlanCollection(leakback.CollectionGoal{
		ExpectMLMin: p.o.expect.Value(), LimitMLMin: limitMLMin, Tube: tube, Runs: p.o.runs, IntervalS: p.o.interval.Value(),
		Cylinders: p.o.cylinders, Cranking: p.cranking(), Cranks: cranks, Set: p.sheet.Set, Measurement: p.sheet.Measurement,
	})
	return err
}

// blockOff plans a block-off measurement.
func (p *planning) blockOff() error {
	tube, err := p.atHand()
	if err != nil {
		return err
	}
	order, err := p.order()
	if err != nil {
		return err
	}
	p.page.BlockOff, err = leakback.PlanBlockOff(leakback.BlockOffGoal{
		Order: order, Lines: p.sheet.ReturnLines, ExpectMLMin: p.o.expect.Value(), Tube: tube, Passes: p.o.passes,
		IntervalS: p.o.interval.Value(), Cranking: p.cranking(), Cranks: p.o.cranks, Measurement: p.sheet.Measurement,
	})
	return err
}

// write prints the plan, then writes the files that were asked for.
func (p *planning) write() error {
	var text bytes.Buffer
	render := report.PlanJSON
	if p.o.format == "text" {
		s := p.env.screen
		render = func(w io.Writer, page *report.PlanPage) error {
			return report.Plan(w, page, report.TableOptions{Width: s.width, Color: s.color, Unicode: s.unicode})
		}
	}
	if err := render(&text, p.page); err != nil {
		return err
	}
	if _, err := p.env.stdout.Write(text.Bytes()); err != nil {
		return stdoutError(err)
	}
	return p.writeFiles()
}

// writeFiles writes what is to be filled in.
func (p *planning) writeFiles() error {
	if c := p.page.Collection; c != nil && c.Outcome == leakback.OutOfReach && (p.o.csv != "" || p.o.output != "") {
		return errors.New("no file was written: collecting cannot decide this, so there is nothing to fill in")
	}
	for _, file := range []struct {
		name  string
		write func(io.Writer, *report.PlanPage) error
	}{{p.o.csv, report.PlanCSV}, {p.o.output, report.PlanWorkbook}} {
		if file.name == "" {
			continue
		}
		if err := writeFile(file.name, p.o.overwrite, func(w io.Writer) error { return file.write(w, p.page) }); err != nil {
			return err
		}
		p.env.wrote(file.name)
	}
	return nil
}

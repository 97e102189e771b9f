package command

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
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
	rpm                             float64
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
  leakback plan --method block-off --cylinders 6 --expect 30mL/min --csv fill-in.csv`,
		Args: cobra.NoArgs,
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
	f.Var(&o.tube, "tube", "tube as capacity/marks in mL, such as 100/1 (marks of 1 mL)")
	f.StringVar(&o.tubeClass, "tube-class", "", "A or B: the tolerance of ASTM E1272 by capacity")
	value(&o.tolerance, quantity.Volume, "tolerance", "largest error of the tube's scale (one mark)")
	f.IntVar(&o.runs, "runs", 1, "individual: how many runs are taken at least")
	value(&o.interval, quantity.Interval, "interval", "length of each run, where that is settled")
	f.IntVar(&o.passes, "passes", 2, "block-off: how often each cylinder is blocked, even")
	f.StringVar(&o.order, "order", orderCylinder, "block-off: cylinder, firing (the sheet's), or a list such as 1-5-3-6-2-4")
	f.IntVar(&o.cylinders, "cylinders", 0, "how many cylinders the engine has")
	f.StringVar(&o.limits, "limits", "", "limits sheet (TOML); else LEAKBACK_LIMITS, else by engine")
	f.StringVar(&o.engine, "engine", "", "the engine's name, which picks its limits sheet")
	f.StringVar(&o.condition, "condition", "", "cranking, idle, raised-idle, commanded-pressure or your own word")
	f.StringVar(&o.injectors, "injectors", "", "driven or off")
	f.IntVar(&o.cranks, "cranks", 0, "how many cranks make up a run")
	value(&o.railPressure, quantity.Pressure, "rail-pressure", "rail pressure, where the sheet's limits depend on it")
	value(&o.fuelTemp, quantity.Temperature, "fuel-temp", "fuel temperature, where they depend on it")
	f.Float64Var(&o.rpm, "rpm", math.NaN(), "engine speed in 1/min, where they depend on it")
	f.Lookup("rpm").DefValue = ""
	f.StringVar(&o.format, "format", "text", "text or json")
	f.StringVarP(&o.output, "output", "o", "", "write a sheet to print and write on (.xlsx)")
	f.StringVar(&o.csv, "csv", "", "write the readings file to fill in (.csv)")
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
	sheet, err := limits.Find(p.o.engine, p.o.limits, p.env.getenv, p.env.configDir)
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

// flagged puts a goal's part as the flag that it came from.
func flagged(err error) error {
	var fault *leakback.GoalError
	if errors.As(err, &fault) {
		return fmt.Errorf("--%w", err)
	}
	return err
}

// cranking says whether the starter turns the engine.
func (p *planning) cranking() bool {
	return strings.EqualFold(strings.TrimSpace(p.o.condition), leakback.Cranking)
}

// sound refuses flags that contradict one another, whatever the sheet.
func (p *planning) sound() error {
	o := p.o
	for _, word := range []struct {
		flag, text string
		known      []string
	}{
		{"method", o.method, []string{planIndividual, planBlockOff}},
		{"format", o.format, planFormats},
		{"injectors", o.injectors, []string{"", limits.Driven, limits.Off}},
		{"tube-class", strings.ToUpper(o.tubeClass), []string{"", "A", "B"}},
	} {
		if !slices.Contains(word.known, word.text) {
			return fmt.Errorf("--%s: %s: expected %s", word.flag, quantity.Quote(word.text),
				strings.Join(slices.DeleteFunc(word.known, func(w string) bool { return w == "" }), " or "))
		}
	}
	if err := p.fitsMethod(); err != nil {
		return err
	}
	switch {
	case o.tubeClass != "" && !o.tube.known:
		return errors.New("--tube-class: expected with --tube, whose capacity names the tolerance")
	case o.tubeClass != "" && o.tolerance.Known():
		return errors.New("--tube-class and --tolerance: expected one of them")
	case p.given("cylinders") && (o.cylinders < 1 || o.cylinders > limits.MostCylinders):
		return fmt.Errorf("--cylinders: %d: expected a number from 1 to %d", o.cylinders, limits.MostCylinders)
	case p.given("rpm") && !(o.rpm >= 0 && o.rpm <= 10_000):
		return fmt.Errorf("--rpm: %v: expected a speed from 0 to 10,000 rpm", o.rpm)
	case p.given("cranks") && (o.cranks < 1 || o.cranks > 99):
		return fmt.Errorf("--cranks: %d: expected a whole number from 1 to 99", o.cranks)
	}
	return p.soundFiles()
}

// fitsMethod refuses flags of the other method.
func (p *planning) fitsMethod() error {
	other := map[string]string{
		"passes": "block-off is planned in passes; an individual test in --runs",
		"order":  "only block-off has an order",
	}
	if p.o.method == planBlockOff {
		other = map[string]string{
			"runs":  "block-off is planned in --passes",
			"limit": "block-off is planned for the comparison of the shares; the sheet's limits judge them afterwards",
		}
	}
	for _, flag := range []string{"passes", "order", "runs", "limit"} {
		if why, wrong := other[flag]; wrong && p.given(flag) {
			return fmt.Errorf("--%s: not with --method %s: %s", flag, p.o.method, why)
		}
	}
	if p.o.method == planIndividual && !p.o.expect.Known() {
		return &hintedError{errors.New("--expect: expected the rate to expect of a cylinder, such as 30mL/min"),
			"an earlier test of such an engine shows it; see leakback plan --help"}
	}
	return nil
}

// soundFiles looks at what is to be written before any work is done.
func (p *planning) soundFiles() error {
	o := p.o
	if o.overwrite && o.output == "" && o.csv == "" {
		return errors.New("--overwrite: expected with --output or --csv")
	}
	for _, file := range []struct{ flag, name, ending string }{{"output", o.output, ".xlsx"}, {"csv", o.csv, ".csv"}} {
		switch {
		case file.name == "":
			continue
		case !strings.HasSuffix(strings.ToLower(file.name), file.ending):
			return fmt.Errorf("--%s: %s: expected a name that ends in %s", file.flag, quantity.Quote(file.name), file.ending)
		}
		if err := replaceable(file.name, o.overwrite); err != nil {
			return err
		}
	}
	return nil
}

// count takes the number of cylinders from the flag or the sheet.
func (p *planning) count() error {
	o, s := p.o, p.sheet
	if o.cylinders != 0 && s.Cylinders != 0 && o.cylinders != s.Cylinders {
		return otherCount(o.cylinders, s)
	}
	if o.cylinders == 0 {
		o.cylinders = s.Cylinders
	}
	switch {
	case o.cylinders > 0:
		return nil
	case o.method == planBlockOff:
		return errors.New("--cylinders: expected how many cylinders the engine has; the limits sheet does not say")
	case o.csv != "":
		return errors.New("--csv: expected with --cylinders, or with a limits sheet that has them")
	}
	return nil
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

// limitMLMin is the limit to plan for: the flag's, else of the sheet's limits
// on one cylinder the one that lies nearer to what is expected; NaN for none.
func (p *planning) limitMLMin() (float64, error) {
	match := p.sheet.For(p.o.condition, p.o.injectors, p.state())
	var own []float64
	if most, ok := match.Limit.MaxMLMin(); ok {
		own = append(own, most)
	}
	if match.Limit != nil && match.Limit.MinRateMLMin != nil {
		own = append(own, *match.Limit.MinRateMLMin)
	}
	expect := p.o.expect.Value()
	slices.SortFunc(own, func(a, b float64) int {
		return int(math.Copysign(1, math.Abs(a-expect)-math.Abs(b-expect)))
	})
	switch given := p.o.limit.Value(); {
	case p.o.limit.Known() && len(own) > 0 && !slices.Contains(own, given):
		return 0, fmt.Errorf("--limit: %s: the limits sheet %s has %s for %s; expected one of the two",
			quantity.Format(quantity.Rate, given), p.sheet.Name, quantity.Format(quantity.Rate, own[0]), match.Limit.Condition)
	case p.o.limit.Known():
		own = []float64{given}
	case len(own) == 0:
		p.page.Notes = append(p.page.Notes, whyNoLimit(match)+" A set that is worn evenly looks healthy against itself.")
	}
	p.useLimit(match.Limit)
	return append(own, math.NaN())[0], nil
}

// whyNoLimit says why no limit on one cylinder applies.
func whyNoLimit(match limits.Match) string {
	if match.Limit != nil {
		return "The sheet's limit for " + match.Limit.Condition + " has no figure for the rate of one cylinder."
	}
	return match.Reason
}

// useLimit notes the limit that applies and what of it is not planned for.
func (p *planning) useLimit(l *limits.Limit) {
	if l == nil {
		return
	}
	p.page.Limit = l
	var aside []string
	for _, f := range l.Figures() {
		switch f.Key {
		case "max_rate_ml_min", "min_rate_ml_min", "max_volume_ml", "interval_s":
		default:
			aside = append(aside, f.Key)
		}
	}
	if len(aside) > 0 {
		p.page.Notes = append(p.page.Notes, "Not planned for, though the sheet has them: "+strings.Join(aside, ", ")+".")
	}
	for _, d := range []struct {
		what string
		r    *limits.Range
		got  []float64
	}{
		{"rail pressure", l.RailPressureBar, p.state().RailPressureBar},
		{"fuel temperature", l.FuelTempC, p.state().FuelTempC},
		{"engine speed", l.EngineRPM, p.state().EngineRPM},
	} {
		if d.r == nil {
			continue
		}
		if below, above := d.r.Side(d.got); below || above {
			p.page.Notes = append(p.page.Notes, fmt.Sprintf("The %s given lies outside what the limit is given for: "+
				"%s proves nothing there.", d.what, map[bool]string{true: "being within it", false: "being over it"}[below]))
		}
	}
}

// state is what the flags say of the running state.
func (p *planning) state() limits.State {
	list := func(x float64) []float64 {
		if math.IsNaN(x) {
			return nil
		}
		return []float64{x}
	}
	return limits.State{Cranks: p.o.cranks, RailPressureBar: list(p.o.railPressure.Value()),
		FuelTempC: list(p.o.fuelTemp.Value()), EngineRPM: list(p.o.rpm)}
}

// cranks is the crank pattern: the limit's where it asks for one.
func (p *planning) cranks() (int, error) {
	l := p.page.Limit
	switch {
	case l == nil || l.Cranks == 0 || !p.cranking():
		return p.o.cranks, nil
	case p.o.cranks != 0 && p.o.cranks != l.Cranks:
		return 0, fmt.Errorf("--cranks: %d: expected %d, as the limit asks: another pattern cannot be held against it",
			p.o.cranks, l.Cranks)
	}
	return l.Cranks, nil
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

// write prints the plan and writes the files that were asked for.
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
		p.env.say("wrote " + file.name)
	}
	return nil
}

package command

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
)

// flagged puts a goal's part as the flag that it came from.
func flagged(err error) error {
	var fault *leakback.GoalError
	if errors.As(err, &fault) {
		return fmt.Errorf("--%w", err)
	}
	return err
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
		if err := another(file.flag, file.name, o.limits); err != nil {
			return err
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

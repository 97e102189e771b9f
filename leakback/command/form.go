package command

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"leakback/leakback"
	"leakback/leakback/advice"
	"leakback/leakback/entry/form"
	"leakback/limits"
	"leakback/limits/quantity"
)

// formOptions are the flags of leakback form.
type formOptions struct {
	workshop, engine, limits string
	method                   string
	cylinders, runs          int
	output                   string
	overwrite                bool
}

var methods = []string{string(leakback.MethodIndividual), string(leakback.MethodBlockOff), string(leakback.MethodTotal)}

func newFormCommand(env *environment) *cobra.Command {
	o := &formOptions{}
	cmd := &cobra.Command{
		Use:   "form --output FILE.xlsx",
		Short: "write an entry form to fill in on a screen or on paper",
		Long: `Write an entry form as a workbook. Fill it in with any spreadsheet program, or
print it and take it to the engine on a clipboard: it is one page. leakback check
and leakback record --from read it back.

Exit codes: 0 written; 2 bad use or a limits sheet that is not sound; 3 the form
cannot be written.`,
		Example: `  leakback form --engine "My engine" --output form.xlsx
  leakback form --cylinders 4 --method block-off --output form.xlsx`,
		Args:              arguments(),
		RunE:              func(*cobra.Command, []string) error { return o.run(env) },
		ValidArgsFunction: cobra.NoFileCompletions,
	}
	f := cmd.Flags()
	f.SortFlags = false
	addFile(f, &o.output, "output", "o", "the form (.xlsx)")
	f.BoolVar(&o.overwrite, "overwrite", false, "replace an existing file")
	f.StringVar(&o.engine, "engine", "", "the engine's name, which picks its limits sheet")
	addFile(f, &o.limits, "limits", "", "limits sheet (TOML); else "+limits.EnvironmentVariable+", else by engine")
	addWhole(f, &o.cylinders, "cylinders", 0, "how many cylinders the engine has")
	f.StringVar(&o.method, "method", methods[0], "individual, block-off or total")
	addWhole(f, &o.runs, "runs", 0, "how many runs there is room for")
	f.StringVar(&o.workshop, "workshop", "", "workshop on the form")
	completeWords(cmd, map[string][]string{"method": methods})
	return cmd
}

func (o *formOptions) run(env *environment) error {
	switch {
	case o.output == "":
		return errors.New("--output: expected the name of the form to write")
	case !slices.Contains(methods, o.method):
		return fmt.Errorf("--method: %s: expected %s", quantity.Quote(o.method), strings.Join(methods, ", "))
	case o.cylinders < 0 || o.cylinders > limits.MostCylinders:
		return fmt.Errorf("--cylinders: %d: expected 1 to %d", o.cylinders, limits.MostCylinders)
	}
	if err := soundWorkbook(o.output, o.overwrite, o.limits); err != nil {
		return err
	}
	sheet, err := env.findSheet(o.engine, o.limits)
	if err != nil {
		return err
	}
	if o.cylinders != 0 && sheet.Cylinders != 0 && o.cylinders != sheet.Cylinders {
		return otherCount(o.cylinders, sheet)
	}
	options := form.Options{
		Workshop: o.workshop, Engine: o.engine, Cylinders: max(o.cylinders, sheet.Cylinders), Runs: o.runs,
		Method: leakback.Method(o.method), FiringOrder: sheet.FiringOrder, ReturnLines: sheet.ReturnLines, Sheet: sheet,
		Conditions: stateWords["condition"], Cautions: advice.Cautions(), Version: version(),
	}
	return env.publish(o.output, o.overwrite, func(w io.Writer) error { return form.Write(w, options) })
}

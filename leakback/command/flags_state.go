package command

import (
	"math"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/limits"
	"leakback/limits/quantity"
)

// stateOptions are the flags that fill in what a readings file leaves empty.
type stateOptions struct {
	interval                             *intervalValue
	graduation, capacity, tolerance      *quantity.Value
	fuelTemp, railPressure, backPressure *quantity.Value
	tubeClass, condition, injectors      string
	fuelTempAt, returnLine, engine       string
	cranks, cylinders                    int
	density, rpm                         *numberValue
}

// stateWords are the words that flags of stateOptions take, or mostly do.
var stateWords = map[string][]string{
	"tube-class": {"A", "B"}, "injectors": {limits.Driven, limits.Off},
	"condition":    {"cranking", "idle", "raised-idle", "commanded-pressure"},
	"fuel-temp-at": {"supply", "rail", "return", "tube"},
}

// completeWords offers words to the shell, by flag.
func completeWords(cmd *cobra.Command, words map[string][]string) {
	for flag, words := range words {
		// It fails only for a flag that does not exist, which a test would show.
		_ = cmd.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp))
	}
}

func (s *stateOptions) addFlags(f *pflag.FlagSet) {
	value := func(to **quantity.Value, kind quantity.Kind, name, usage string) {
		*to = quantity.NewValue(kind)
		f.Var(*to, name, usage)
	}
	s.interval = newIntervalValue()
	f.Var(s.interval, "interval", "length of each collection, such as 60s or 1m30s; or unknown")
	value(&s.graduation, quantity.Volume, "graduation", "step between two marks of the tubes (1 mL)")
	value(&s.capacity, quantity.Volume, "capacity", "highest mark of the tubes")
	value(&s.tolerance, quantity.Volume, "tolerance", "largest error of the tubes' scale (one mark)")
	addNumber(f, &s.density, "density", "density", "g/mL", 0.6, 1.1, "density in g/mL of fuel that was weighed (0.83, assumed)")
	f.StringVar(&s.tubeClass, "tube-class", "", "A or B: the tolerance of ASTM E1272 by capacity")
	f.StringVar(&s.engine, "engine", "", "the engine's name, which picks its limits sheet")
	addWhole(f, &s.cylinders, "cylinders", 0, "how many cylinders the engine has")
	f.StringVar(&s.condition, "condition", "", "cranking, idle, raised-idle, commanded-pressure or your own word")
	f.StringVar(&s.injectors, "injectors", "", "driven or off")
	addWhole(f, &s.cranks, "cranks", 0, "how many cranks make up a run")
	value(&s.fuelTemp, quantity.Temperature, "fuel-temp", "fuel temperature, such as 45C or 113F")
	f.StringVar(&s.fuelTempAt, "fuel-temp-at", "", "where it was taken: supply, rail, return or tube")
	value(&s.railPressure, quantity.Pressure, "rail-pressure", "rail pressure, such as 350bar or 5000psi")
	value(&s.backPressure, quantity.Pressure, "back-pressure", "pressure at which the return was held up")
	addSpeed(f, &s.rpm, "engine speed in 1/min")
	f.StringVar(&s.returnLine, "return-line", "", "return line (bank) of the cylinders")
}

// defaults are what the flags say, for the entry package.
func (s *stateOptions) defaults() entry.Defaults {
	return entry.Defaults{
		IntervalS: s.interval.Seconds(), GraduationML: s.graduation.Value(),
		CapacityML: s.capacity.Value(), ToleranceML: s.tolerance.Value(), TubeClass: s.tubeClass, DensityGML: s.density.value,
		Condition: s.condition, Injectors: s.injectors, Cranks: s.cranks,
		FuelTempC: s.fuelTemp.Value(), FuelTempAt: s.fuelTempAt,
		RailPressureBar: s.railPressure.Value(), BackPressureBar: s.backPressure.Value(),
		EngineRPM: s.rpm.value, ReturnLine: s.returnLine, Engine: s.engine, Cylinders: s.cylinders,
	}
}

// tidy brings the words of the flags to their usual form, and refuses what no test
// can hold.
func (s *stateOptions) tidy() error {
	d, err := s.defaults().Usual()
	if err != nil {
		return err
	}
	s.tubeClass, s.condition, s.injectors = d.TubeClass, d.Condition, d.Injectors
	s.fuelTempAt, s.returnLine, s.engine = d.FuelTempAt, d.ReturnLine, d.Engine
	return nil
}

// given are the flags of the state by the readings file's columns, in their units.
func (s *stateOptions) given() map[string]string {
	given := map[string]string{}
	for column, x := range map[string]float64{
		"graduation_ml": s.graduation.Value(), "capacity_ml": s.capacity.Value(), "tolerance_ml": s.tolerance.Value(),
		"fuel_temp_c": s.fuelTemp.Value(), "rail_pressure_bar": s.railPressure.Value(),
		"back_pressure_bar": s.backPressure.Value(), "engine_rpm": s.rpm.value, "density_g_ml": s.density.value,
		"cranks": float64(s.cranks), leakback.FieldCylinders: float64(s.cylinders),
	} {
		if !math.IsNaN(x) && x != 0 {
			given[column] = plain(x)
		}
	}
	switch x := s.interval.Seconds(); {
	case math.IsInf(x, 1):
		given["interval_s"] = entry.Unknown
	case !math.IsNaN(x):
		given["interval_s"] = plain(x)
	}
	for column, text := range map[string]string{
		"tube_class": s.tubeClass, "condition": s.condition, "injectors": s.injectors,
		"fuel_temp_at": s.fuelTempAt, "return_line": s.returnLine, leakback.FieldEngine: s.engine,
	} {
		if text != "" {
			given[column] = text
		}
	}
	return given
}

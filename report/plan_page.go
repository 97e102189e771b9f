package report

import (
	"leakback/leakback"
	"leakback/limits"
)

// PlanPage is everything the plan of a test shows; command puts it together.
type PlanPage struct {
	// Collection is the plan of method individual, BlockOff that of method
	// block-off: one of the two.
	Collection *leakback.CollectionPlan
	BlockOff   *leakback.BlockOffPlan
	// Engine, Condition and Injectors are "" where they were not said.
	Engine, Condition, Injectors string
	// Cylinders is how many the engine has; 0 where it was not said.
	Cylinders int
	// Sheet is the limits sheet that the figures come from; Limit is the one of
	// its limits that was planned for, nil where none was.
	Sheet *limits.Sheet
	Limit *limits.Limit
	// Notes say what the plan leaves aside, each a sentence.
	Notes []string
	// Concerns are the cautions about what such a test does, Cautions all of
	// them, CautionLine the one that stands under everything.
	Concerns, Cautions []string
	CautionLine        string
	// Version is the program's version.
	Version string
}

package leakback_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
	"leakback/stats"
	"leakback/stats/simulate"
)

// What the simulation counts is what the evaluation says: the same engines,
// read the same way, with every cylinder in the same place by both.
func TestSimulationJudgesAsTheEvaluation(t *testing.T) {
	for name, scene := range scenes() {
		t.Run(name, func(t *testing.T) {
			random := rand.New(rand.NewPCG(7, 8))
			sheet := limits.Builtin()
			sheet.Set.HealthyCV = scene.HealthyCV
			var engine simulate.Engine
			var sample simulate.Sample
			seen := map[stats.Place]int{}
			for range 300 {
				scene.Draw(random, &engine)
				scene.Observe(&engine, &sample)
				got, err := leakback.Evaluate(asTest(&scene, &engine), sheet)
				require.NoError(t, err)
				require.Equal(t, sample.BelowFirstMark, got.Has(leakback.TooLittleReturn))
				if sample.BelowFirstMark {
					continue
				}
				j := simulate.Judgement{Places: make([]stats.Place, scene.Cylinders)}
				simulate.Consensus{Knows: simulate.Known, Rule: simulate.Default}.
					Judge(&sample, simulate.Shop{TrueSpread: stats.LogSpread(scene.HealthyCV)}, &j)
				require.Equal(t, j.Places, placesOf(got), "%v", engine.VolumeML)
				require.Equal(t, j.Disagrees, got.Has(leakback.NoConsensus))
				for _, p := range j.Places {
					seen[p]++
				}
			}
			assert.Positive(t, seen[stats.PlaceFine])
			assert.Positive(t, seen[stats.PlaceHigh])
			assert.Positive(t, seen[stats.PlaceHint])
		})
	}
}

// scenes are the benches that differ in how they are read.
func scenes() map[string]simulate.Scene {
	bench := simulate.Bench(6).With(1.6)
	unlike, runs, unequal, little := bench, bench, bench, bench.With(2, 0)
	unlike.Tubes = []simulate.Tube{{GraduationML: 1, ToleranceML: 1}, {GraduationML: 2, ToleranceML: 1}, {GraduationML: 5, ToleranceML: 5}}
	runs.Runs = []simulate.Run{{IntervalS: 60}, {IntervalS: 60}, {IntervalS: 60}}
	unequal.Runs = []simulate.Run{{IntervalS: 60}, {IntervalS: 30, Cylinders: 3}}
	little.LevelMLMin = 4
	return map[string]simulate.Scene{
		"bench": bench, "unlike tubes": unlike, "three runs": runs, "unequal runs": unequal, "little return": little,
	}
}

// asTest is the engine as it would be typed.
func asTest(scene *simulate.Scene, engine *simulate.Engine) *leakback.Test {
	test := &leakback.Test{ID: "simulated", Method: leakback.MethodIndividual, Cylinders: scene.Cylinders}
	for k, run := range scene.Runs {
		r := leakback.Run{Number: k + 1, IntervalS: run.IntervalS, State: leakback.UnknownState()}
		for i, volumes := range engine.VolumeML {
			if math.IsNaN(volumes[k]) {
				continue
			}
			tube := scene.Tubes[i%len(scene.Tubes)]
			r.Readings = append(r.Readings, leakback.Reading{
				Cylinder: i + 1, VolumeML: volumes[k],
				Tube: leakback.Tube{GraduationML: tube.GraduationML, ToleranceML: tube.ToleranceML},
			})
		}
		test.Runs = append(test.Runs, r)
	}
	return test
}

// placesOf reads the places off the findings.
func placesOf(r *leakback.Result) []stats.Place {
	places := make([]stats.Place, len(r.Cylinders))
	for i := range r.Cylinders {
		switch c := &r.Cylinders[i]; {
		case c.Has(leakback.HighInSet):
			places[i] = stats.PlaceHigh
		case c.Has(leakback.LowInSet):
			places[i] = stats.PlaceLow
		case c.Has(leakback.CloseInSet):
			places[i] = stats.PlaceHint
		}
	}
	return places
}

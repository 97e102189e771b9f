package report_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
	"leakback/report"
)

// Whatever is evaluated, the answer speaks of what the verdict rests on, and
// never calls anything good.
func TestAnswerFollowsTheVerdict(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 8))
	says := map[leakback.Verdict]string{
		leakback.Fail:      `over the limit|too high for its set|under the minimum|over its limit|further apart`,
		leakback.Undecided: `undecided`,
		leakback.Unread:    `not read|No cylinder was read`,
		leakback.Pass:      `within|agree|pass`,
	}
	seen := map[leakback.Verdict]int{}
	for range 1500 {
		sheet := limits.Builtin()
		if random.IntN(2) == 0 {
			sheet = baySheet()
			total, difference := 60+200*random.Float64(), 20+60*random.Float64()
			sheet.Limits[0].MaxTotalMLMin, sheet.Limits[0].MaxDifferenceMLMin = &total, &difference
		}
		test := bayTest(t, randomRun(random))
		if random.IntN(4) == 0 {
			test.Runs[0].State = leakback.UnknownState()
		}
		r, err := leakback.Evaluate(test, sheet)
		require.NoError(t, err)
		answer := report.Answer(r)
		require.Regexp(t, says[r.Verdict], answer)
		require.NotRegexp(t, `(?i)good|healthy|fine|sound| ok\b|  |\.\.|;\.`, answer)
		require.Regexp(t, `^[A-Z].*\.$`, answer)
		seen[r.Verdict]++
	}
	for v := range says {
		require.Greater(t, seen[v], 20, v)
	}
}

// randomRun is one run of 1 to 8 cylinders around one level, some of them odd.
func randomRun(random *rand.Rand) typed {
	level := []float64{0.5, 22, 22, 22, 38, 60}[random.IntN(6)]
	run := make(typed, 1+random.IntN(8))
	for i := range run {
		volume := level * (0.9 + 0.2*random.Float64())
		switch random.IntN(14) {
		case 0:
			volume *= 2
		case 1:
			volume *= 0.1
		}
		run[i] = fmt.Sprintf("%.0f", volume)
		switch random.IntN(25) {
		case 0:
			run[i] = ""
		case 1:
			run[i] = ">100"
		case 2:
			run[i] = "<1"
		}
	}
	return run
}

package flow_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/flow"
	"leakback/leakback/entry/recorded"
	"leakback/leakback/repair"
)

// individual begins a test with a tube for each cylinder, up to the levels of its
// first run.
func individual(t *testing.T, sheet, condition string, more ...string) *bay {
	b := newBay(t, parse(t, sheet), func(o *flow.Options) { o.Cautions = nil })
	for {
		switch q := b.flow.Question(); q.ID {
		case "condition":
			b.answer(condition)
		case "tube":
			b.answer("100/1")
		case "rail_pressure_bar":
			b.answer("350")
		case "priming":
			b.answer("primed")
			b.answer(more...)
			return b
		default:
			b.answer("")
		}
	}
}

// values are the options of a question.
func values(q ask.Question) []string {
	var list []string
	for _, o := range q.Options {
		list = append(list, o.Value)
	}
	return list
}

// What settles an open cylinder is proposed first, and done as it is said.
func TestCollectLonger(t *testing.T) {
	b := individual(t, sixSheet, "idle", "30", "", "wait 30s", "", "19", "19", "19", "18", "19", "19")
	q := b.at("run 1 next")
	require.Equal(t, leakback.Undecided, b.result().Verdict)
	require.Equal(t, "collect", q.Default)
	label := q.Options[0].Label
	require.Equal(t, b.result().Settle.Text, label)
	require.Contains(t, q.Notes[0], label)
	b.answer("")
	q = b.at("run 2 collection")
	require.Contains(t, label, fmt.Sprintf("for %v s", q.TargetS))
	require.Contains(t, q.Notes, "Empty the tubes.")
}

func TestCollectOverMoreCranks(t *testing.T) {
	sheet := strings.ReplaceAll(sixSheet, "cranks = 3\n", "")
	b := individual(t, sheet, "cranking")
	require.Equal(t, "3", b.at("run 1 cranks").Default) // 45 s in cranks of 15 s
	b.answer("1", "15", "", "wait 15s", "", "3", "3", "3", "4", "3", "3")
	q := b.at("run 1 next")
	require.Equal(t, "collect", q.Default, q.Notes)
	b.answer("1")
	q = b.at("run 2 rest 1")
	require.Equal(t, 60.0, q.TargetS)
	b.answer("")
	q = b.at("run 2 crank 1")
	settle := b.result().Settle
	require.LessOrEqual(t, q.TargetS, 15.0)
	var cranks int
	_, err := fmt.Sscanf(q.Prompt, "Crank 1 of %d", &cranks)
	require.NoError(t, err)
	require.GreaterOrEqual(t, q.TargetS*float64(cranks), settle.CollectS)
	require.Contains(t, settle.Text, fmt.Sprintf("in %d cranks", cranks))
}

func TestOverflowIsCollectedShorter(t *testing.T) {
	b := individual(t, bareSheetOf(3), "idle", "60", "", "wait 60s", "", "90", "95", ">100")
	q := b.at("run 1 next")
	require.Equal(t, []string{"shorter", "tube"}, values(q)[:2], q.Notes)
	b.answer("shorter")
	require.Equal(t, 30.0, b.at("run 2 collection").TargetS)
	b.answer("back", "back", "back") // to the choice: the run has nothing of its own yet
}

func bareSheetOf(cylinders int) string {
	return fmt.Sprintf("name = \"bare\"\ncylinders = %d\n[set]\nsource = \"assumed\"\n", cylinders)
}

func TestOtherTubes(t *testing.T) {
	b := individual(t, bareSheetOf(3), "idle", "60", "", "wait 60s", "", "90", "95", ">100", "tube")
	b.at("run 2 tube")
	b.answer("other", "5", "skip", "mark")
	b.at("run 2 collection")
	b.answer("", "wait 60s", "", "90", "95", "200")
	test := b.test()
	require.Equal(t, leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 1}, test.Runs[0].Readings[0].Tube)
	require.Equal(t, leakback.Tube{GraduationML: 5, ToleranceML: 5}, test.Runs[1].Readings[0].Tube)
}

func TestHoseIsChecked(t *testing.T) {
	b := individual(t, bareSheetOf(6), "idle", "60", "", "wait 60s", "", "30", "31", "30", "5", "29", "30")
	q := b.at("run 1 next")
	require.Equal(t, leakback.CheckHose, b.result().Settle.Action)
	require.Equal(t, "again", q.Default)
	require.Contains(t, q.Options[0].Label, "check hose")
}

func TestUnreadIsRead(t *testing.T) {
	b := individual(t, bareSheetOf(4), "idle", "60", "", "wait 60s", "", "30", "31", "skip", "30")
	q := b.at("run 1 next")
	require.Equal(t, "correct", q.Default)
	b.answer("", "3=29")
	b.at("run 1 correct")
	b.answer("")
	require.Equal(t, "done", b.at("run 1 next").Default)
}

func TestStateIsRecorded(t *testing.T) {
	b := individual(t, sixSheet, "idle", "60", "", "wait 60s", "", "30", "31", "30", "30", "29", "30")
	require.Equal(t, "done", b.at("run 1 next").Default)
	for b.flow.Question().ID != "rail_pressure_bar" {
		b.answer("back")
	}
	b.answer("skip", "forward")
	q := b.at("run 1 next")
	require.Equal(t, "state", q.Default)
	b.answer("")
	require.Empty(t, b.at("state fuel_temp_c").Default)
	b.answer("45")
	b.at("fuel_temp_at")
	b.answer("return", "350", "")
	require.Equal(t, "done", b.at("run 1 next").Default)
	require.Equal(t, 45.0, b.test().Runs[0].State.FuelTempC)
}

func TestLength(t *testing.T) {
	b := individual(t, bareSheetOf(3), "idle", "60", "", "wait 60s", "", "30", "31", "30", "length")
	require.Equal(t, "60", b.at("run 2 seconds").Default)
	b.answer("90")
	require.Equal(t, 90.0, b.at("run 2 collection").TargetS)
	b.answer("", "wait 90s", "", "45", "45", "45", "again")
	require.Equal(t, 90.0, b.at("run 3 collection").TargetS)
}

func TestLeaveOutAndTakeBackIn(t *testing.T) {
	b := individual(t, bareSheetOf(3), "idle", "60", "", "wait 60s", "", "30", "31", "30", "again", "", "wait 60s", "", "30", "9", "30", "leave-out")
	b.at("run 2 leave-out")
	b.refused("3", "1 or 2")
	b.answer("skip")
	b.at("run 2 next")
	b.answer("leave-out", "2")
	b.refused("skip", "a reason")
	b.answer("a tube was knocked over")
	require.Equal(t, "a tube was knocked over", b.test().Runs[1].LeftOut)
	require.Contains(t, b.said, "run 2 is left out: a tube was knocked over")
	b.answer("leave-out")
	require.Equal(t, "take run 2 back in", b.at("run 2 leave-out").Options[1].Label)
	b.answer("2", "it was not")
	require.Empty(t, b.test().Runs[1].LeftOut)
	b.answer("leave-out", "1", "x", "leave-out", "2", "y")
	require.Contains(t, b.at("run 2 next").Notes[0], "every run is left out")
}

// blockOffTest is a block-off test of four cylinders with these totals.
func blockOffTest(t *testing.T, totals ...int) *bay {
	b := newBay(t, parse(t, fourSheet), func(o *flow.Options) { o.Cautions = nil })
	b.answer(slices.Concat(job, []string{"block-off", "idle", "", "250/2", "", "", "", "", "primed"})...)
	for i, total := range totals {
		b.answer(blockOff(i == 0, "", total)...)
	}
	return b
}

func TestScheduleIsFollowed(t *testing.T) {
	b := blockOffTest(t)
	for i, blocked := range []string{"none", "1", "2", "3", "4", "4", "3", "2", "1", "none"} {
		q := b.at(fmt.Sprintf("run %d blocked", i+1))
		require.Equal(t, blocked, q.Default)
		b.answer(blockOff(i == 0, "", 100)...)
	}
	b.at("run 10 next")
}

// A run out of the schedule's order does not lose the others.
func TestScheduleInAnotherOrder(t *testing.T) {
	b := blockOffTest(t, 120)
	b.answer(blockOff(false, "3", 90)...)
	require.Equal(t, "1", b.at("run 3 blocked").Default)
	require.Contains(t, b.flow.Question().Notes[0], "1, 2, 4, 4, 3, 2, 1, none")
	b.answer("2+1", "", "wait 30s", "", "70")
	require.Equal(t, []int{1, 2}, b.test().Runs[2].Blocked)
	require.Equal(t, "1", b.at("run 4 blocked").Default)
}

func TestScheduleCut(t *testing.T) {
	b := blockOffTest(t, 120, 100, 90, 91, 70)
	b.answer("skip")
	require.Contains(t, values(b.at("run 5 next")), "done")
	b.answer("again")
	b.at("run 6 blocked")
}

func TestLeftOutRunIsMeasuredAgain(t *testing.T) {
	b := blockOffTest(t, 120, 100, 90, 91, 70, 71, 90, 91, 130, 121)
	b.answer("leave-out", "9", "spilled")
	q := b.at("run 10 next")
	require.Equal(t, "the run that is missing: blocked 1", q.Options[0].Label)
	b.answer("")
	require.Equal(t, "1", b.at("run 11 blocked").Default)
	b.answer("", "", "wait 30s", "", "100")
	b.at("run 11 next")
	require.Len(t, b.test().Runs, 11)
}

// Shares that are not known well enough are asked for again, pass by pass.
func TestMorePasses(t *testing.T) {
	b := blockOffTest(t, 16, 12, 12, 12, 10, 10, 12, 12, 12, 16)
	q := b.at("run 10 next")
	require.Equal(t, "passes", q.Default, "%v %v", values(q), b.result().Settle)
	b.answer("")
	for i, blocked := range []string{"1", "2", "3", "4", "4", "3", "2", "1", "none"} {
		require.Equal(t, blocked, b.at(fmt.Sprintf("run %d blocked", 11+i)).Default)
		b.answer(blockOff(false, "", 30)...)
	}
	b.at("run 19 next")
}

// An engine that runs cannot have every injector blocked: that is offered of a
// cranking test alone.
func TestAllBlocked(t *testing.T) {
	totals := []int{120, 100, 90, 91, 70, 71, 90, 91, 100, 180, 180}
	for _, condition := range []string{"idle", "cranking"} {
		b := newBay(t, parse(t, fourSheet), func(o *flow.Options) { o.Cautions = nil })
		state := []string{"block-off", condition, "off", "250/2", "", "", "", "", "primed"}
		if condition == "cranking" {
			state = slices.Insert(state, 8, "") // the battery's voltage
		}
		b.answer(slices.Concat(job, state)...)
		for i, total := range totals {
			b.answer("")
			switch {
			case i == 0 && condition == "cranking":
				b.answer("1", "15")
			case i == 0:
				b.answer("15")
			case condition == "cranking":
				b.answer("") // the starter's rest
			}
			b.answer("15s", fmt.Sprint(total))
			if i == 9 {
				b.answer("leave-out", "10", "x", "again")
			}
		}
		if condition == "idle" {
			require.Equal(t, leakback.AllBlocked, b.result().Settle.Action)
			require.NotContains(t, values(b.at("run 11 next")), "all-blocked")
			continue
		}
		require.Contains(t, values(b.at("run 11 next")), "all-blocked")
		b.answer("all-blocked")
		require.Equal(t, "1+2+3+4", b.kept[len(b.kept)-1].Value)
		require.Equal(t, recorded.FieldBlocked, b.kept[len(b.kept)-1].Field)
		b.answer("")
		require.Equal(t, "Blocked: cylinders 1+2+3+4.", b.at("run 12 crank 1").Notes[0])
	}
}

func TestOneTubeIsFollowed(t *testing.T) {
	b := newBay(t, parse(t, sixSheet), func(o *flow.Options) { o.Cautions = nil })
	b.answer(slices.Concat(job, []string{"", "one", "idle", "", "100/1", "", "firing", "45", "", "350", "", "primed"})...)
	for i, c := range []string{"1", "5", "3", "6", "2", "4", "1"} {
		require.Equal(t, c, b.at(fmt.Sprintf("run %d cylinder", i+1)).Default)
		b.answer("")
		if i == 0 {
			b.answer("")
		}
		b.answer("", "wait 60s", "", "30")
	}
	q := b.at("run 7 next")
	require.Len(t, q.Board.Bars, 6)
	require.Equal(t, "30 mL", q.Board.Bars[1].Label)
	require.Equal(t, "pass", q.Board.Bars[1].Verdict)
	b.answer("back")
	b.refused("3=22", "one of cylinder 1")
	b.answer("")
	b.answer("leave-out", "3", "hose off")
	require.Equal(t, "the run that is missing: cylinder 3", b.at("run 7 next").Options[0].Label)
	b.answer("")
	require.Equal(t, "3", b.at("run 8 cylinder").Default)
}

func TestBoard(t *testing.T) {
	b := individual(t, sixSheet, "idle", "60", "", "wait 60s", "")
	require.Nil(t, b.flow.Question().Board)
	b.answer("20")
	board := b.flow.Question().Board
	require.Equal(t, 40.0, board.LimitMLMin)
	require.True(t, board.MedianMLMin != board.MedianMLMin, "NaN below two")
	require.Equal(t, []string{"20 mL", "", "", "", "", ""}, labels(board))
	b.answer("22", "3=skip", "99")
	board = b.flow.Question().Board
	require.Equal(t, 22.0, board.MedianMLMin)
	require.Equal(t, 99.0, board.Bars[3].RateMLMin)
	require.True(t, board.Bars[3].Flagged)
	require.False(t, board.Bars[0].Flagged)
	require.Empty(t, board.Bars[3].Verdict) // others are still to be read
	require.Equal(t, []string{"20 mL", "22 mL", "not read", "99 mL", "", ""}, labels(board))
	b.answer(">100", "21")
	board = b.flow.Question().Board
	require.True(t, board.Bars[4].AtLeast)
	require.Equal(t, "fail", board.Bars[3].Verdict)
	require.Equal(t, "unread", board.Bars[2].Verdict)
	require.Equal(t, "pass", board.Bars[0].Verdict)
}

func labels(b *ask.Board) []string {
	var list []string
	for _, bar := range b.Bars {
		list = append(list, bar.Label)
	}
	return list
}

func TestResultBeforeAnythingWasRead(t *testing.T) {
	b := newBay(t, parse(t, sixSheet), nil)
	_, err := b.flow.Result()
	require.ErrorIs(t, err, recorded.ErrNoReadings)
}

// What was done to the engine after a test is no entry of the test: a work's
// number is no run's, and the test stays closed.
func TestWorkIsNoneOfTheTest(t *testing.T) {
	work := func(b *bay) {
		require.NoError(t, b.keep([]leakback.Event{
			{Key: leakback.Key{Kind: leakback.KindOpen}}, {Key: repair.MarkKey(2, 0, ""), Value: "begun"},
			{Key: repair.Key(2, 4, repair.FieldFeedTube), Value: repair.New}, {Key: repair.StepKey(2, 4, 1, repair.FieldStep), Value: "1"}}))
		resumed, err := flow.Resume(b.options(), b.kept)
		require.NoError(t, err)
		b.flow = resumed
	}
	b := upTo(t, named("idle"), "run 1 next")
	before := asked(b.flow.Question())
	work(b)
	require.Equal(t, before, asked(b.flow.Question()))
	b = upTo(t, named("idle"), "done")
	work(b)
	b.at("done")
}

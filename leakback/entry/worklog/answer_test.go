package worklog_test

import (
	"errors"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/worklog"
	"leakback/leakback/repair"
)

// upTo answers a story up to the question of that ID, which then stands.
func upTo(t *testing.T, name, id string) *bench {
	t.Helper()
	s := stories[slices.IndexFunc(stories, func(s story) bool { return strings.HasPrefix(s.name, name) })]
	b := newBench(t, nil)
	for _, line := range s.lines {
		if b.flow.Question().ID == id {
			return b
		}
		b.answer(line)
	}
	b.at(id)
	return b
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct{ story, id, line, text string }{
		{"reused", "person", "back", "no question stands before"},
		{"reused", "person", strings.Repeat("x", 201), "one line of at most 200 printable characters"},
		{"reused", "cautions", "", "the word understood"},
		{"reused", "cautions", "yes", "the word understood"},
		{"reused", "cautions", "skip", "the word understood"},
		{"reused", "fault_codes_before", strings.Repeat("x", 501), "one line of at most 500 characters"},
		{"reused", "pick 1", "7", "a cylinder from 1 to 6, engine or done"},
		{"reused", "pick 1", "skip", "an answer here: its number"},
		{"reused", "pick 1", "8", "a cylinder from 1 to 6"},
		{"reused", "pick 2", "4", "one that is not entered yet"},
		{"reused", "cylinder 4 injector", "new", `"new": expected replaced, swapped, cleaned or refitted; skip where it was not touched`},
		{"reused", "cylinder 4 feed_tube", "old", "new, reused or reseated"},
		{"reused", "cylinder 4 feed_tube", "new because \x1b[2J", "as a reason one line of at most 1,000 printable characters"},
		{"reused", "cylinder 4 tightening 1", "30 lbf·in because \x1b[2J", "as a reason one line"},
		{"reused", "next", "4 feed tube = new because \x1b[2J", "as a reason one line"},
		{"reused", "cylinder 4 old_part_tag", strings.Repeat("x", 61), "at most 60 characters"},
		{"reused", "cylinder 4 tightening 1", "30", `"30": expected a torque with its unit: N·m, lbf·ft, lbf·in or kgf·m, as in 30 lbf·in`},
		{"reused", "cylinder 4 tightening 1", "30 lb", "a torque with its unit"},
		{"reused", "cylinder 4 tightening 1", "", "what was reached, such as 30 lbf·in, or skip"},
		{"reused", "cylinder 4 tightening 1", "0 N·m", "a torque above 0"},
		{"reused", "cylinder 4 tightening 1", "60°", "the torque reached, with its unit, as in 30 lbf·in"},
		{"reused", "cylinder 4 tightening 1", "step 9: 30 lbf·in", "one of the sheet's steps: 1, 2, 3, 4"},
		{"reused", "cylinder 4 tightening 1", "step 4: 30 lbf·in", "step 4 (return fitting) has no torque: 90°"},
		{"reused", "cylinder 4 tightening 1", "30 N·m + 40 N·m", "one value of a kind"},
		{"reused", "cylinder 4 tightening 1", "30 N·m +", "what was reached"},
		{"reused", "cylinder 4 tightening 1", "30 N·m not measured", "expected a torque with its unit"},
		{"reused", "cylinder 4 tightening 1", "3: 11 lbf·ft + 2000°", "an angle from 0 to 1,080 degrees"},
		{"reused", "cylinder 4 tightening 1 unit", "", "meant, typed or again, or the torque with its unit"},
		{"reused", "cylinder 4 tightening 1 unit", "skip", "meant, typed or again"},
		{"reused", "cylinder 4 tightening 1 unit", "30", "meant, typed or again"},
		{"reused", "cylinder 4 tightening 3 angle_deg", "round", "an angle from 0 to 1,080 degrees"},
		{"reused", "cylinder 4 tightening 3 new_fastener", "maybe", "yes or no"},
		{"reused", "cylinder 4 tightening 4", "skip it", "an angle from 0 to 1,080 degrees"},
		{"reused", "complaint_gone", "perhaps", "yes, no or not tried"},
		{"reused", "next", "dance", "done or cylinder, or a correction such as 4 feed tube = reused because misread"},
		{"reused", "next", "4 colour = red", "what the work log has, in front of ="},
		{"reused", "next", "4 feed tube = red", "behind = new, reused or reseated"},
		{"reused", "next", "feed tube = new", `a cylinder's number: "Feed tube" is said of one cylinder`},
		{"reused", "next", "9 feed tube = new", "expected a cylinder from 1 to 6, not 9"},
		{"reused", "next", "4 core = yes", `something else first: "Core to return" does not go with what is down of cylinder 4`},
		{"reused", "next", "4 step 9 = 30 N·m", "a step that was entered at cylinder 4"},
		{"reused", "next", "5 step 1 = 30 N·m", "a step that was entered at cylinder 5"},
		{"reused", "done", "4", "nothing more: the work is closed"},
		{"reused", "done", "give up", "nothing more"},
		{"swap", "cylinder 4 injector_swapped_with", "4", "the number of another cylinder, up to 6"},
		{"swap", "cylinder 4 injector_swapped_with", "skip", "an answer here"},
		{"swap", "pick 2", "2", "one that is not entered yet"},
		{"swap", "pick 2", "2 injector = refitted", "the swap to be corrected where it was entered, such as 4 injector = refitted"},
		{"swap", "pick 2", "2 swapped with cylinder = 3", "the swap to be corrected where it was entered"},
		{"swap", "pick 2", "4 swapped with cylinder = skip", "a value: the number of the other cylinder"},
	} {
		t.Run(c.story+" "+c.id+" "+c.line, func(t *testing.T) {
			upTo(t, c.story, c.id).refused(c.line, c.text)
		})
	}
}

// A torque that would be right in the other unit is asked about; what was typed
// and what was meant both stay in the record, with the reason.
func TestWrongUnitIsAskedAbout(t *testing.T) {
	torque := repair.StepKey(1, 4, 1, repair.FieldTorque)
	for _, c := range []struct{ answer, stands, at, reason, said string }{
		{"meant", "30 lbf·in", "cylinder 4 tightening 2", "the unit was asked about: it was another", "30 lbf·in (was 30 lbf·ft)"},
		{"1", "30 lbf·in", "cylinder 4 tightening 2", "the unit was asked about: it was another", "both stay in the record"},
		{"30 in-lb", "30 in-lb", "cylinder 4 tightening 2", "the unit was asked about: it was another", "30 in-lb (was 30 lbf·ft)"},
		{"typed", "30 lbf·ft", "cylinder 4 tightening 2", "the unit was asked about: it stands as typed", "beware, cylinder 4: step 1 (hold-down, snug), 30 lbf·ft: expected 30 lbf·in"},
		{"again", "", "cylinder 4 tightening 1", "the unit was asked about: to be entered again", "nothing (was 30 lbf·ft)"},
	} {
		t.Run(c.answer, func(t *testing.T) {
			b := upTo(t, "reused", "cylinder 4 tightening 1")
			b.answer("30 lbf·ft")
			require.NotContains(t, strings.Join(b.said, "\n"), "beware", "nothing is wrong before the unit is known")
			q := b.at("cylinder 4 tightening 1 unit")
			require.Equal(t, []string{"30 lbf·ft is 12 times the step's 30 lbf·in: did you mean 30 lbf·in?"}, q.Notes)
			require.Equal(t, "30 lbf·in, as the step has it", q.Options[0].Label)
			b.resume()
			b.at("cylinder 4 tightening 1 unit")
			b.answer(c.answer)
			b.at(c.at)
			b.heard(c.said)
			e, _ := b.flow.Record().Last(torque)
			assert.Equal(t, []string{c.stands, c.reason}, []string{e.Value, e.Reason})
			var typed []string
			for _, e := range b.kept {
				if e.Key == torque {
					typed = append(typed, e.Value)
				}
			}
			assert.Equal(t, []string{"30 lbf·ft", c.stands}, typed)
			if c.answer == "again" {
				b.answer("30 lbf·in")
				b.at("cylinder 4 tightening 2")
				require.Len(t, b.work().Steps, 1)
			}
		})
	}
}

// A value in another unit that is right is taken, and one that is wrong in every
// unit is shown and not asked about.
func TestUnits(t *testing.T) {
	b := upTo(t, "reused", "cylinder 4 tightening 1")
	b.answer("3.39 Nm")
	require.NotContains(t, strings.Join(b.said, "\n"), "beware")
	b.at("cylinder 4 tightening 2")
	b.answer("20 lbf·ft")
	b.heard("beware, cylinder 4: step 2 (feed tube nut), 20 lbf·ft: expected 37 lbf·ft ± 3 N·m")
	b.at("cylinder 4 tightening 3")
	b.answer("back", "37 N·m")
	b.at("cylinder 4 tightening 2 unit")
	b.answer("back")
	require.Equal(t, "37 N·m", b.at("cylinder 4 tightening 2").Default)
	b.answer("37 N·m as typed")
	b.at("cylinder 4 tightening 3")
	b.heard("step 2 (feed tube nut), 37 N·m: expected 37 lbf·ft")
	b.answer("not measured", "", "")
	b.heard("step 3 (hold-down), no torque entered")
	b.heard("step 3 (hold-down), no angle entered")
	b.heard("nobody said whether the fastener was new")
	b.answer("90 degrees")
	b.at("pick 2")
}

// Steps are corrected by going back and by name; each is said.
func TestStepsAreCorrected(t *testing.T) {
	b := upTo(t, "reused", "next")
	b.answer("4 step 2 = 38 lbf·ft because misread")
	require.Equal(t, []string{"38 lbf·ft", "misread"}, []string{b.last().Value, b.last().Reason})
	b.heard("cylinder 4: torque of step 2: 38 lbf·ft (was 50 N·m)")
	b.answer("4 step 3 angle = 70 because the gauge slipped")
	b.heard("beware, cylinder 4: step 3 (hold-down), 70°: expected 60° ± 5°")
	b.answer("4 step 3 fastener = no")
	b.heard("the old fastener went back")
	b.answer("4 step 4 = skip")
	b.heard("step 4 (return fitting) was not done")
	b.answer("4 step 1 = 30 lbf·ft")
	b.at("cylinder 4 tightening 1 unit")
	b.answer("meant")
	b.at("next")
	require.Equal(t, []string{"4/1: 1 30 lbf·in NaN ", "4/2: 2 38 lbf·ft NaN ", "4/3: 3 11 lbf·ft 70 no"}, stepLines(b.work()))

	b = upTo(t, "reused", "cylinder 4 tightening 4")
	b.answer("back", "back", "back", "step 2: 37 lbf·ft because it was that one again")
	require.Equal(t, []string{"4/1: 1 30 lbf·in NaN ", "4/2: 2 37 lbf·ft NaN ", "4/3: 3 11 lbf·ft 62 yes"}, stepLines(b.work()), "a reason corrects where it was done")
	for b.flow.Question().ID != "cylinder 4 tightening 3" {
		b.answer("back")
	}
	b.answer("step 4: 90°") // what was done there was another step
	require.Equal(t, "4/3: 4  90 ", stepLines(b.work())[2])
	b.heard("torque of step 4: nothing (was 11 lbf·ft)")
	b.answer("forward")
	b.at("cylinder 4 tightening 4")

	b = upTo(t, "reused", "cylinder 4 tightening 3")
	b.answer("back", "step 3: 11 lbf·ft + 60° new") // what was done there was another step
	b.answer("forward")
	b.at("cylinder 4 tightening 3")
	b.heard("step 2 (feed tube nut) was not done")
	require.Equal(t, "Step 2, feed tube nut: 37 lbf·ft ± 3 N·m", b.flow.Question().Prompt)
	b.answer("step 3: 11 lbf·ft + 62° because the first was the wrong bolt")
	require.Len(t, b.work().Steps, 2, "a reason corrects")
	b.answer("step 3: 11 lbf·ft + 62° new")
	require.Len(t, b.work().Steps, 3)
	b.heard("step 3 was done again")
	b.answer("done")
	b.at("pick 2")
	b.answer("back")
	b.at("cylinder 4 tightening 4")
	b.answer("37 lbf·ft")
	b.heard("step 2 was done after step 3")
	b.at("cylinder 4 tightening 5")
}

// Nothing is left of a cylinder that was picked by mistake, but in the record.
func TestPickIsCorrected(t *testing.T) {
	b := upTo(t, "swap", "pick 2")
	events := len(b.kept)
	for b.flow.Question().ID != "pick 1" {
		b.answer("back")
	}
	require.Equal(t, "4", b.flow.Question().Default)
	b.answer("5")
	b.heard("cylinder 4: what was entered of it is taken back")
	b.heard("cylinder 2: what was entered of it is taken back")
	require.Empty(t, b.work().Items())
	require.Empty(t, b.work().Steps)
	require.Greater(t, len(b.kept), events)
	b.at("cylinder 5 injector")
	b.answer("skip", "skip", "skip", "skip", "", "")
	b.at("pick 2")
	b.answer("4")
	b.at("cylinder 4 injector")
	b.answer("cleaned", "skip")
	require.Len(t, b.work().Items(), 1)
	b.answer("skip", "skip", "", "")
	b.at("cylinder 4 tightening 1")
}

func TestSwapIsCorrected(t *testing.T) {
	b := upTo(t, "swap", "pick 2")
	b.answer("4 injector = refitted because it was cylinder 3 that was swapped")
	b.heard("cylinder 2: its injector is no longer down as swapped with cylinder 4")
	require.Equal(t, "cylinder 2: feed tube new", b.work().Items()[0].String())
	require.Equal(t, repair.Refitted, b.work().At(4).Injector)
	require.Empty(t, b.work().At(4).SerialOut)
	b.at("cylinder 2 injector") // cylinder 2 stays, as its tube is new
	b.answer("refitted")
	b.at("pick 2")
	b.answer("4 injector = swapped")
	b.at("cylinder 4 injector_swapped_with")
	b.refused("2", "the injector of cylinder 4 is down as swapped with cylinder 2, whose own is down as refitted")
	b.answer("3", "A1")
	b.at("cylinder 4 injector_serial_in")
}

func TestInjectorIsCorrected(t *testing.T) {
	b := upTo(t, "injector replaced", "cylinder 4 feed_tube")
	b.answer("back", "back", "back", "back", "back", "back", "cleaned")
	require.Empty(t, b.work().At(4).SerialIn)
	require.Empty(t, b.work().At(4).Core)
	b.at("cylinder 4 feed_tube")
	b.answer("back", "replaced")
	b.at("cylinder 4 injector_serial_out") // asked again, as it was taken back
}

func TestWordsAndNotices(t *testing.T) {
	b := upTo(t, "reused", "cylinder 4 feed_tube")
	b.answer("REUSED because none was in stock")
	require.Equal(t, "none was in stock", b.last().Reason)
	b.heard("cylinder 4: the feed tube went back in: a crush-fit tube seats once")
	b.heard("common practice, no source")
	b.answer("back", "new because one was found")
	b.heard("cylinder 4, feed tube: new (was reused)")
	require.Equal(t, "one was found", b.last().Reason)
	require.Equal(t, []string{"hard to start when hot"}, upTo(t, "reused", "symptom_before").flow.Question().Earlier)
	require.Equal(t, []string{"The complaint: hard to start when hot"}, upTo(t, "reused", "complaint_gone").flow.Question().Notes)
	require.Equal(t, "2024-03-05 09:40 +01:00", upTo(t, "reused", "work_done").flow.Question().Default)
}

func TestPicksAreProposedFromTheResult(t *testing.T) {
	b := newBench(t, func(o *worklog.Options) { o.Result, o.Cautions = judged(2, 5), nil })
	b.answer("", "", "")
	q := b.at("pick 1")
	require.Equal(t, "2", q.Default)
	require.Equal(t, "cylinder 5, fail", q.Options[4].Label)
	b.answer("", "", "", "", "", "", "")
	require.Equal(t, "5", b.at("pick 2").Default)
	b.answer("cylinder 5", "", "", "", "", "", "")
	require.Equal(t, "done", b.at("pick 3").Default)
	b.answer("none")
	b.at("fault_codes_after")

	b = newBench(t, func(o *worklog.Options) { o.Result, o.Cautions, o.Cylinders, o.Person = nil, nil, 0, "" })
	require.Equal(t, "B. Fitter", b.at("person").Default)
	b.answer("", "", "")
	require.Equal(t, "B. Fitter", b.last().Person)
	q = b.at("pick 1")
	require.Empty(t, q.Default)
	require.Equal(t, ask.Text, q.Kind)
	b.answer("12")
	b.at("cylinder 12 injector")
}

// A sheet without steps asks for none.
func TestNoTighteningWithoutSteps(t *testing.T) {
	b := newBench(t, func(o *worklog.Options) { o.Tightening = nil })
	b.answer("", "understood", "", "", "4", "refitted", "reused", "", "", "", "")
	b.at("pick 2")
}

func TestGiveUpAndTheNextWork(t *testing.T) {
	b := upTo(t, "reused", "cylinder 4 lines")
	b.answer("Give  Up")
	b.at("done")
	require.Equal(t, "given up", b.flow.Question().Prompt)
	require.Len(t, b.work().Items(), 2, "what was entered stays")
	b.resume()
	require.Equal(t, 2, b.flow.Number())
	b.heard("work 2 after this test")
	b.at("person")
	b.answer("", "understood", "", "", "done", "", "", "yes", "", "", "done")
	works, err := repair.Works(b.flow.Record())
	require.NoError(t, err)
	require.Len(t, works, 2)
	require.Equal(t, repair.Yes, repair.ComplaintGone(b.flow.Record()))
}

func TestNextOpensTheList(t *testing.T) {
	b := upTo(t, "reused", "next")
	require.Contains(t, strings.Join(b.flow.Question().Notes, "\n"), "cylinder 4: feed tube new")
	b.answer("cylinder")
	b.at("pick 2")
	b.answer("5", "", "reseated", "", "", "", "")
	b.at("cylinder 5 tightening 1")
	b.answer("done")
	b.heard("beware, cylinder 5: step 1 (hold-down, snug) was not done")
	b.answer("done")
	b.at("next")
	b.answer("fault codes after = P0201 because it came back", "done")
	require.Equal(t, "P0201", b.work().FaultCodesAfter)
	b.answer("back", "4 feed tube = reused because misread")
	b.at("next") // open again
	b.answer("done")
	b.at("done")
}

// The events are the vocabulary's, with time and person.
func TestEvents(t *testing.T) {
	b := upTo(t, "reused", "next")
	for i, e := range b.kept[len(testRecord()):] {
		assert.NotZero(t, e.AtUS)
		assert.Equal(t, "C. Wrench", e.Person)
		if i > 1 {
			assert.Equal(t, 1, repair.OfWork(e), "%v", e.Key)
		}
		if e.Kind == leakback.KindMark {
			assert.Zero(t, e.Run, "a mark is not taken for one of a run")
		}
	}
	works, err := repair.Works(b.flow.Record())
	require.NoError(t, err)
	require.Len(t, works, 1)
}

func TestRecordThatCannotBeRead(t *testing.T) {
	b := &bench{t: t, clock: &clock{time.Now()}}
	o := b.options()
	o.Events = append(testRecord(), leakback.Event{Seq: 6, Key: repair.Key(1, 4, "colour"), Value: "red"})
	_, err := worklog.New(o)
	require.EqualError(t, err, `work 1, cylinder 4, colour: "colour": expected a field of the work log`)
}

// Whatever is typed, nothing breaks, every answer that was taken is kept in its
// order, and the record gives the same question again.
func TestAnything(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := rapid.SampledFrom(stories).Draw(rt, "story")
		b := newBench(t, nil)
		b.answer(s.lines[:rapid.IntRange(0, len(s.lines)).Draw(rt, "far")]...)
		for _, text := range rapid.SliceOfN(line(), 20, 80).Draw(rt, "lines") {
			q := b.flow.Question()
			if len(q.Options) > 0 && rapid.Bool().Draw(rt, "option") {
				text = rapid.SampledFrom(q.Options).Draw(rt, "which").Value
			}
			before := slices.Clone(b.kept)
			err := b.flow.Answer(text)
			var refusal *ask.Refusal
			if err != nil && !errors.As(err, &refusal) {
				rt.Fatalf("%s <- %q: %v", q.ID, text, err)
			}
			if err != nil && len(b.kept) != len(before) {
				rt.Fatalf("%s <- %q: refused and kept", q.ID, text)
			}
			if !slices.Equal(before, b.kept[:len(before)]) {
				rt.Fatal("an event was changed")
			}
		}
		if _, err := repair.Works(leakback.NewRecord(b.kept)); err != nil {
			rt.Fatal(err)
		}
		b.answer("forward")
		if b.flow.Question().Kind != ask.Done {
			stands(rt, b)
		}
	})
}

// stands wants the record to give the question that stands.
func stands(rt rapid.TB, b *bench) {
	q := b.flow.Question()
	resumed, err := worklog.New(b.options())
	if err != nil {
		rt.Fatal(err)
	}
	if asked(resumed.Question()) != asked(q) {
		rt.Fatalf("%s\nafter it was broken off: %s", asked(q), asked(resumed.Question()))
	}
}

// line is what somebody may type.
func line() *rapid.Generator[string] {
	return rapid.OneOf(
		rapid.SampledFrom([]string{"", "", "", "", "skip", "skip", "back", "forward", "done", "4", "2", "engine", "cylinder", "understood", "new", "reused",
			"swapped", "replaced", "refitted", "30 lbf·in", "30 lbf·ft", "37 lbf·ft", "50 N·m", "11 lbf·ft + 60° new", "60°", "yes", "no",
			"step 2: 37 lbf·ft", "3=11 lbf·ft", "step 1: 30 lbf·in because misread", "not measured", "30 lbf·ft as typed", "meant", "typed", "again",
			"4 feed tube = reused because misread", "4 injector = refitted", "2 injector = swapped", "4 swapped with cylinder = 3",
			"4 step 2 = 38 N·m", "2 step 1 = skip", "4 step 3 angle = 70", "fault codes after = none", "note = skip", "give up"}),
		rapid.String(),
		rapid.StringMatching(`[0-9<>=,.° a-z]{0,12}`),
	)
}

// What is refused at a choice lists all of its options as one text, which a skin can
// put numbers for, or names none that is not in sight.
func TestRefusedChoices(t *testing.T) {
	for _, s := range stories {
		b := newBench(t, nil)
		for _, line := range s.lines {
			if q := b.flow.Question(); q.Kind == ask.Choice {
				var refusal *ask.Refusal
				require.ErrorAs(t, b.flow.Answer(strings.Repeat("x", 300)), &refusal, q.ID)
				rest := strings.Replace(refusal.Expected, ask.Alternatives(q.Options), "", 1)
				for _, o := range q.Options {
					named := regexp.MustCompile(`\b` + regexp.QuoteMeta(o.Value) + `\b`)
					require.False(t, len(o.Value) > 1 && named.MatchString(rest) && !named.MatchString(q.Hint), "%s: %s: %s", s.name, q.ID, refusal)
				}
			}
			b.answer(line)
		}
	}
}

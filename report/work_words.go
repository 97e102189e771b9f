package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits"
	"leakback/limits/quantity"
)

// WorkLines are works in lines for people: when and by whom, then each cylinder
// with what was done there and how it was tightened by the sheet's steps, then
// the engine. Each work begins with its own line.
func WorkLines(works []repair.Work, steps []limits.Step, zone *time.Location) []string {
	var lines []string
	for i := range works {
		lines = append(lines, workTitle(&works[i], zone))
		for _, s := range workSaid(&works[i], steps, true) {
			lines = append(lines, strings.ToLower(s.lead[:1])+s.lead[1:]+": "+s.text)
		}
	}
	return lines
}

// workTitle is which work it is, when it was done and by whom: "work 1, entered
// 2024-03-06 by R. Example".
func workTitle(w *repair.Work, zone *time.Location) string {
	text := fmt.Sprintf("work %d", w.Number)
	switch {
	case w.Done != "":
		text += ", done " + w.Done
	case w.FirstUS > 0:
		text += ", entered " + localTime(w.FirstUS, zone).Format(dayLayout)
	}
	if len(w.People) > 0 {
		text += " by " + quantity.Listed(w.People, "and")
	}
	return text
}

// workSaid is a work by place: the engine's parts and each cylinder's, perhaps with
// its tightening, then what was said of the engine.
func workSaid(w *repair.Work, steps []limits.Step, tightening bool) []said {
	var all []said
	for _, number := range workPlaces(w) {
		var texts []string
		for _, item := range w.Items() {
			if item.Cylinder == number {
				_, text, _ := strings.Cut(item.String(), ": ")
				texts = append(texts, text)
			}
		}
		at := w.At(number)
		texts = append(texts, labelledSaid(fact{"declined", at.Declined}, fact{"note", at.Note})...)
		if text := tightenedSaid(w, steps, number); text != "" && tightening {
			texts = append(texts, text)
		}
		if len(texts) > 0 {
			all = append(all, said{placeWords(number), strings.Join(texts, "; ")})
		}
	}
	return append(all, engineSaid(w)...)
}

// placeWords is "Cylinder 4", or "Engine".
func placeWords(cylinder int) string {
	if cylinder == 0 {
		return "Engine"
	}
	return fmt.Sprintf("Cylinder %d", cylinder)
}

// workPlaces are the cylinders of which a work says something, the engine (0)
// first.
func workPlaces(w *repair.Work) []int {
	var list []int
	for _, p := range w.Positions {
		list = append(list, p.Cylinder)
	}
	for _, s := range w.Steps {
		list = append(list, s.Cylinder)
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// labelledSaid are the facts that somebody wrote down: "note: ...".
func labelledSaid(facts ...fact) []string {
	var texts []string
	for _, f := range facts {
		if f.text != "" {
			texts = append(texts, f.label+": "+f.text)
		}
	}
	return texts
}

// engineSaid is what was said of the engine before and after the work.
func engineSaid(w *repair.Work) []said {
	texts := labelledSaid(
		fact{"fault codes before", w.FaultCodesBefore}, fact{"after", w.FaultCodesAfter},
		fact{"symptom before", w.SymptomBefore}, fact{"after", w.SymptomAfter})
	if w.ComplaintGone != "" {
		texts = append(texts, complaintWords[w.ComplaintGone])
	}
	if len(texts) == 0 {
		return nil
	}
	return []said{{"Said of the engine", strings.Join(texts, "; ")}}
}

// tightenedSaid sums up the tightening at a cylinder: all by the sheet, or what is
// wrong with it; "" where nothing is known and nothing is wrong.
func tightenedSaid(w *repair.Work, steps []limits.Step, cylinder int) string {
	n := len(w.StepsAt(cylinder))
	faults := faultsAt(w, steps, cylinder)
	switch {
	case n == 0 && len(faults) == 0:
		return ""
	case len(steps) == 0:
		return "tightened in " + counted(n, "step") + ", of which no limits sheet says how"
	case len(faults) == 0:
		return "tightened in " + counted(n, "step") + ", all as the sheet asks"
	}
	texts := make([]string, len(faults))
	for i, f := range faults {
		texts[i] = f.Text
	}
	return "tightening NOT as the sheet asks: " + strings.Join(texts, "; ")
}

// faultsAt are the faults of the tightening at a cylinder.
func faultsAt(w *repair.Work, steps []limits.Step, cylinder int) []repair.StepFault {
	return slices.DeleteFunc(w.StepFaults(steps), func(f repair.StepFault) bool { return f.Cylinder != cylinder })
}

// doubtsSaid are what does not fit together in works, as sentences.
func doubtsSaid(works []repair.Work) []string {
	var texts []string
	for i := range works {
		for _, d := range works[i].Doubts() {
			texts = append(texts, Sentence(d.String()))
		}
	}
	return texts
}

// faultsSaid are the faults of the tightening in works, as sentences.
func faultsSaid(works []repair.Work, steps []limits.Step) []string {
	var texts []string
	for i := range works {
		for _, f := range works[i].StepFaults(steps) {
			texts = append(texts, Sentence(f.String()))
		}
	}
	return texts
}

// tighteningSaid sums the tightening of works up in a sentence: what the customer
// reads. It names every step that is not as the sheet asks.
func tighteningSaid(works []repair.Work, steps []limits.Step) string {
	n := 0
	for i := range works {
		n += len(works[i].Steps)
	}
	faults := faultsSaid(works, steps)
	switch {
	case len(faults) > 0:
		return "Not as the limits sheet asks. " + strings.Join(faults, " ")
	case len(steps) == 0 && n == 0:
		return ""
	case len(steps) == 0:
		return Sentence(counted(n, "step") + " recorded; no limits sheet says how they should be")
	case n == 0:
		return ""
	}
	return Sentence(counted(n, "step") + " recorded, all in order and within the limits sheet's tolerances")
}

// workCorrections are the corrections of records that are about the work, as
// sentences: what was first entered, such as a torque in the wrong unit, and what
// took its place.
func workCorrections(pages []*Page) []string {
	var texts []string
	for _, p := range pages {
		if p.Record == nil {
			continue
		}
		for _, c := range p.Record.Record.Corrections() {
			if c.After.Kind == leakback.KindWork || c.After.Kind == leakback.KindStep {
				texts = append(texts, Sentence(p.Record.workCorrection(c)))
			}
		}
	}
	return texts
}

// workCorrection is "work 1, cylinder 4, step 1, torque: 11 lbf·ft in place of 11
// lbf·in, 2024-03-06 11:41:12 +01:00 by R. Example".
func (r *Record) workCorrection(c leakback.Correction) string {
	text := fmt.Sprintf("work %d, %s, %s: %s in place of %s, %s", c.After.Run, strings.ToLower(placeWords(c.After.Cylinder)),
		r.workField(c.After.Key), valueOrNothing(c.After), valueOrNothing(c.Before), r.stamp(c.After.AtUS))
	if c.After.Person != "" {
		text += " by " + c.After.Person
	}
	if c.After.Reason != "" {
		text += ", because: " + c.After.Reason
	}
	return text
}

// workField is the field of an entry of the work log in words, of a step with the
// sheet's number of it.
func (r *Record) workField(k leakback.Key) string {
	if k.Kind != leakback.KindStep {
		if f, ok := repair.FieldNamed(k.Field); ok {
			return strings.ToLower(f.Label[:1]) + f.Label[1:]
		}
		return fieldSaid(k.Field)
	}
	name, place, _ := strings.Cut(k.Field, " ")
	step := k
	step.Field = repair.FieldStep + " " + place
	return "step " + cmp.Or(r.Record.Value(step), "in place "+place) + ", " + cmp.Or(stepFieldWords[name], fieldSaid(name))
}

// stepFieldWords are the fields of a tightening step in words.
var stepFieldWords = map[string]string{
	repair.FieldStep: "its number", repair.FieldTorque: "torque", repair.FieldAngleDeg: "angle in degrees",
	repair.FieldNewFastener: "new fastener",
}

// worksSaid are works as paragraphs for the customer's page: each work with when
// and by whom, then its places, then the tightening and what does not fit together.
func worksSaid(works []repair.Work, steps []limits.Step, zone *time.Location) []said {
	var all []said
	for i := range works {
		title := workTitle(&works[i], zone)
		all = append(all, said{"", Sentence(title)})
		for _, s := range workSaid(&works[i], steps, false) {
			all = append(all, said{s.lead, Sentence(s.text)})
		}
	}
	if text := tighteningSaid(works, steps); text != "" {
		all = append(all, said{"Tightening", text})
	}
	if doubts := doubtsSaid(works); len(doubts) > 0 {
		all = append(all, said{"To be looked at", strings.Join(doubts, " ")})
	}
	return all
}

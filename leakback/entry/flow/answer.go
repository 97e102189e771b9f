package flow

import (
	"leakback/leakback"
	"leakback/leakback/entry/frame"
	"leakback/leakback/entry/recorded"
)

// sound refuses what would spoil the test: readings that do not fit a tube that
// is corrected, say. What was unsound before is not this answer's fault.
func (f *Flow) sound(drafts []leakback.Event, typed string) error {
	if !f.anyReading() && !hasReading(drafts) {
		return nil
	}
	_, err := recorded.Test(f.frame.With(drafts))
	if err == nil {
		return nil
	}
	if f.anyReading() {
		if _, before := recorded.Test(f.Record()); before != nil {
			return nil
		}
	}
	return frame.Refuse(typed, expectedBy(err, drafts))
}

func hasReading(drafts []leakback.Event) bool {
	for _, e := range drafts {
		if e.Kind == leakback.KindReading && e.Value != "" {
			return true
		}
	}
	return false
}

// stopped breaks off a collection that runs, where "back" is answered to it: its
// question stands again.
func (f *Flow) stopped() (frame.Taken, bool) {
	if !f.running(f.frame.Standing().ID) {
		return frame.Taken{}, false
	}
	return frame.Taken{Drafts: f.lost(f.timing.run, markAbandoned), Said: []string{
		"broken off: empty the tubes before the collection is started again"}}, true
}

// giveUp closes the test where it stands, and breaks off a collection that runs.
// What was entered stays.
func (f *Flow) giveUp() (frame.Taken, error) {
	if f.ended() {
		return frame.Taken{}, frame.Refuse(frame.WordGiveUp, "nothing more: the test is closed (back opens it again)")
	}
	var drafts []leakback.Event
	if f.running(f.frame.Standing().ID) {
		drafts = f.lost(f.timing.run, markAbandoned)
	}
	return frame.Taken{Drafts: append(drafts, frame.Event(leakback.Key{Kind: leakback.KindEnd}, leakback.EndGivenUp)),
		Said: []string{"given up; what was entered stays in the record"}}, nil
}

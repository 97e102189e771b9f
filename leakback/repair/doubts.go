package repair

import (
	"fmt"

	"leakback/leakback"
)

// DoubtCode names what does not fit together in a work.
type DoubtCode string

// The codes of doubts.
const (
	// SwapAlone is a swap that does not say with which cylinder.
	SwapAlone DoubtCode = "swap-without-partner"
	// SwapDisagrees is a swap of which the other cylinder says something else.
	SwapDisagrees DoubtCode = "swap-disagrees"
	// CodesNotMoved is a swap after which the correction codes are not with their
	// injectors.
	CodesNotMoved DoubtCode = "codes-not-moved"
	// SameSerial is a replaced injector with the serial number of the old one.
	SameSerial DoubtCode = "same-serial"
	// CodeMissing is an injector that went in without its correction code, where
	// codes are written down at all.
	CodeMissing DoubtCode = "correction-code-missing"
	// TubeUsedAgain is a feed tube that was fitted a second time.
	TubeUsedAgain DoubtCode = "tube-used-again"
)

// Doubt is what does not fit together in a work, or asks for a second look
// (common practice, no source).
type Doubt struct {
	Cylinder int
	Code     DoubtCode
	// Text is a clause for people.
	Text string
}

// String is the doubt with its cylinder in front.
func (d Doubt) String() string { return cylinderColon(d.Cylinder) + d.Text }

// Doubts are what does not fit together in the work, by cylinder.
func (w *Work) Doubts() []Doubt {
	var list []Doubt
	for i := range w.Positions {
		p := &w.Positions[i]
		add := func(code DoubtCode, format string, args ...any) {
			list = append(list, Doubt{p.Cylinder, code, fmt.Sprintf(format, args...)})
		}
		w.doubtSwap(p, add)
		if p.Injector == Replaced && p.SerialIn != "" && p.SerialIn == p.SerialOut {
			add(SameSerial, "the injector was replaced, yet the serial number that went in is the one that came out")
		}
		if p.CodeOut != "" && p.CodeIn == "" && (p.Injector == Replaced || p.Injector == Swapped) {
			add(CodeMissing, "no correction code is written down for the injector that went in")
		}
		if p.FeedTube == Reused || p.FeedTube == Reseated {
			add(TubeUsedAgain, "a feed tube that seals by being crushed seats once: used again it may leak")
		}
	}
	return list
}

func (w *Work) doubtSwap(p *Position, add func(DoubtCode, string, ...any)) {
	if p.Injector != Swapped {
		return
	}
	other := w.At(p.SwappedWith)
	switch {
	case p.SwappedWith == 0:
		add(SwapAlone, "the injector was swapped, and nobody said with which cylinder")
	case other.Injector != Swapped || other.SwappedWith != p.Cylinder:
		add(SwapDisagrees, "the injector was swapped with that of cylinder %d, of which the log says something else", p.SwappedWith)
	case p.CodeIn != "" && other.CodeOut != "" && p.CodeIn != other.CodeOut:
		add(CodesNotMoved, "the correction code that went in is not the one that came out at %s: codes move with their injectors",
			leakback.CylinderNames([]int{other.Cylinder}))
	}
}

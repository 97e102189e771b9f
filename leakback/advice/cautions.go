package advice

import (
	"slices"
	"strings"
)

// notSeen is what no return-flow test can show.
var notSeen = []string{
	"Fuel that leaks from a nozzle into its cylinder, leaks to the outside and the quality of the spray do not show in the return.",
	"A normal return therefore clears no injector.",
	"A fail is about a position, not a part: the injector, its feed tube or a seat at that cylinder.",
}

// cautions are grouped by what they guard against; common practice, no source.
var cautions = []string{
	"High pressure: the rail can hold more than 2,000 bar, and a jet of that fuel enters the body almost without pain. Never search for a leak with a hand. After any such injury go to a hospital at once and tell them \"high-pressure fuel\".",
	"Opening lines: undo no high-pressure joint while the engine runs or pressure stands; wait, then make sure that it has gone. Clean every joint before it is opened, fit new single-use lines and seals, and look for leaks once all is back in place.",
	"Blocking: block an injector at the rail only with caps rated for rail pressure, and only where the maker allows it. Never cap or pinch the return of an injector. Plug the vehicle's side of every line that was taken off.",
	"Electricity: leave injector connectors alone while the engine runs. They carry high voltage, and some injectors may stay open when unplugged.",
	"Moving engine: keep it from starting only by the maker's own method. Park brake on, gear in neutral, hands and clothes away from what turns. Give the starter the rests it needs.",
	"Exhaust: lead it outside. Fuel left unburnt by long cranking can damage the aftertreatment or catch fire in it.",
	"Hot fuel: what comes back can scald and may be ready to ignite. Use tubes made for fuel, stand them in a metal tray and stay with them. No source of ignition; fresh air, eye protection, gloves and an extinguisher at hand.",
	"Afterwards: dispose of the fuel as local rules ask.",
	"The engine maker's service information, the law of the place and the judgement of a licensed technician come before anything printed here.",
}

// NotSeen is what the test does not see, each a sentence.
func NotSeen() []string { return slices.Clone(notSeen) }

// Cautions are the cautions to read before a test starts, one group each.
func Cautions() []string { return slices.Clone(cautions) }

// Topic is what a caution is about: the words before its colon.
type Topic string

// Topics that only some tests touch.
const (
	OpeningLines Topic = "Opening lines"
	Blocking     Topic = "Blocking"
	MovingEngine Topic = "Moving engine"
	Exhaust      Topic = "Exhaust"
)

// CautionsAbout are the cautions about the topics given, in the usual order.
func CautionsAbout(topics ...Topic) []string {
	return slices.DeleteFunc(Cautions(), func(text string) bool {
		topic, _, _ := strings.Cut(text, ":")
		return !slices.Contains(topics, Topic(topic))
	})
}

// CautionLine is the caution that stands under every result, in plain ASCII
// and at most 78 columns.
func CautionLine() string {
	return "Never feel for a leak by hand. The maker's service information comes first."
}

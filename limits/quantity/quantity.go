// Package quantity parses and prints the quantities of a return-flow test: it
// is the only home of units. Inside the program a volume is in mL, an interval
// in s, a rate in mL/min, a pressure in bar, a temperature in degC and a torque
// in N·m. What a quantity means for an engine is left to others.
package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Kind is a kind of quantity, with its inside unit, the units people may type
// and the bounds beyond which a figure can only be a mistake.
type Kind int

// The kinds, each with its inside unit.
const (
	Volume      Kind = iota // mL
	Interval                // s
	Rate                    // mL/min
	Pressure                // bar
	Temperature             // degC
	Torque                  // N·m
)

// kinds is in the order of the constants.
var kinds = [...]struct {
	name, article string
	symbol        string // inside unit, for people
	takes         string // units, for people
	mustName      bool   // a number without a unit is refused
	low, high     float64
	units         map[string]unit
}{
	Volume:      {"volume", "a", "mL", "mL, cc, cm3, L or US fl oz", false, 0, 10_000, volumeUnits},
	Interval:    {"interval", "an", "s", "s, min or h, also as 1m30s or 1:30", false, 1, 86_400, intervalUnits},
	Rate:        {"rate", "a", "mL/min", "mL/min, cc/min, L/min or L/h", false, 0, 100_000, rateUnits},
	Pressure:    {"pressure", "a", "bar", "bar, psi, kPa or MPa", false, 0, 4_000, pressureUnits},
	Temperature: {"temperature", "a", "°C", "°C or °F", false, -60, 200, temperatureUnits},
	Torque:      {"torque", "a", "N·m", "N·m, lbf·ft, lbf·in or kgf·m", true, 0, 2_000, torqueUnits},
}

// String is the word for the kind: volume, interval, rate, pressure,
// temperature or torque.
func (k Kind) String() string { return kinds[k].name }

// Unit is the inside unit as people write it, such as mL/min.
func (k Kind) Unit() string { return kinds[k].symbol }

// Takes lists the units that Parse accepts, for help and for errors.
func (k Kind) Takes() string { return kinds[k].takes }

// Bounds are the smallest and the largest figure of the kind in its inside
// unit. Both are allowed; anything beyond is a slip of the pen.
func (k Kind) Bounds() (low, high float64) { return kinds[k].low, kinds[k].high }

// Check is an error that says the bounds where x, in the inside unit, is
// outside them or is not a number.
func (k Kind) Check(x float64) error {
	if k.within(x) {
		return nil
	}
	return fmt.Errorf("%s: %s", Plain(x, -1), k.Expected())
}

func (k Kind) within(x float64) bool { return x >= kinds[k].low && x <= kinds[k].high }

// Expected says the bounds for an error: "expected a rate from 0 to 100,000 mL/min".
func (k Kind) Expected() string {
	d := kinds[k]
	return fmt.Sprintf("expected %s %s from %s to %s %s",
		d.article, d.name, Grouped(d.low), Grouped(d.high), d.symbol)
}

// Parse reads a quantity as people type it and gives it in the inside unit.
// The number is a plain decimal with a point or a comma. A number without a
// unit is in the inside unit, but a torque must name its unit: an inch-pound
// taken for a foot-pound breaks things. An error quotes the text, lists what
// the kind takes, and comes with NaN.
func Parse(k Kind, text string) (float64, error) {
	x, err := parse(k, text)
	if err != nil {
		return math.NaN(), fmt.Errorf("%s: %w", Quote(text), err)
	}
	if !k.within(x) {
		return math.NaN(), fmt.Errorf("%s: %s", Quote(text), k.Expected())
	}
	return x, nil
}

func parse(k Kind, text string) (float64, error) {
	if k == Interval {
		if x, ok := parseClock(text); ok {
			return x, nil
		}
		if x, ok := parseCompound(text); ok {
			return x, nil
		}
	}
	number, name := Split(text)
	if number == "" {
		return 0, k.refusal()
	}
	u, ok := k.unit(name)
	if !ok {
		return 0, k.refusal()
	}
	x, err := typedNumber(number)
	if err != nil {
		return 0, err
	}
	return u.inside(x), nil
}

// unit finds a unit by the name people typed; no name is the inside unit,
// except where the kind must name it.
func (k Kind) unit(name string) (unit, bool) {
	if name == "" {
		return same, !kinds[k].mustName
	}
	if k == Pressure && strings.HasPrefix(name, "mP") {
		return unit{}, false // mPa is the millipascal; mpa and MPA can only mean MPa
	}
	u, ok := kinds[k].units[canonical(name)]
	return u, ok
}

// refusal lists what the kind takes.
func (k Kind) refusal() error {
	d := kinds[k]
	if d.mustName {
		return fmt.Errorf("expected %s %s with its unit: %s", d.article, d.name, d.takes)
	}
	return fmt.Errorf("expected %s %s in %s (a plain number is in %s)", d.article, d.name, d.takes, d.symbol)
}

// Split parts the number at the front of what people type from the unit behind
// it; "" for what is not there.
func Split(text string) (number, name string) {
	text = strings.TrimSpace(strings.Replace(text, "\u2212", "-", 1)) // typographic minus
	end := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("+-0123456789.,", r) })
	if end < 0 {
		return text, ""
	}
	return text[:end], strings.TrimSpace(text[end:])
}

// typedNumber reads a number that people typed beside a unit. "1,500" is
// refused: half the world means 1500 by it, the other half 1.5.
func typedNumber(text string) (float64, error) {
	before, after, found := strings.Cut(text, ",")
	before = strings.TrimLeft(before, "+-0")
	plain := strings.Trim(before+after, "0123456789") == ""
	if found && plain && len(after) == 3 && len(before) >= 1 && len(before) <= 3 {
		return 0, fmt.Errorf("expected a number without a thousands mark: write %s or %s.%s",
			before+after, before, after)
	}
	x, err := number(text, true)
	if err != nil {
		return 0, errNumber
	}
	return x, nil
}

// quoted is how many characters of a text an error shows.
const quoted = 40

// Quote shows what was typed between quotes, cut short where it is long, so
// that an error stays one line.
func Quote(text string) string {
	if len(text) > quoted {
		// Cut before making runes of it: the text may be a whole file.
		r := []rune(text[:min(len(text), 4*quoted)])
		if len(r) > quoted || len(text) > 4*quoted {
			text = string(r[:quoted]) + "…"
		}
	}
	return fmt.Sprintf("%q", text)
}

// Listed is words in a list, the last behind a word such as "and": "a", "a or b",
// "a, b or c".
func Listed(words []string, before string) string {
	last := len(words) - 1
	if last < 1 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:last], ", ") + " " + before + " " + words[last]
}

// Printable says whether text is one line that can be shown as it is: UTF-8, and
// nothing in it that breaks the line, plays with a terminal or only formats.
func Printable(text string) bool {
	for i := range len(text) {
		if text[i] < ' ' || text[i] > '~' {
			return utf8.ValidString(text) && strings.IndexFunc(text, func(r rune) bool { return !unicode.IsPrint(r) }) < 0
		}
	}
	return true
}

// Name is the name of a file, or another word of somebody else's, as a message
// shows it: as it is, and between quotes where there is nothing or where it would
// break the line, so that it neither hides nor passes for a message of its own.
func Name(text string) string {
	if text != "" && Printable(text) {
		return text
	}
	return strconv.Quote(text)
}

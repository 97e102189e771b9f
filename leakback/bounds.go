package leakback

// What a record takes, however it was entered. Where no unit sets a bound it is
// wide: common practice, no source.
const (
	// HighestRun is the highest number that a run may have.
	HighestRun = 999
	// MostCranks is how many cranks make up a run.
	MostCranks = 99
	// MostRPM is the highest engine speed, in revolutions per minute.
	MostRPM = 10_000
	// MostBatteryV is the highest voltage of a starter battery, in V: vehicles have
	// 12 or 24, and beyond 60 V of direct current a circuit counts as high voltage
	// (UNECE regulation 100, from memory).
	MostBatteryV = 60
)

// How long a text may be, in characters.
const (
	// LongestName is of what tells tests apart: a test's id, the engine, the
	// condition, a return line.
	LongestName = 100
	// LongestJobText is of a line of the work order: a person, a vehicle, a number.
	LongestJobText = 200
	// LongestSentence is of a complaint, a note or a reason.
	LongestSentence = 1000
)

// Longest is how long the text of a field of KindSet may be, in characters.
func Longest(field string) int {
	switch {
	case field == FieldComplaint || field == FieldNote:
		return LongestSentence
	case new(Job).Field(field) != nil:
		return LongestJobText
	}
	return LongestName
}

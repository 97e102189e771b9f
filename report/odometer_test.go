package report

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// How odometers and hours are typed in workshops (common practice, no source).
func TestParseOdometer(t *testing.T) {
	for text, want := range map[string]odometer{
		"412 300 km": {412300, "km"}, "412300km": {412300, "km"}, "412.300 km": {412300, "km"}, "412,300 KM": {412300, "km"},
		"412'300 km": {412300, "km"}, "412’300 km": {412300, "km"}, "412\u00a0300\u00a0km": {412300, "km"}, "412 300.5 km": {412300.5, "km"},
		"412.300,5 km": {412300.5, "km"}, "1,256,113 mi": {1256113, "mi"}, "1.256.113": {1256113, ""}, "256113 miles": {256113, "mi"},
		"8,450.5 h": {8450.5, "h"}, "8450,5 hrs": {8450.5, "h"}, "8450.25 hours": {8450.25, "h"}, " 8450 h. ": {8450, "h"},
		"ca. 412 000 km": {412000, "km"}, "~412000": {412000, ""}, "about 90 km": {90, "km"}, "0": {0, ""},
		"412 300 km, 8 450 h": {412300, "km"}, "412 300 km / 8450 h": {412300, "km"}, "412 300 km (replaced)": {412300, "km"},
		"12.345 km": {12345, "km"}, "1,234.567 km": {1234.567, "km"}, "1 234.567": {1234.567, ""}, "412.5 km": {412.5, "km"},
	} {
		got, ok := parseOdometer(text)
		assert.True(t, ok, text)
		assert.Equal(t, want, got, text)
	}
	for _, text := range []string{"", "km", "unknown", "412k", "41 2300 km", "4123 000 km", "412 30 km", "-5 km", "1e6 km", "412 300 000 0 km",
		"412.300 000 km", "1,234 567 km", "12 furlongs", "=1+1", "0x10", "٤١٢ km", "412..300", "1,2,3"} {
		_, ok := parseOdometer(text)
		assert.False(t, ok, text)
	}
}

func FuzzParseOdometer(f *testing.F) {
	f.Add("412 300,5 km")
	f.Fuzz(func(t *testing.T, text string) {
		o, ok := parseOdometer(text)
		if ok {
			assert.GreaterOrEqual(t, o.value, 0.0)
			assert.Contains(t, []string{"", "km", "mi", "h"}, o.unit)
		}
	})
}

package limits_test

import (
	"errors"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/limits"
)

func started(t *testing.T, engine string) string {
	t.Helper()
	var b strings.Builder
	require.NoError(t, limits.Start(&b, engine))
	return b.String()
}

func TestStartWritesNoFigures(t *testing.T) {
	text := started(t, "Northmoor")
	for line := range strings.Lines(text) {
		code, comment, _ := strings.Cut(line, "#")
		assert.NotRegexp(t, `\d`, code, line)
		assert.NotRegexp(t, `=\s*[\[{"]?\s*\d`, comment, line)
	}
	for line := range strings.Lines(text) {
		assert.LessOrEqual(t, len(strings.TrimRight(line, "\n")), 90, line)
	}
}

func TestStartedSheetIsRefusedUntilFilledIn(t *testing.T) {
	text := started(t, `Northmoor "Six" \ 90`)
	_, err := limits.Parse([]byte(text), "bay.toml")
	var faults *limits.FaultError
	require.ErrorAs(t, err, &faults)
	require.Len(t, faults.Faults, 3)
	assert.Contains(t, faults.Faults[0].Text, "no figure")
	assert.Contains(t, faults.Faults[1].Text, "empty: expected cranking, idle")
	assert.Equal(t, "still the template's: expected where the figures come from", faults.Faults[2].Text)

	filled := strings.Replace(text, `condition = ""`, `condition = "idle"`, 1)
	filled = strings.Replace(filled, "# max_rate_ml_min = ", "max_rate_ml_min = 40", 1)
	_, err = limits.Parse([]byte(filled), "bay.toml")
	require.ErrorAs(t, err, &faults)
	require.Len(t, faults.Faults, 1)
	assert.Equal(t, "source", faults.Faults[0].Key)

	s, err := limits.Parse([]byte(named(filled)), "bay.toml")
	require.NoError(t, err)
	assert.Equal(t, `Northmoor "Six" \ 90`, s.Engine)
	assert.Equal(t, 40.0, *s.Limits[0].MaxRateMLMin)
	assert.Equal(t, "invented", s.Limits[0].Source)
}

// named puts a source in place of the template's.
func named(text string) string {
	return regexp.MustCompile(`source = ".*"`).ReplaceAllString(text, `source = "invented"`)
}

// Whatever the template explains, a sheet takes: every key with its # taken
// away is known, and every key that a sheet takes is explained.
func TestStartExplainsEveryKey(t *testing.T) {
	text := named(started(t, "Northmoor"))
	values := map[string]string{
		"name": "'x'", "cylinders": "2", "firing_order": "[1, 2]", "return_lines": "{ a = [1], b = [2] }",
		"back_pressure_bar": "[8, 12]", "injectors": "'off'", "cranks": "1", "rail_pressure_bar": "[1, 2]",
		"fuel_temp_c": "[1, 2]", "engine_rpm": "[1, 2]", "max_volume_ml": "10", "interval_s": "15",
		"min_rate_ml_min": "1", "max_total_ml_min": "100", "max_ratio_to_median": "2", "max_ratio_to_mean": "2",
		"max_ratio_to_lowest": "2", "max_difference_ml_min": "9", "healthy_cv": "0.2", "false_alarm": "0.01",
		"false_hint": "0.1", "practical_ratio": "1.5", "within_limit": "'pass'", "repeatability_cv": "0.1",
		"common_cv": "0.1", "timing_s": "0.1", "max_crank_s": "10", "rest_s": "60", "step": "1",
		"part": "'nut'", "torque": "'60 N·m'", "angle_deg": "60", "new_fastener": "true",
		"torque_tolerance_nm": "2", "angle_tolerance_deg": "5",
	}
	text = strings.Replace(text, `condition = ""`, `condition = "idle"`, 1)
	for key, value := range values {
		line := regexp.MustCompile(`(?m)^# ` + key + ` = *(#.*)?$`)
		require.Len(t, line.FindAllString(text, -1), 1, key)
		text = line.ReplaceAllString(text, key+" = "+value)
	}
	text = regexp.MustCompile(`(?m)^# (\[+[a-z]+\]+$|source)`).ReplaceAllString(text, "$1")
	s, err := limits.Parse([]byte(text), "bay.toml")
	require.NoError(t, err)
	assert.Empty(t, s.Set.Defaulted)
	assert.Empty(t, s.Measurement.Defaulted)
	assert.Len(t, s.Limits[0].Figures(), 8) // all but max_rate_ml_min, which excludes the volume
	assert.Contains(t, text, "# max_rate_ml_min = ")
	assert.Equal(t, 60.0, s.Tightening[0].AngleDeg)
}

func TestStartRefusesAndReports(t *testing.T) {
	for _, engine := range []string{"", "  ", "a\nb"} {
		assert.EqualError(t, limits.Start(&strings.Builder{}, engine), "expected the engine's name, on one line")
	}
	assert.EqualError(t, limits.Start(full{}, "Northmoor"), "no space left")
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left") }

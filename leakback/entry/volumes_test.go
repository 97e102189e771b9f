package entry

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

func TestVolumes(t *testing.T) {
	want := []leakback.Reading{plain(1, "21", 21), plain(2, "22.5", 22.5), plain(3, "23", 23),
		{Cylinder: 4, Typed: ">100", VolumeML: 100, Bound: leakback.AtLeast, Tube: leakback.Tube{GraduationML: 1, ToleranceML: 1}},
		plain(5, "", nan), plain(6, "22", 22)}
	for _, text := range []string{
		"21 22.5 23 >100 skip 22",
		"21, 22.5, 23, >100, -, 22",
		" 21;22.5;23;>100;SKIP;22; ",
		"21\n22.5\t23  >100 - 22",
	} {
		test, err := Volumes(text, minute())
		require.NoError(t, err, text)
		requireSound(t, test)
		assert.Equal(t, "volumes", test.ID)
		require.Len(t, test.Runs, 1)
		assert.Equal(t, 60.0, test.Runs[0].IntervalS)
		equal(t, want, test.Runs[0].Readings)
	}
}

// 1 US fl oz is 29.5735295625 mL: NIST SP 811 (2008), appendix B.
func TestVolumesWithUnits(t *testing.T) {
	test, err := Volumes("22,5 21mL 21cc 21 mL > 100 mL 1 US fl oz <2mL 0", minute())
	require.NoError(t, err)
	requireSound(t, test)
	var typed []string
	var volumes []float64
	var bounds []leakback.Bound
	for _, rd := range test.Runs[0].Readings {
		typed, volumes, bounds = append(typed, rd.Typed), append(volumes, rd.VolumeML), append(bounds, rd.Bound)
	}
	assert.Equal(t, []string{"22,5", "21mL", "21cc", "21 mL", ">100 mL", "1 US fl oz", "<2mL", "0"}, typed)
	assert.InDeltaSlice(t, []float64{22.5, 21, 21, 21, 100, 29.5735295625, 2, 0}, volumes, 1e-12)
	assert.Equal(t, []leakback.Bound{0, 0, 0, 0, leakback.AtLeast, 0, leakback.AtMost, 0}, bounds)
}

func TestVolumesTakeFlags(t *testing.T) {
	d := minute()
	d.Condition, d.Injectors, d.Cylinders, d.CapacityML, d.TubeClass = "idle", "driven", 6, 100, "B"
	d.RailPressureBar, d.ReturnLine = 350, "left"
	test, err := Volumes("21 22", d)
	require.NoError(t, err)
	requireSound(t, test)
	assert.Equal(t, "idle", test.Condition)
	assert.Equal(t, "driven", test.Injectors)
	assert.Equal(t, 6, test.Cylinders)
	assert.Equal(t, 350.0, test.Runs[0].State.RailPressureBar)
	// ASTM E1272-02(2012), table 1: class B at 100 mL.
	assert.Equal(t, leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 1, Class: "B"}, test.Runs[0].Readings[1].Tube)
	assert.Equal(t, "left", test.Runs[0].Readings[1].ReturnLine)
}

func TestBadVolumes(t *testing.T) {
	const notOne = "expected one volume; part volumes with spaces, or with commas that have a space behind them"
	const noVolume = "expected a volume in mL, cc, cm3, L or US fl oz (a plain number is in mL)"
	for _, c := range []struct {
		text string
		want []string
	}{
		{"", []string{`--volumes: expected a volume for each cylinder, such as "21 22.5 23 >100 21 22"`}},
		{" ; , ", []string{`--volumes: expected a volume for each cylinder, such as "21 22.5 23 >100 21 22"`}},
		{"21,22,23", []string{`--volumes: cylinder 1: "21,22,23": ` + notOne}},
		{"21,22.5", []string{`--volumes: cylinder 1: "21,22.5": ` + notOne}},
		{"21 1,500", []string{`--volumes: cylinder 2: "1,500": expected a number without a thousands mark: write 1500 or 1.500`}},
		{"21 x 22 y", []string{
			`--volumes: cylinder 1: "21 x": ` + noVolume,
			`--volumes: cylinder 2: "22 y": ` + noVolume}},
		{"21 1e400 - NaN 0x15 22", []string{
			`--volumes: cylinder 2: "1e400": ` + noVolume,
			`--volumes: cylinder 4: "NaN": ` + noVolume,
			`--volumes: cylinder 5: "0x15": ` + noVolume}},
		{"21 -3 20000 2L", []string{
			"--volumes: cylinder 2: \"-3\": expected a volume from 0 to 10,000 mL",
			"--volumes: cylinder 3: \"20000\": expected a volume from 0 to 10,000 mL"}},
		{"21 5 drops >", []string{
			`--volumes: cylinder 2: "5 drops": expected a volume, and a drop is none: collect to the first mark, or weigh`,
			`--volumes: cylinder 3: ">": expected a figure behind > or <, such as >100 or <2`}},
		{">0 22", []string{`--volumes: cylinder 1: ">0": expected a level above 0 where the tube overflowed or the first mark was not reached`}},
		{"21\x1b[2J", []string{`--volumes: cylinder 1: "21\x1b[2J": ` + noVolume}},
		{strings.Repeat("1 ", 65), []string{"--volumes: expected at most 64 volumes; found 65"}},
	} {
		test, err := Volumes(c.text, minute())
		assert.Nil(t, test)
		requireFaults(t, err, c.want)
	}
}

func TestBadVolumesFlags(t *testing.T) {
	_, err := Volumes("21 22", NoDefaults())
	requireFaults(t, err, []string{"--volumes: expected the length of the collection: --interval"})
	d := minute()
	d.Cylinders, d.CapacityML = 2, 50
	_, err = Volumes("21 51 22", d)
	requireFaults(t, err, []string{
		"--volumes: expected at most 2 volumes, as --cylinders or the limits sheet says; found 3",
		`--volumes: cylinder 2: "51": expected at most the tube's capacity, 50 mL; where it overflowed write >50`})
	d = minute()
	d.TubeClass = "A"
	_, err = Volumes("21 22", d)
	requireFaults(t, err, []string{"--volumes: --capacity: expected the tube's capacity, which --tube-class needs: a column capacity_ml or --capacity"})
	d.TubeClass = "C"
	_, err = Volumes("21 22", d)
	requireFaults(t, err, []string{`--tube-class: "C": expected A or B`})
}

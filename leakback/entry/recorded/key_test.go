package recorded

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
)

func TestKeyTellsWhatIsSaid(t *testing.T) {
	said := events(t, "set 1.2 capacity_ml=100\nleave-out 1.0 =1 because spilled")
	key := Key(said)
	assert.Regexp(t, "^[0-9a-f]{64}$", key)
	assert.Equal(t, key, Key(said))
	more := append(events(t, "set 0.0 import_key=ab\nset 0.0 source_digest=cd"), said...)
	more[2].Seq, more[2].AtUS, more[2].Person, more[2].TestID, more[2].ElapsedMS = 3, 1, "A", "B", 2
	assert.Equal(t, key, Key(more), "who, when and from where say nothing of the test")
	seen := map[string]bool{key: true}
	for i, change := range []func(e *leakback.Event){
		func(e *leakback.Event) { e.Kind = leakback.KindReading },
		func(e *leakback.Event) { e.Run = 2 },
		func(e *leakback.Event) { e.Cylinder = 1 },
		func(e *leakback.Event) { e.Line = "left" },
		func(e *leakback.Event) { e.Field = "capacity_m" },
		func(e *leakback.Event) { e.Field, e.Value = "capacity_m", "l100" },
		func(e *leakback.Event) { e.Value = "101" },
		func(e *leakback.Event) { e.Value, e.Typed = "10", "0" },
		func(e *leakback.Event) { e.Typed = "100 mL" },
		func(e *leakback.Event) { e.Reason = "100 mL" },
	} {
		other := events(t, "set 1.2 capacity_ml=100\nleave-out 1.0 =1 because spilled")
		change(&other[0])
		assert.False(t, seen[Key(other)], "change %d", i)
		seen[Key(other)] = true
	}
	assert.NotEqual(t, key, Key(said[:1]))
}

// A sheet that was made and not read comes back with all that it says; where it
// cannot be written it is refused, not taken for the built-in one.
func TestSheetThatWasMade(t *testing.T) {
	high := 60.0
	sheet := limits.Builtin()
	sheet.Name, sheet.Origin, sheet.Path = "ours", "", "ours.toml"
	sheet.Limits = []limits.Limit{{Condition: "idle", MaxRateMLMin: &high, Source: "invented"}}
	var text bytes.Buffer
	require.NoError(t, limits.Write(&text, sheet))
	got, err := Sheet(leakback.NewRecord(Events(&leakback.Test{}, leakback.Job{}, sheet)))
	require.NoError(t, err)
	assert.Equal(t, text.String(), got.TOML)
	assert.Equal(t, sheet.Name, got.Name)
	assert.Equal(t, sheet.Path, got.Path)
	assert.Equal(t, 60.0, *got.Limits[0].MaxRateMLMin)

	sheet.Engine = "two\nlines"
	_, err = Sheet(leakback.NewRecord(Events(&leakback.Test{}, leakback.Job{}, sheet)))
	assert.EqualError(t, err, `limits: "ours": expected the text of the limits sheet in limits_toml`)
}

func TestSheetThatCannotBeRead(t *testing.T) {
	_, err := Sheet(record(t, "set 0.0 limits_toml=[set\nset 0.0 limits_path=shop.toml"))
	var faults *limits.FaultError
	require.ErrorAs(t, err, &faults)
	assert.Contains(t, err.Error(), "shop.toml")
	sheet, err := Sheet(&leakback.Record{})
	require.NoError(t, err)
	assert.Equal(t, limits.Builtin(), sheet)
}

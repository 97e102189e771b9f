package logbook

import (
	"crypto/sha256"
	"encoding/hex"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// The two links were encoded by twenty lines of Python that follow RFC 8949,
// section 3 (a head of major type << 5 and the shortest argument; 2 is a byte
// string, 3 a text string, 4 an array), and hashed by its hashlib: neither uses
// this package or its encoder.
const (
	firstLink = "8f" + // array of 15
		"706c65616b6261636b206576656e742031" + // "leakback event 1"
		"40" + // no hash before
		"782430313839303030302d303030302d373030302d383030302d303030303030303030303031" + // the test
		"01" + "1b0006474846204000" + "00" + // seq, at_us, elapsed_ms
		"68c384676964697573" + "63736574" + "00" + "00" + "60" + // person, "set", run, cylinder, line
		"6776656869636c65" + "654142203132" + "60" + "60" // "vehicle", "AB 12", typed, reason
	secondLink = "8f" + "706c65616b6261636b206576656e742031" +
		"58205b6c2b28b6b0eba2234b0566f34c138b9b7931c482747ae1b154dca7cc4c3315" + // firstHash
		"782430313839303030302d303030302d373030302d383030302d303030303030303030303031" +
		"02" + "1b0006474846372360" + "1905dc" +
		"68c384676964697573" + "6772656164696e67" + "01" + "1818" + "60" + // "reading", run 1, cylinder 24
		"69766f6c756d655f6d6c" + "6432322e35" + "6432322c35" + "6b747970656420616761696e"
	firstHash  = "5b6c2b28b6b0eba2234b0566f34c138b9b7931c482747ae1b154dca7cc4c3315"
	secondHash = "c5b5848e945af5823f3ade093bd27bcb69537288ff95b6b5f7862818c835e086"
)

func chainedEvents() []leakback.Event {
	const id = "01890000-0000-7000-8000-000000000001"
	return []leakback.Event{
		{TestID: id, Seq: 1, AtUS: 1767225600000000, Person: "Ägidius", Value: "AB 12",
			Key: leakback.Key{Kind: leakback.KindSet, Field: "vehicle"}},
		{TestID: id, Seq: 2, AtUS: 1767225601500000, ElapsedMS: 1500, Person: "Ägidius", Value: "22.5", Typed: "22,5", Reason: "typed again",
			Key: leakback.Key{Kind: leakback.KindReading, Run: 1, Cylinder: 24, Field: "volume_ml"}},
	}
}

func TestHashesAreThoseOfAnotherImplementation(t *testing.T) {
	for encoded, want := range map[string]string{firstLink: firstHash, secondLink: secondHash} {
		raw, err := hex.DecodeString(encoded)
		require.NoError(t, err)
		sum := sha256.Sum256(raw)
		require.Equal(t, want, hex.EncodeToString(sum[:]))
	}
	heads, err := Heads(chainedEvents())
	require.NoError(t, err)
	assert.Equal(t, []string{firstHash, secondHash}, heads)
}

func TestLogbookKeepsThoseHashes(t *testing.T) { onEach(t, testLogbookKeepsThoseHashes) }

func testLogbookKeepsThoseHashes(t *testing.T) {
	b := fresh(t)
	events := chainedEvents()
	drafts := chainedEvents()
	for i := range drafts {
		drafts[i].TestID, drafts[i].Seq = "", 99 // what a draft says of them does not count
	}
	added, err := b.Append(t.Context(), events[0].TestID, drafts)
	require.NoError(t, err)
	assert.Equal(t, events, added)
	e, err := b.Find(t.Context(), events[0].TestID)
	require.NoError(t, err)
	assert.Equal(t, secondHash, e.Head)
}

func TestEachFieldIsInTheHash(t *testing.T) {
	seen := map[string]int{}
	for i, change := range []func(*leakback.Event){
		func(*leakback.Event) {},
		func(e *leakback.Event) { e.TestID = "01890000-0000-7000-8000-000000000002" },
		func(e *leakback.Event) { e.Seq++ },
		func(e *leakback.Event) { e.AtUS++ },
		func(e *leakback.Event) { e.ElapsedMS++ },
		func(e *leakback.Event) { e.Person, e.Line = e.Line, e.Person },
		func(e *leakback.Event) { e.Kind = leakback.KindSet },
		func(e *leakback.Event) { e.Run, e.Cylinder = e.Cylinder, e.Run },
		func(e *leakback.Event) { e.Cylinder++ },
		func(e *leakback.Event) { e.Line = "a" },
		func(e *leakback.Event) { e.Field = "volume_cc" },
		func(e *leakback.Event) { e.Value += "0" },
		func(e *leakback.Event) { e.Typed, e.Reason = e.Reason, e.Typed },
		func(e *leakback.Event) { e.Reason = "" },
	} {
		e := chainedEvents()[1]
		change(&e)
		for _, previous := range []string{"", firstHash} {
			hash, err := chained(previous, &e)
			require.NoError(t, err)
			assert.NotContains(t, seen, hash, "change %d", i)
			seen[hash] = i
		}
	}
	_, err := chained("abc", &leakback.Event{Seq: 2})
	require.ErrorContains(t, err, "expected 64 hex digits")
}

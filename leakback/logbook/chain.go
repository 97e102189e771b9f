package logbook

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"github.com/fxamacker/cbor/v2"

	"leakback/leakback"
)

// chainName begins each array that is hashed: see Chain in the package's
// documentation.
const chainName = "leakback event 1"

// link is the array in the order in which it is hashed.
type link struct {
	_         struct{} `cbor:",toarray"`
	Name      string
	Previous  []byte
	TestID    string
	Seq       int64
	AtUS      int64
	ElapsedMS int64
	Person    string
	Kind      string
	Run       int64
	Cylinder  int64
	Line      string
	Field     string
	Value     string
	Typed     string
	Reason    string
}

var canonical = func() cbor.EncMode {
	mode, err := cbor.CoreDetEncOptions().EncMode()
	if err != nil {
		panic(err) // the options are constants
	}
	return mode
}()

// chained is the hash of an event that follows the one with the hash previous,
// "" for the first event of a test.
func chained(previous string, e *leakback.Event) (string, error) {
	before, err := hex.DecodeString(previous)
	if err != nil || len(before) != 0 && len(before) != sha256.Size {
		return "", fmt.Errorf("hash before event %d: %.80q: expected 64 hex digits", e.Seq, previous)
	}
	encoded, err := canonical.Marshal(link{
		Name: chainName, Previous: before,
		TestID: e.TestID, Seq: e.Seq, AtUS: e.AtUS, ElapsedMS: e.ElapsedMS,
		Person: e.Person, Kind: string(e.Kind), Run: int64(e.Run), Cylinder: int64(e.Cylinder),
		Line: e.Line, Field: e.Field, Value: e.Value, Typed: e.Typed, Reason: e.Reason,
	})
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(encoded)
	return hex.EncodeToString(sum[:]), nil
}

// Heads are the hashes of a test's events, worked out from the first on; the last
// one is the test's head.
func Heads(events []leakback.Event) ([]string, error) {
	heads := make([]string, len(events))
	previous := ""
	for i := range events {
		hash, err := chained(previous, &events[i])
		if err != nil {
			return nil, err
		}
		heads[i], previous = hash, hash
	}
	return heads, nil
}

package command

import (
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"io"
)

// digestReader identifies what was read through it.
type digestReader struct {
	io.Reader
	hash hash.Hash
}

func newDigest(r io.Reader) *digestReader {
	h := sha256.New()
	return &digestReader{io.TeeReader(r, h), h}
}

// sum is the hexadecimal SHA-256 of all that was read so far.
func (d *digestReader) sum() string { return hex.EncodeToString(d.hash.Sum(nil)) }

// digestOf identifies all that a reader holds.
func digestOf(r io.Reader) func() string {
	d := newDigest(r)
	_, _ = io.Copy(io.Discard, d) // a text in memory
	return d.sum
}

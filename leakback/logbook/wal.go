package logbook

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"leakback/limits/quantity"
)

// The write-ahead log has a header, and a frame for each page that was written
// (https://www.sqlite.org/fileformat2.html#the_write_ahead_log). Each frame's
// checksum goes on from that of the frame before.
const (
	logMagic       = 0x377f0682 // or one more: checksums of big-endian words
	logHeader      = 32
	logFrameHeader = 24
	// logLook is how long a log that others write may look torn.
	logLook = 100 * time.Millisecond
)

// tornLog says whether the write-ahead log of a logbook has committed entries behind
// a damaged place. SQLite ends at such a place, as if nothing had followed, and the
// next entry overwrites what did.
func tornLog(path string) bool {
	if !logWithContent(path) || !tornOnce(path) {
		return false
	}
	time.Sleep(logLook) // another program may have been writing just there
	return tornOnce(path)
}

func tornOnce(path string) bool {
	raw, err := os.ReadFile(path + "-wal")
	return err == nil && torn(raw)
}

// torn goes through a log. What was committed is on the disk before the next frame
// is written: a damaged frame that a commit and then a sound frame follow was sound
// once. The end of the log is where frames are of an earlier use of the file.
func torn(raw []byte) bool {
	if len(raw) <= logHeader {
		return false
	}
	var order binary.ByteOrder = binary.LittleEndian
	if raw[3]&1 != 0 {
		order = binary.BigEndian
	}
	if binary.BigEndian.Uint32(raw)&^1 != logMagic ||
		checksum(order, make([]byte, 8), raw[:24]) != [2]uint32(words(raw[24:])) {
		return true // SQLite reads none of it
	}
	size := logFrameHeader + int(binary.BigEndian.Uint32(raw[8:]))
	salts, before := string(raw[16:24]), raw[24:32]
	bad, committed := false, false
	for at := logHeader; at+size <= len(raw); at += size {
		frame := raw[at : at+size]
		if string(frame[8:16]) != salts {
			return false
		}
		sound := checksum(order, before, frame[:8], frame[logFrameHeader:]) == [2]uint32(words(frame[16:24]))
		if sound && bad && committed {
			return true
		}
		bad = bad || !sound
		committed = bad && (committed || binary.BigEndian.Uint32(frame[4:]) != 0)
		before = frame[16:24]
	}
	return false
}

func words(raw []byte) []uint32 {
	return []uint32{binary.BigEndian.Uint32(raw), binary.BigEndian.Uint32(raw[4:])}
}

// checksum goes on from a checksum over parts of whole pairs of words.
func checksum(order binary.ByteOrder, before []byte, parts ...[]byte) [2]uint32 {
	sum := [2]uint32(words(before))
	for _, part := range parts {
		for i := 0; i+8 <= len(part); i += 8 {
			sum[0] += order.Uint32(part[i:]) + sum[1]
			sum[1] += order.Uint32(part[i+4:]) + sum[0]
		}
	}
	return sum
}

// keepLog copies a damaged log before it is written on, unless that was done. One
// that was kept earlier stays.
func keepLog(path string) (string, error) {
	raw, err := os.ReadFile(path + "-wal")
	if err != nil {
		return "", unreachable(path, err)
	}
	kept := path + "-wal.damaged"
	for n := 2; exists(kept); n++ {
		if before, err := os.ReadFile(kept); err == nil && bytes.Equal(before, raw) {
			return kept, nil
		}
		kept = fmt.Sprintf("%s-wal.damaged-%d", path, n)
	}
	if err := errors.Join(os.WriteFile(kept, raw, 0o600), syncFile(kept)); err != nil {
		os.Remove(kept)
		return "", unreachable(path, err)
	}
	return kept, nil
}

// notice says what a damaged log means. For a writer the log is kept first.
func notice(path string, readOnly bool) (string, error) {
	name := filepath.Base(path)
	text := "logbook " + quantity.Name(path) + ": damaged: " + quantity.Name(name) + "-wal, which a crash left, has a broken place, and entries that were made after it cannot be read"
	if readOnly {
		return text + "; keep a copy of both files before anything else is entered", nil
	}
	kept, err := keepLog(path)
	if err != nil {
		return "", err
	}
	return text + "; it is kept as " + quantity.Name(filepath.Base(kept)), nil
}

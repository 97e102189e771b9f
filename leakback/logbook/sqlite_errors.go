package logbook

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"syscall"

	"modernc.org/sqlite"

	"leakback/leakback/refused"
	"leakback/limits/quantity"
)

// SQLite's result codes (https://www.sqlite.org/rescode.html): the low byte, and
// some with what the higher bytes add.
const (
	resultError    = 1
	resultBusy     = 5
	resultLocked   = 6
	resultReadOnly = 8
	resultIO       = 10
	resultCorrupt  = 11
	resultFull     = 13
	resultCantOpen = 14
	resultRefused  = 19
	resultNotADB   = 26

	resultIORead      = resultIO | 1<<8
	resultIOShortRead = resultIO | 2<<8
	resultIOWrite     = resultIO | 3<<8
	resultIOSync      = resultIO | 4<<8
	resultIODirSync   = resultIO | 5<<8
	resultIOTruncate  = resultIO | 6<<8
	resultIOShmOpen   = resultIO | 18<<8
	resultIOShmSize   = resultIO | 19<<8
	resultIOShmMap    = resultIO | 21<<8
	resultIOCorruptFS = resultIO | 33<<8
	resultMoved       = resultReadOnly | 4<<8
)

// resultCode is SQLite's extended result code; 0 where the error is none of it.
func resultCode(err error) int {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return 0
	}
	return e.Code()
}

// safe is said where entering stopped: what was reported before is kept.
const safe = "everything that was entered before is safe; "

// explainSQLite says what a result code means for the user.
func explainSQLite(path string, err error) error {
	if explained(err) {
		return err
	}
	code := resultCode(err)
	switch code & 0xff {
	case resultBusy, resultLocked:
		return &Error{Kind: Busy, Path: path, Detail: "another program holds it", err: err,
			hint: safe + "close other programs that use the logbook (a backup, a database browser), then enter it again"}
	case resultReadOnly, resultCantOpen:
		return explainAccess(path, code, err)
	case resultCorrupt, resultNotADB:
		return damaged(path, said(err), err)
	case resultError: // a statement of ours that it does not understand
		return damaged(path, "damaged: the tables are not as they were made: "+firstLower(err.Error()), err)
	case resultRefused: // a key that is there already, or a row that is missing
		return damaged(path, "damaged: the list of tests and the events contradict each other: "+firstLower(err.Error()), err)
	case resultFull:
		return &Error{Kind: Full, Path: path, Detail: "the disk is full", err: err, hint: safe + "make room, then enter it again"}
	case resultIO:
		return explainIO(path, code, err)
	}
	return fmt.Errorf("logbook %s: %w", quantity.Name(path), err)
}

// said is what SQLite said, in the form of our messages.
func said(err error) string {
	if resultCode(err)&0xff == resultNotADB {
		return "damaged: the file is not a database"
	}
	return "damaged: " + firstLower(err.Error())
}

func explainAccess(path string, code int, err error) error {
	folder := filepath.Dir(path)
	switch {
	case code == resultMoved:
		return &Error{Kind: ReadOnly, Path: path, Detail: "the file was moved or removed while it was open", err: err,
			hint: "put it back, or start again with its new path"}
	case code&0xff == resultCantOpen:
		return &Error{Kind: Unreachable, Path: path, Detail: "the file cannot be opened, or its folder not written", err: err,
			hint: "look at the permissions of " + quantity.Name(folder) + " and of the file; the logbook is untouched"}
	}
	return &Error{Kind: ReadOnly, Path: path, Detail: "the file or its folder cannot be written", err: err,
		hint: safe + "look at the permissions of " + quantity.Name(folder) + " and of the file, or whether the disk is read-only"}
}

// unreadableLog is a logbook that was left with entries beside it, where SQLite can
// only take them in with a file of its own there, which it cannot make.
func unreadableLog(path string, err error) error {
	name, kind, why := filepath.Base(path), ReadOnly, "its folder cannot be written"
	if noRoomBeside(err) {
		kind, why = Full, "there is no room on its disk"
	}
	return &Error{Kind: kind, Path: path, err: err,
		Detail: why + ", and " + name + "-wal holds entries that cannot be read without",
		hint:   fmt.Sprintf("copy %s and %s-wal together to a folder that can be written, on a disk with room, and use the copy; nothing was changed", name, name)}
}

// noRoomBeside says whether SQLite could not make its -shm beside the logbook, of
// 32 kB at first, as there was no room.
func noRoomBeside(err error) bool {
	switch resultCode(err) {
	case resultIOShmOpen, resultIOShmSize, resultIOShmMap:
		return true
	}
	return false
}

func explainIO(path string, code int, err error) error {
	detail := "the disk, or the system, refused what the logbook needs"
	switch code {
	case resultIOShortRead:
		return damaged(path, "damaged: the file was cut off", err)
	case resultIOShmOpen, resultIOShmSize, resultIOShmMap:
		return &Error{Kind: Full, Path: path, Detail: "there is no room on its disk for what SQLite keeps beside it while it is open", err: err,
			hint: safe + "make room (a megabyte will do), then enter it again"}
	case resultIORead, resultIOCorruptFS:
		detail = "the disk could not be read"
	case resultIOWrite, resultIOSync, resultIODirSync, resultIOTruncate:
		detail = "the disk did not take what was written: full, at a limit, or failing"
	}
	return &Error{Kind: Disk, Path: path, Detail: detail + fmt.Sprintf(" (code %d)", code), err: err,
		hint: safe + "look at the free space, the quota and the health of the disk, then enter it again"}
}

// damaged is a file that is no sound logbook. It is left as it is.
func damaged(path, what string, err error) error {
	return &Error{Kind: Damaged, Path: path, Detail: what, err: err,
		hint: "nothing was changed and no new logbook was begun; keep the file and what lies beside it, copy them to a safe place, " +
			"and go on with the last backup or with another path; leakback logbook check says what is still whole"}
}

// unreachable is a file or folder that the system refused.
func unreachable(path string, err error) error {
	kind := Unreachable
	switch {
	case errors.Is(err, syscall.ENOSPC):
		kind = Full
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		kind = ReadOnly
	}
	return &Error{Kind: kind, Path: path, Detail: refused.Plainly(err).Error(), err: err,
		hint: "look at the permissions and the free space of " + quantity.Name(filepath.Dir(path)) + "; nothing was changed"}
}

func diskError(path string, err error) error {
	return &Error{Kind: Disk, Path: path, Detail: refused.Plainly(err).Error(), err: err,
		hint: "look at the free space and the health of the disk; no logbook was begun"}
}

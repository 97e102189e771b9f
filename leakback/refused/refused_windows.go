package refused

import (
	"errors"
	"syscall"
)

// Numbers of Windows, "System Error Codes"
// (https://learn.microsoft.com/windows/win32/debug/system-error-codes).
const (
	writeProtect     syscall.Errno = 19
	notReady         syscall.Errno = 21
	sharingViolation syscall.Errno = 32
	lockViolation    syscall.Errno = 33
	handleDiskFull   syscall.Errno = 39
	diskFull         syscall.Errno = 112
	invalidName      syscall.Errno = 123
	nameTooLong      syscall.Errno = 206
	noData           syscall.Errno = 232
	notAFolder       syscall.Errno = 267
	ioDevice         syscall.Errno = 1117
	quotaUsed        syscall.Errno = 1295
)

// numbered are causes that only the system's number tells.
var numbered = map[syscall.Errno]string{
	syscall.EISDIR:            "is a folder",
	notAFolder:                "a part of its path is no folder",
	diskFull:                  "the disk is full",
	handleDiskFull:            "the disk is full",
	quotaUsed:                 "the quota is used up",
	writeProtect:              "the disk is read-only",
	ioDevice:                  "the disk could not be read or written",
	notReady:                  "the drive is not ready",
	nameTooLong:               "the name is too long",
	invalidName:               "no name that a file can have",
	sharingViolation:          "in use by another program",
	lockViolation:             "in use by another program",
	noData:                    "nobody reads it any more",
	syscall.ERROR_BROKEN_PIPE: "nobody reads it any more",
}

// InUse says that another program has the file open. Windows says of a file that
// is to be replaced only that permission is denied.
func InUse(err error) bool {
	return errors.Is(err, sharingViolation) || errors.Is(err, lockViolation) || errors.Is(err, syscall.ERROR_ACCESS_DENIED)
}

//go:build unix

package refused

import "syscall"

// numbered are causes that only the system's number tells.
var numbered = map[syscall.Errno]string{
	syscall.EISDIR:       "is a folder",
	syscall.ENOTDIR:      "a part of its path is no folder",
	syscall.ENOSPC:       "the disk is full",
	syscall.EDQUOT:       "the quota is used up",
	syscall.EFBIG:        "larger than a file may become here",
	syscall.EROFS:        "the disk is read-only",
	syscall.EIO:          "the disk could not be read or written",
	syscall.ENAMETOOLONG: "the name is too long",
	syscall.ELOOP:        "links that lead round in a circle",
	syscall.EBUSY:        "in use by another program",
	syscall.ETXTBSY:      "in use by another program",
	syscall.EPIPE:        "nobody reads it any more",
}

// InUse says that another program has the file open. Unix lets it be replaced.
func InUse(error) bool { return false }

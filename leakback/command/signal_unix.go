//go:build unix

package command

import (
	"os/signal"
	"syscall"
)

// surviveFileSizeLimit makes a write beyond the file size limit fail with an
// error, so that it is cleaned up after and reported, instead of ending the
// program.
func surviveFileSizeLimit() { signal.Ignore(syscall.SIGXFSZ) }

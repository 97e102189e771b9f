//go:build !unix

package command

import (
	"os"
	"syscall"
)

// surviveFileSizeLimit has nothing to do where no such signal exists.
func surviveFileSizeLimit() {}

// endings are the signals that end the program as Ctrl-C does. On Windows the
// closing of the console and the end of the session are the latter.
func endings() []os.Signal { return []os.Signal{os.Interrupt, syscall.SIGTERM} }

//go:build unix

package command

import (
	"os"
	"os/signal"
	"syscall"
)

// surviveFileSizeLimit makes a write beyond the file size limit fail with an
// error, so that it is cleaned up after and reported, instead of ending the
// program.
func surviveFileSizeLimit() { signal.Ignore(syscall.SIGXFSZ) }

// endings are the signals that end the program as Ctrl-C does: what was kept is
// said, and a form gives the terminal back. One that whoever started the program
// wants ignored (nohup) is ignored still.
func endings() []os.Signal {
	list := []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGQUIT}
	if !signal.Ignored(syscall.SIGHUP) {
		list = append(list, syscall.SIGHUP)
	}
	return list
}

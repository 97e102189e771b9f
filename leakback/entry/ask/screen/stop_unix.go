//go:build unix

package screen

import (
	"os"
	"os/signal"
	"syscall"

	tea "charm.land/bubbletea/v2"
)

// begunMsg says that the form can be stopped.
type begunMsg struct{}

// stoppable lets the program be stopped from outside: the terminal is given back
// before that, and taken and drawn anew when it goes on. Clocks run meanwhile. The
// program is no longer stoppable once the function that it gives is called.
func stoppable(program *tea.Program) func() {
	signals, over := make(chan os.Signal, 2), make(chan struct{})
	signal.Notify(signals, syscall.SIGTSTP, syscall.SIGCONT)
	go func() {
		defer close(over)
		program.Send(begunMsg{}) // it waits until there is something to stop
		released := false
		for s := range signals {
			if s == syscall.SIGTSTP {
				released = program.ReleaseTerminal() == nil
				_ = syscall.Kill(syscall.Getpid(), syscall.SIGSTOP)
				continue
			}
			if released {
				released = program.RestoreTerminal() != nil
			}
			program.Send(tea.ClearScreen()) // so that all of it is drawn
		}
	}()
	return func() {
		signal.Stop(signals)
		close(signals)
		<-over
	}
}

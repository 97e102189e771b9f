//go:build unix

package command

import (
	"errors"
	"syscall"
)

// running says whether a process of that number lives on this machine.
func running(pid int) bool {
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}

package command

import (
	"errors"
	"syscall"
)

// running says whether a process of that number lives on this machine. One that has
// ended keeps its number for as long as another program holds on to it.
func running(pid int) bool {
	process, err := syscall.OpenProcess(syscall.SYNCHRONIZE, false, uint32(pid))
	if err != nil {
		return errors.Is(err, syscall.ERROR_ACCESS_DENIED) // another user's
	}
	defer syscall.CloseHandle(process)
	event, err := syscall.WaitForSingleObject(process, 0)
	return err == nil && event == syscall.WAIT_TIMEOUT
}

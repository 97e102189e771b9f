//go:build !unix && !windows

package command

import "os"

// running says whether a process of that number lives on this machine.
func running(pid int) bool {
	p, err := os.FindProcess(pid)
	if err != nil {
		return false
	}
	p.Release()
	return true
}

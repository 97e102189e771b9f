package command

import (
	"os"
	"syscall"
)

// virtualTerminal is ENABLE_VIRTUAL_TERMINAL_PROCESSING of SetConsoleMode
// (https://learn.microsoft.com/windows/console/setconsolemode).
const virtualTerminal = 0x4

var setConsoleMode = syscall.NewLazyDLL("kernel32.dll").NewProc("SetConsoleMode")

// showsColor makes a console obey what sets colours, which older ones print as
// signs; false where it cannot.
func showsColor(f *os.File) bool {
	console := syscall.Handle(f.Fd())
	var mode uint32
	if err := syscall.GetConsoleMode(console, &mode); err != nil {
		return false
	}
	if mode&virtualTerminal != 0 {
		return true
	}
	done, _, _ := setConsoleMode.Call(uintptr(console), uintptr(mode|virtualTerminal))
	return done != 0
}

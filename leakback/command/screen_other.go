//go:build !windows

package command

import "os"

// showsColor says whether a terminal obeys what sets colours.
func showsColor(*os.File) bool { return true }

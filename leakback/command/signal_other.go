//go:build !unix

package command

// surviveFileSizeLimit has nothing to do where no such signal exists.
func surviveFileSizeLimit() {}

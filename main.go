// Leakback decides which injector of a common-rail diesel engine sends too
// much fuel back to the return, from volumes collected over a timed interval.
package main

import (
	"os"

	"leakback/leakback/command"
)

func main() {
	os.Exit(command.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

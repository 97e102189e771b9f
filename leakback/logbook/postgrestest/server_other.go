//go:build !unix

package postgrestest

import (
	"errors"
	"os"
	"os/exec"
)

func own(string) error { return errors.New("servers are started on Unix only") }

func asUser(*exec.Cmd) {}

func signal(p *os.Process, _ bool) { p.Kill() }

//go:build !linux

package postgrestest

import "os/exec"

func run(cmd *exec.Cmd) (exited chan struct{}, err error) {
	exited = make(chan struct{})
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	go func() {
		cmd.Wait()
		close(exited)
	}()
	return exited, nil
}

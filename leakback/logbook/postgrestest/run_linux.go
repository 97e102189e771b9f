package postgrestest

import (
	"os/exec"
	"runtime"
	"syscall"
)

// run starts a server that ends with this process, however that ends: the system
// tells it when the thread is gone that started it.
func run(cmd *exec.Cmd) (exited chan struct{}, err error) {
	cmd.SysProcAttr.Pdeathsig = syscall.SIGQUIT
	exited = make(chan struct{})
	started := make(chan error)
	go func() {
		runtime.LockOSThread() // for good: the thread lives as long as the server
		err := cmd.Start()
		started <- err
		if err == nil {
			cmd.Wait()
			close(exited)
		}
	}()
	return exited, <-started
}

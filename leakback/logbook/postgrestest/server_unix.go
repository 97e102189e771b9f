//go:build unix

package postgrestest

import (
	"errors"
	"os"
	"os/exec"
	"os/user"
	"strconv"
	"syscall"
)

// ordinary is the user that a server runs as where the tests are root's, whom it
// refuses: PostgreSQL's own, or nobody.
func ordinary() (uid, gid uint32, err error) {
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		id, err := strconv.ParseUint(u.Uid, 10, 32)
		group, err2 := strconv.ParseUint(u.Gid, 10, 32)
		return uint32(id), uint32(group), errors.Join(err, err2)
	}
	return 0, 0, errors.New("the tests are root's, and there is no user postgres or nobody")
}

// own gives a file to the server's user.
func own(path string) error {
	if os.Geteuid() != 0 {
		return nil
	}
	uid, gid, err := ordinary()
	if err != nil {
		return err
	}
	return os.Chown(path, int(uid), int(gid))
}

// asUser has a command run as the server's user.
func asUser(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{}
	if os.Geteuid() != 0 {
		return
	}
	if uid, gid, err := ordinary(); err == nil { // own said so before
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: uid, Gid: gid}
	}
}

// signal asks a server to stop
// (https://www.postgresql.org/docs/current/server-shutdown.html).
func signal(p *os.Process, immediate bool) {
	if immediate {
		p.Signal(syscall.SIGQUIT)
	} else {
		p.Signal(syscall.SIGINT)
	}
}

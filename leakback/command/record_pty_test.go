//go:build !windows

package command

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"

	"leakback/leakback/entry/ask/screen/vt"
)

// onTerminal runs the program on a pseudo-terminal in an empty home folder.
func onTerminal(t *testing.T, home string, width, rows int, args ...string) *vt.Bay {
	cmd := exec.Command(program(t), args...)
	cmd.Env = append(os.Environ(), "HOME="+home, "XDG_DATA_HOME="+filepath.Join(home, "data"), "LEAKBACK_LOGBOOK=",
		"XDG_CONFIG_HOME="+filepath.Join(home, "config"), "LC_ALL=C.UTF-8", "TZ=UTC", "TERM=linux", "NO_COLOR=1")
	return vt.Start(t, cmd, width, rows)
}

// step is what the screen says, and the keys that answer it.
type step struct{ sees, keys string }

func walk(b *vt.Bay, steps ...step) {
	for _, s := range steps {
		b.Sees(s.sees)
		b.Keys(s.keys)
	}
}

// A test on the form: left in the middle by Ctrl-C, gone on with, corrected,
// finished, found again.
func TestRecordOnATerminal(t *testing.T) {
	t.Parallel()
	home := t.TempDir()
	args := []string{"record", "--engine", "Northmoor Six-90", "--technician", "Kim Invented", "--vehicle", "Unit 12",
		"--vin", "INVENTED0000000001", "--odometer", "182400 km", "--customer", "Invented Haulage", "--work-order", "W-1",
		"--complaint", "hard to start", "--workshop", "Northmoor invented workshop", "--engine-serial", "SN-1",
		"--condition", "idle", "--injectors", "driven", "--graduation", "1mL", "--capacity", "100mL", "--tolerance", "1mL",
		"--fuel-temp", "46C", "--fuel-temp-at", "return", "--rail-pressure", "350bar", "--rpm", "700",
		"--limits", filepath.Join(root, "testdata", "demo", "northmoor-six-90.toml")}
	b := onTerminal(t, home, 90, 34, args...)
	walk(b,
		step{"How the returns are collected", "1\r"},
		step{"a tube for each cylinder", "1\r"},
		step{"Order of the readings", "1\r"},
		step{"Read these before anything is touched", "\x1b[6~\x1b[6~\x1b[6~"},
		step{"I have read and understood them", "\r"},
		step{"Prime the hoses", "\r"},
		step{"Length of the collection", "2\r"},
		step{"Enter or Space STARTS", " "},
		step{"Enter or Space STOPS", ""},
		step{"OVERRUN", " "},
		step{"Level of cylinder 1", "interval=30s\r"},
		step{"run 1: 30 s", "14\r"},
		step{"28.0", "15\r"},
		step{"30.0", ">100\r"},
		step{"≥ 200.0 !", "\x03"},
	)
	b.Ends(exitInterrupted)
	b.Sees("test 1 is kept up to the last answer that was taken")
	b.Sees("go on with: leakback record --resume 1")

	b = onTerminal(t, home, 90, 34, "record")
	walk(b,
		step{"go on with Unit 12, 3 readings, run 1", "1\r"},
		step{"Level of cylinder 4", "31\r"},
		step{"62.0", "13,5\r"},
		step{"27.0", "14\r"},
		step{"What next", "3=18.5 because the wrong tube was read\r"},
		step{"cylinder 3: 18.5 mL (was >100 mL)", "done\r"},
		step{"Note", "\r"},
	)
	b.Ends(exitDone)
	b.Sees("test 1 is in the logbook, ~/data/leakback/logbook.db")
	b.Sees("next: leakback report 1 --output report.xlsx")
	assert.Contains(t, b.Screen().String(), "FAIL", "the verdict stays on the screen")

	b = onTerminal(t, home, 90, 34, "history")
	b.Ends(exitDone)
	b.Sees("FAIL 4; undecided 3")
}

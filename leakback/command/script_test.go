package command

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

var update = flag.Bool("update", false, "renew the golden text of the scripts and of the README")

// root is the folder of the repository, as the tests of this package see it.
const root = "../.."

func TestMain(m *testing.M) {
	programs := map[string]func(){
		"leakback": func() { os.Exit(Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
	}
	for name, do := range tools {
		programs[name] = tool(do)
	}
	testscript.Main(m, programs)
}

// TestScripts runs every script of testdata/scripts: the commands as a shell
// would run them, their output, their exit codes and the files they leave.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 root + "/testdata/scripts",
		UpdateScripts:       *update,
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("LC_ALL", "C.UTF-8")
			env.Setenv("XDG_CONFIG_HOME", filepath.Join(env.WorkDir, "config"))
			env.Setenv("AppData", filepath.Join(env.WorkDir, "config")) // its name on Windows
			env.Setenv("XDG_DATA_HOME", filepath.Join(env.WorkDir, "data"))
			env.Setenv("TZ", "UTC")
			return os.CopyFS(filepath.Join(env.WorkDir, "demo"), os.DirFS(root+"/testdata/demo"))
		},
		Condition: condition,
		Cmds:      map[string]func(*testscript.TestScript, bool, []string){"exits": exits, "filled": filled},
	})
}

// condition is what scripts ask for in brackets: links are symbolic links that are
// seen as such.
func condition(name string) (bool, error) {
	if name != "links" {
		return false, fmt.Errorf("unknown condition %q", name)
	}
	folder, err := os.MkdirTemp("", "links")
	if err != nil {
		return false, err
	}
	defer os.RemoveAll(folder)
	return linked("away", filepath.Join(folder, "link")), nil
}

// exits runs a command and requires its exit code: exits CODE COMMAND ARG...
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND ARG...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	code := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		code = exit.ExitCode()
	}
	if code != want {
		ts.Fatalf("exit code %d, want %d", code, want)
	}
}

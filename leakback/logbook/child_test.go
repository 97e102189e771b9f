package logbook

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/logbook/postgrestest"
)

// testProcess tells what this process makes from what others make.
var testProcess = os.Getpid()

// childTask names what this binary does when a test starts it as a process.
const childTask = "LEAKBACK_LOGBOOK_CHILD"

// tasks are what children do with their arguments; what they print is what they
// were told is safe.
var tasks = map[string]func(args []string) error{
	"append": appendTask,
}

func TestMain(m *testing.M) {
	task, ok := os.LookupEnv(childTask)
	if !ok {
		code := m.Run()
		postgrestest.End()
		os.Exit(code)
	}
	name, args, _ := strings.Cut(task, "\n")
	if err := tasks[name](strings.Split(args, "\n")); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// child is this binary with a task.
func child(t testing.TB, task string, args ...string) *exec.Cmd {
	t.Helper()
	binary, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(binary)
	cmd.Env = append(os.Environ(), childTask+"="+strings.Join(append([]string{task}, args...), "\n"))
	return cmd
}

// eventsAnAppend is what a child appends at a time: all of them or none.
const eventsAnAppend = 3

// appendTask appends to each of the tests in turn, so many times, and prints the
// test and the number of each append once it was reported. Its arguments are the
// path, how many times, the name it enters, and the tests.
func appendTask(args []string) error {
	b, err := openPatiently(args[0])
	if err != nil {
		return err
	}
	defer b.Close()
	times, err := strconv.Atoi(args[1])
	if err != nil {
		return err
	}
	for k := 1; k <= times; k++ {
		for _, id := range args[3:] {
			var drafts []leakback.Event
			for cylinder := range eventsAnAppend {
				e := reading(int64(k), cylinder+1, strconv.Itoa(k))
				e.Person = args[2]
				drafts = append(drafts, e)
			}
			if _, err := b.Append(context.Background(), id, drafts); err != nil {
				return err
			}
			fmt.Println(id, k)
		}
	}
	return nil
}

// patience is how long a child waits for a server that stops and starts again: on a
// busy machine that takes its time.
const patience = 5 * time.Minute

// openPatiently opens a logbook whose server may be away for a while.
func openPatiently(address string) (*Book, error) {
	for deadline := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
		b, err := Open(context.Background(), address, Options{Wait: patience})
		if e := new(Error); err == nil || !errors.As(err, &e) || e.Kind != Unreachable || time.Now().After(deadline) {
			return b, err
		}
	}
}

// reported are the appends that a child printed, the last one of each test.
func reported(t testing.TB, lines *bufio.Scanner) map[string]int {
	t.Helper()
	last := map[string]int{}
	for lines.Scan() {
		id, k, ok := strings.Cut(lines.Text(), " ")
		n, err := strconv.Atoi(k)
		if !ok || err != nil {
			continue // the child died in the middle of the line
		}
		last[id] = n
	}
	return last
}

// requireWhole holds the events of one person in a test against what was
// reported: all of that is there, in order, and nothing by halves.
func requireWhole(t testing.TB, events []leakback.Event, person string, reported int) (appends int) {
	t.Helper()
	var own []leakback.Event
	for _, e := range events {
		if e.Person == person {
			own = append(own, e)
		}
	}
	require.Zero(t, len(own)%eventsAnAppend, "half an append")
	for i, e := range own {
		require.Equal(t, strconv.Itoa(i/eventsAnAppend+1), e.Value, "event %d", e.Seq)
		require.Equal(t, i%eventsAnAppend+1, e.Cylinder, "event %d", e.Seq)
		require.Equal(t, own[i-i%eventsAnAppend].Seq+int64(i%eventsAnAppend), e.Seq, "the events of an append follow one another")
	}
	appends = len(own) / eventsAnAppend
	require.GreaterOrEqual(t, appends, reported)
	return appends
}

package screen

import (
	"context"
	"fmt"
	"os"
	"strconv"
	"testing"
	"time"
)

// asProgram is the variable that makes the test binary ask on its terminal.
const asProgram = "SCREEN_TEST_ASK"

// TestMain runs the tests or, started again by one of them on a terminal of its
// own, the form itself.
func TestMain(m *testing.M) {
	if os.Getenv(asProgram) == "" {
		os.Exit(m.Run())
	}
	os.Exit(askOnTerminal())
}

// askOnTerminal runs the form on the fake flow, says how it ended and what was
// kept, and gives an exit code.
func askOnTerminal() int {
	f := newFakeFlow(time.Now)
	f.boom = os.Getenv("SCREEN_TEST_PANIC")
	if s, err := strconv.ParseFloat(os.Getenv("SCREEN_TEST_TARGET"), 64); err == nil {
		f.targetS = s
	}
	if os.Getenv("SCREEN_TEST_FAIL") != "" {
		f.fail = errDisk
	}
	ctx := context.Background()
	if d, err := time.ParseDuration(os.Getenv("SCREEN_TEST_CANCEL")); err == nil {
		short, cancel := context.WithTimeout(ctx, d)
		defer cancel()
		ctx = short
	}
	o := Options{In: os.Stdin, Out: os.Stdout, Bell: true,
		Color: os.Getenv("NO_COLOR") == "", Unicode: os.Getenv("SCREEN_TEST_ASCII") == ""}
	err := Run(ctx, f, o)
	fmt.Printf("ended: %v\nanswers: %q\n", err, f.answers)
	if err != nil {
		return 1
	}
	return 0
}

package command

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/logbook"
)

// theTest is an idle test of an invented engine as it is typed: an overflow, a
// reading corrected, one left open, a second run.
var theTest = []string{
	"Kim Invented", "Unit 12", "", "182400 km", "Invented Haulage", "W-1", "hard to start",
	"SN-1", "individual", "each", "idle", "driven", "100/1", "mark", "number", "46C", "return", "350", "700",
	"understood", "primed",
	"30", "30s", "14", "15", "18,5", ">100", "13.5", "14",
	"again", "30.5s", "3=19", "14.5", "15", "skip", "13", "5=13.5 because misread", "14",
	"done", "an invented engine",
}

// recordFlags leave the engine and its sheet to flags.
func recordFlags(book string) []string {
	return []string{"record", "--plain", "--logbook", book, "--engine", "Northmoor Six-90", "--workshop", "Northmoor invented workshop",
		"--limits", filepath.Join(root, "testdata", "demo", "northmoor-six-90.toml")}
}

// sitting is a run of leakback record with its pipes.
type sitting struct {
	t     *testing.T
	cmd   *exec.Cmd
	stdin io.WriteCloser
	lock  sync.Mutex
	said  bytes.Buffer
	more  chan struct{}
	ended chan error
}

// program is this test binary under the program's name (testscript.Main).
func program(t *testing.T) string {
	self, err := os.Executable()
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "leakback")
	if filepath.Ext(self) == ".exe" { // Windows removes no link to a program that runs
		path += ".exe"
		copyFile(t, self, path)
	} else if os.Link(self, path) != nil && !linked(self, path) { // another disk; a system without links
		copyFile(t, self, path)
	}
	return path
}

func sit(t *testing.T, program string, args ...string) *sitting {
	s := &sitting{t: t, cmd: exec.Command(program, args...), more: make(chan struct{}, 1), ended: make(chan error, 1)}
	s.cmd.Env = append(os.Environ(), "LC_ALL=C.UTF-8", "TZ=UTC")
	var err error
	s.stdin, err = s.cmd.StdinPipe()
	require.NoError(t, err)
	s.cmd.Stderr = s
	require.NoError(t, s.cmd.Start())
	go func() {
		s.ended <- s.cmd.Wait()
		close(s.more)
	}()
	return s
}

// Write takes what the program says.
func (s *sitting) Write(p []byte) (int, error) {
	s.lock.Lock()
	defer s.lock.Unlock()
	s.said.Write(p)
	select {
	case s.more <- struct{}{}:
	default:
	}
	return len(p), nil
}

// prompt waits for the next prompt and gives its last line; "" where the
// program ended.
func (s *sitting) prompt() string {
	s.t.Helper()
	late := time.After(time.Minute)
	for {
		select {
		case _, open := <-s.more:
			s.lock.Lock()
			text := s.said.String()
			s.lock.Unlock()
			if strings.HasSuffix(text, ": ") {
				return text[strings.LastIndexByte(text, '\n')+1:]
			}
			if !open {
				return ""
			}
		case <-late:
			s.t.Fatalf("no prompt: %s", s.said.String())
		}
	}
}

// answer types a line.
func (s *sitting) answer(line string) {
	s.forget()
	_, _ = io.WriteString(s.stdin, line+"\n") // it may have been killed meanwhile
}

// forget lets what was said be told from what is going to be.
func (s *sitting) forget() {
	s.lock.Lock()
	defer s.lock.Unlock()
	s.said.Reset()
}

// kill ends the program as a flat battery would.
func (s *sitting) kill() {
	_ = s.cmd.Process.Kill()
	<-s.ended
}

// entered is what a test's record holds, without the sittings themselves.
func entered(t *testing.T, book, ref string) []string {
	t.Helper()
	ctx := context.Background()
	b, err := logbook.Open(ctx, book, logbook.Options{ReadOnly: true})
	require.NoError(t, err)
	defer b.Close()
	found, err := b.Find(ctx, ref)
	require.NoError(t, err)
	events, err := b.Events(ctx, found.ID)
	require.NoError(t, err)
	_, err = logbook.Heads(events)
	require.NoError(t, err)
	var list []string
	for _, e := range events {
		if e.Kind != leakback.KindOpen && e.Field != leakback.FieldName { // a sitting, and the minute it began in
			list = append(list, fmt.Sprintf("%+v %q %q %q", e.Key, e.Value, e.Typed, e.Reason))
		}
	}
	return list
}

// course is the uninterrupted test: the prompts, and what was entered before each.
type course struct {
	prompts []string
	entered []string
	counts  []int // of entered, at each prompt
}

func uninterrupted(t *testing.T, program string) *course {
	book := filepath.Join(t.TempDir(), "whole.db")
	s := sit(t, program, recordFlags(book)...)
	c := &course{}
	for i := 0; ; i++ {
		prompt := s.prompt()
		c.entered = entered(t, book, "1")
		c.prompts, c.counts = append(c.prompts, prompt), append(c.counts, len(c.entered))
		if prompt == "" {
			break
		}
		require.Less(t, i, len(theTest), prompt)
		s.answer(theTest[i])
	}
	require.NoError(t, <-s.ended, s.said.String())
	require.Len(t, c.prompts, len(theTest)+1)
	return c
}

// kills is how often TestRecordIsKilled kills: more by hand, with LEAKBACK_KILLS.
func kills(t *testing.T) int {
	if text := os.Getenv("LEAKBACK_KILLS"); text != "" {
		n, err := strconv.Atoi(text)
		require.NoError(t, err)
		return n
	}
	return 200
}

// A recording that is killed at any moment has kept every answer behind which
// the next question was asked, none by half, and goes on at the right question.
func TestRecordIsKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("hundreds of processes")
	}
	program := program(t)
	whole := uninterrupted(t, program)
	folder := t.TempDir()
	random := rand.New(rand.NewPCG(6, 200))
	inFlight := 0
	for killed, number := 0, 1; killed < kills(t); number++ {
		const ref = "1"
		book := filepath.Join(folder, strconv.Itoa(number)+".db") // or the last test's answers are offered
		s := sit(t, program, append(recordFlags(book), "--new")...)
		for at := 0; at < len(theTest); {
			prompt := s.prompt()
			require.Equal(t, whole.prompts[at], prompt, "test %d, question %d", number, at)
			s.answer(theTest[at])
			if killed == kills(t) || random.IntN(7) > 0 {
				at++
				continue
			}
			time.Sleep(time.Duration(random.IntN(4000)) * time.Microsecond)
			s.kill()
			killed++
			kept := entered(t, book, ref)
			require.Equal(t, whole.entered[:len(kept)], kept, "test %d, question %d", number, at)
			switch len(kept) {
			case whole.counts[at+1]: // the answer got through
				at, inFlight = at+1, inFlight+1
			case whole.counts[at]:
			default:
				t.Fatalf("test %d, question %d: %d entries, want %d or %d", number, at, len(kept), whole.counts[at], whole.counts[at+1])
			}
			if at == len(theTest) {
				s = nil // the end itself got through: nothing is left to ask
				break
			}
			s = sit(t, program, append(recordFlags(book), "--resume", ref)...)
		}
		if s != nil {
			assert.Empty(t, s.prompt())
			require.NoError(t, <-s.ended, s.said.String())
		}
		require.Equal(t, whole.entered, entered(t, book, ref))
	}
	t.Logf("%d kills, in %d of them the answer in flight was kept", kills(t), inFlight)
}

// Eight recordings at once in one logbook: nothing is lost, nothing mixed.
func TestEightRecordAtOnce(t *testing.T) {
	program := program(t)
	whole := uninterrupted(t, program)
	book := filepath.Join(t.TempDir(), "eight.db")
	lines := strings.Join(theTest, "\n") + "\n"
	var all sync.WaitGroup
	const bays = 8
	said := make([]string, bays)
	for bay := range bays {
		all.Go(func() {
			cmd := exec.Command(program, append(recordFlags(book), "--new")...)
			cmd.Stdin = strings.NewReader(strings.Replace(lines, "Unit 12", "Unit "+strconv.Itoa(bay), 1))
			out, err := cmd.CombinedOutput()
			if err != nil {
				said[bay] = err.Error() + "\n" + string(out)
			}
		})
	}
	all.Wait()
	assert.Equal(t, make([]string, bays), said)
	seen := map[string]bool{}
	for number := range bays {
		kept := entered(t, book, strconv.Itoa(number+1))
		require.Len(t, kept, len(whole.entered))
		for i := range kept {
			if kept[i] != whole.entered[i] {
				assert.Contains(t, kept[i], "Unit ")
				seen[kept[i]] = true
			}
		}
	}
	assert.Len(t, seen, bays, "each of its own vehicle")
}

// Ctrl-C at any question, or another wish that it end, ends with 130 and says what
// is kept; nothing that was answered is missing.
func TestRecordInterruptedAtEachQuestion(t *testing.T) {
	program := program(t)
	whole := uninterrupted(t, program)
	book := filepath.Join(t.TempDir(), "book.db")
	s := sit(t, program, append(recordFlags(book), "--new")...)
	for at := range theTest {
		require.Equal(t, whole.prompts[at], s.prompt())
		s.forget()
		require.NoError(t, s.cmd.Process.Signal(endings()[at%len(endings())]))
		assert.Empty(t, s.prompt())
		<-s.ended
		assert.Equal(t, exitInterrupted, s.cmd.ProcessState.ExitCode())
		assert.Contains(t, s.said.String(), "leakback: test 1 is kept up to the last answer that was taken, in "+book+"\n"+
			"leakback: hint: go on with: leakback record --resume 1 --logbook "+book+"\n")
		require.Equal(t, whole.entered[:whole.counts[at]], entered(t, book, "1"))
		s = sit(t, program, append(recordFlags(book), "--resume", "1")...)
		require.Equal(t, whole.prompts[at], s.prompt())
		s.answer(theTest[at])
	}
	assert.Empty(t, s.prompt())
	require.NoError(t, <-s.ended, s.said.String())
	assert.Equal(t, whole.entered, entered(t, book, "1"))
}

// Two who enter into one test: what both entered is kept, and whoever enters last
// is told so, and how to go on.
func TestRecordTwiceInOneTest(t *testing.T) {
	program := program(t)
	book := filepath.Join(t.TempDir(), "book.db")
	first := sit(t, program, append(recordFlags(book), "--new")...)
	require.Equal(t, "Technician", strings.SplitN(first.prompt(), " (", 2)[0])
	first.answer("Kim Invented")
	require.Contains(t, first.prompt(), "Vehicle")
	second := sit(t, program, append(recordFlags(book), "--resume", "1")...)
	require.Contains(t, second.prompt(), "Vehicle")
	second.answer("Unit 12")
	second.prompt()
	first.answer("Unit 13")
	require.Empty(t, first.prompt())
	<-first.ended
	assert.Equal(t, exitFile, first.cmd.ProcessState.ExitCode())
	said := first.said.String()
	assert.Contains(t, said, "leakback: test 1: somebody else is entering into it as well; both entries are kept\n"+
		"leakback: hint: let one of you leave, then go on with: leakback record --resume 1 --logbook "+book+"\n")
	assert.NotContains(t, said, "not kept")
	second.kill()
	kept := strings.Join(entered(t, book, "1"), "\n")
	assert.Contains(t, kept, "Unit 12")
	assert.Contains(t, kept, "Unit 13")
}

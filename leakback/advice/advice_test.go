package advice

import (
	"go/ast"
	"go/parser"
	"go/token"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// engine is a result of n cylinders that all pass.
func engine(n int) *leakback.Result {
	r := &leakback.Result{Cylinders: make([]leakback.Cylinder, n)}
	for i := range r.Cylinders {
		r.Cylinders[i].Cylinder = i + 1
	}
	return r
}

// mark gives a cylinder a verdict and a finding.
func mark(r *leakback.Result, cylinder int, v leakback.Verdict, code leakback.Code) {
	c := &r.Cylinders[cylinder-1]
	c.Verdict = max(c.Verdict, v)
	c.Findings = append(c.Findings, leakback.Finding{Code: code})
	r.Verdict = max(r.Verdict, v)
}

// note gives the test a verdict and a finding.
func note(r *leakback.Result, v leakback.Verdict, code leakback.Code) {
	r.Findings = append(r.Findings, leakback.Finding{Code: code})
	r.Verdict = max(r.Verdict, v)
}

// spoken are the names of the entries that match, in order.
func spoken(f facts) []string {
	var names []string
	for _, e := range entries() {
		if e.matches(f) {
			names = append(names, e.Name)
		}
	}
	return names
}

// What each pattern calls for: common practice, no source.
func TestNext(t *testing.T) {
	const (
		pass      = leakback.Pass
		unread    = leakback.Unread
		undecided = leakback.Undecided
		fail      = leakback.Fail
	)
	for _, test := range []struct {
		name  string
		build func(*leakback.Result)
		want  []string
	}{
		{"all pass with a limit", func(r *leakback.Result) {}, []string{"nothing-found"}},
		{"all pass without a limit", func(r *leakback.Result) {
			note(r, pass, leakback.NoAbsoluteLimit)
		}, []string{"nothing-found", "even-wear"}},
		{"one high", func(r *leakback.Result) {
			mark(r, 4, fail, leakback.OverLimit)
			mark(r, 4, fail, leakback.HighInSet)
		}, []string{"tube-first", "new-tube", "swap"}},
		{"one high in the set only, undecided", func(r *leakback.Result) {
			mark(r, 4, undecided, leakback.HighInSet)
		}, []string{"no-parts-yet", "tube-first", "new-tube", "swap"}},
		{"two high", func(r *leakback.Result) {
			mark(r, 4, fail, leakback.OverRatio)
			mark(r, 5, fail, leakback.HighInSet)
		}, []string{"several-share", "tube-first", "new-tube", "swap"}},
		{"half high", func(r *leakback.Result) {
			for _, c := range []int{1, 3, 5} {
				mark(r, c, fail, leakback.HighInSet)
			}
			note(r, pass, leakback.HalfSet)
		}, []string{"half-and-half", "several-share", "tube-first", "new-tube", "swap"}},
		{"all high together", func(r *leakback.Result) {
			for c := range 6 {
				mark(r, c+1, fail, leakback.OverLimit)
			}
			note(r, pass, leakback.SetTogetherHigh)
		}, []string{"high-together", "high-together-wear"}},
		{"the total over, no cylinder", func(r *leakback.Result) {
			note(r, fail, leakback.OverTotal)
		}, []string{"high-together", "high-together-wear"}},
		{"the total over, one cylinder", func(r *leakback.Result) {
			note(r, fail, leakback.OverTotal)
			mark(r, 2, fail, leakback.OverLimit)
		}, []string{"tube-first", "new-tube", "swap"}},
		{"one low", func(r *leakback.Result) {
			mark(r, 2, undecided, leakback.LowInSet)
		}, []string{"low-stop", "low-look"}},
		{"one under the minimum", func(r *leakback.Result) {
			mark(r, 2, fail, leakback.UnderLimit)
		}, []string{"low-stop", "low-look"}},
		{"one without return", func(r *leakback.Result) {
			mark(r, 2, undecided, leakback.NoReturn)
		}, []string{"low-stop", "low-look"}},
		{"one low and one high", func(r *leakback.Result) {
			mark(r, 2, undecided, leakback.LowInSet)
			mark(r, 5, fail, leakback.HighInSet)
		}, []string{"low-stop", "low-look", "tube-first", "new-tube", "swap"}},
		{"too little return", func(r *leakback.Result) {
			note(r, undecided, leakback.TooLittleReturn)
		}, []string{"near-zero-stop", "near-zero-look"}},
		{"nothing from any", func(r *leakback.Result) {
			for c := range 5 {
				mark(r, c+1, undecided, leakback.NoReturn)
			}
			mark(r, 6, undecided, leakback.BelowFirstMark)
		}, []string{"near-zero-stop", "near-zero-look"}},
		{"nothing from those that were read", func(r *leakback.Result) {
			for c := range 5 {
				mark(r, c+1, undecided, leakback.NoReturn)
			}
			r.Cylinders[5].Verdict = unread
		}, []string{"near-zero-stop", "near-zero-look", "unread"}},
		{"unsteady", func(r *leakback.Result) {
			mark(r, 3, undecided, leakback.Unsteady)
		}, []string{"steady-first", "no-parts-yet"}},
		{"overflowed, over the limit", func(r *leakback.Result) {
			mark(r, 3, fail, leakback.OverLimit)
			r.Cylinders[2].Bound = leakback.AtLeast
		}, []string{"ran-over", "tube-first", "new-tube", "swap"}},
		{"overflowed, open", func(r *leakback.Result) {
			mark(r, 3, undecided, leakback.OverRange)
			r.Cylinders[2].Bound = leakback.AtLeast
		}, []string{"ran-over", "no-parts-yet"}},
		{"close to the limit", func(r *leakback.Result) {
			mark(r, 3, undecided, leakback.CloseToLimit)
		}, []string{"no-parts-yet"}},
		{"close in the set", func(r *leakback.Result) {
			mark(r, 3, undecided, leakback.CloseInSet)
		}, []string{"no-parts-yet", "swap"}},
		{"back-pressure", func(r *leakback.Result) {
			note(r, undecided, leakback.BackPressure)
			r.Cylinders[0].Verdict = undecided
		}, []string{"held-up-return"}},
		{"no consensus", func(r *leakback.Result) {
			note(r, undecided, leakback.NoConsensus)
		}, []string{"steady-first", "disagreeing-set"}},
		{"outside the limit's state", func(r *leakback.Result) {
			note(r, undecided, leakback.OutsideLimitState)
		}, []string{"right-state"}},
		{"state not recorded", func(r *leakback.Result) {
			note(r, undecided, leakback.StateUnknown)
		}, []string{"right-state"}},
		{"another crank pattern", func(r *leakback.Result) {
			note(r, undecided, leakback.OtherCrankPattern)
		}, []string{"right-state"}},
		{"one unread", func(r *leakback.Result) {
			r.Cylinders[1].Verdict, r.Verdict = unread, unread
		}, []string{"unread"}},
		{"too far apart", func(r *leakback.Result) {
			note(r, fail, leakback.OverDifference)
		}, []string{"both-ends"}},
		{"perhaps too far apart", func(r *leakback.Result) {
			note(r, undecided, leakback.CloseToDifference)
		}, []string{"both-ends"}},
		{"few cylinders", func(r *leakback.Result) {
			note(r, undecided, leakback.FewCylinders)
		}, []string{"too-few"}},
		{"a return that no injector makes", func(r *leakback.Result) {
			note(r, undecided, leakback.OtherReturn)
		}, []string{"other-return"}},
		{"pressure not held", func(r *leakback.Result) {
			note(r, undecided, leakback.PressureNotHeld)
		}, []string{"pressure-not-held"}},
		{"one tube for all", func(r *leakback.Result) {
			mark(r, 4, undecided, leakback.HighInSet)
			note(r, undecided, leakback.Sequential)
		}, []string{"one-after-another", "no-parts-yet", "tube-first", "new-tube", "swap"}},
		{"no interval", func(r *leakback.Result) {
			note(r, pass, leakback.NoInterval)
			note(r, pass, leakback.NoAbsoluteLimit)
		}, []string{"time-it", "nothing-found"}},
		{"a small share", func(r *leakback.Result) {
			r.Test = &leakback.Test{Method: leakback.MethodBlockOff}
			mark(r, 2, undecided, leakback.LowInSet)
		}, []string{"low-share"}},
		{"the total alone", func(r *leakback.Result) {
			r.Test = &leakback.Test{Method: leakback.MethodTotal}
			r.Cylinders = nil
		}, []string{"total-names-none"}},
		{"the total alone, over its limit", func(r *leakback.Result) {
			r.Test = &leakback.Test{Method: leakback.MethodTotal}
			r.Cylinders = nil
			note(r, fail, leakback.OverTotal)
		}, []string{"high-together", "high-together-wear", "total-names-none"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			r := engine(6)
			test.build(r)
			assert.Equal(t, test.want, spoken(factsOf(r)))
			assert.Len(t, Next(r), len(test.want))
		})
	}
}

// A hose that came off sprays: whatever else is said, stopping comes first.
func TestStopComesFirst(t *testing.T) {
	r := engine(4)
	mark(r, 1, leakback.Fail, leakback.OverLimit)
	mark(r, 3, leakback.Undecided, leakback.LowInSet)
	assert.True(t, strings.HasPrefix(Next(r)[0], "Stop the engine before"), Next(r)[0])
	assert.Contains(t, Next(r)[0], "cylinder 3")
}

// What follows a single test leaves no hole in its text, whatever the findings.
func TestWhateverTheFindings(t *testing.T) {
	random := rand.New(rand.NewPCG(2, 9))
	for range 1500 {
		for _, text := range Next(randomResult(random)) {
			wellSaid(t, text)
		}
	}
}

var (
	torn  = regexp.MustCompile(`[{}]|\b(at|of|from|to) [,:.;]|  |[^ -~]`)
	whole = regexp.MustCompile(`^[A-Z].*[a-z)][.?]$`)
)

// wellSaid holds a text to what every page and terminal can show: whole, without
// holes, plain ASCII, and at most 4 lines of a page.
func wellSaid(t *testing.T, text string) {
	t.Helper()
	if torn.MatchString(text) || !whole.MatchString(text) || len(text) > 4*pageColumns {
		t.Errorf("%q", text)
	}
}

func randomResult(random *rand.Rand) *leakback.Result {
	methods := []leakback.Method{leakback.MethodIndividual, leakback.MethodBlockOff, leakback.MethodTotal}
	r := engine(1 + random.IntN(8))
	r.Test = &leakback.Test{Method: methods[random.IntN(len(methods))]}
	for c := range r.Cylinders {
		for range random.IntN(3) {
			v := leakback.Verdict(random.IntN(4))
			mark(r, c+1, v, codes[random.IntN(len(codes))])
		}
		r.Cylinders[c].Bound = leakback.Bound(random.IntN(3))
	}
	for range random.IntN(3) {
		note(r, leakback.Verdict(random.IntN(4)), codes[random.IntN(len(codes))])
	}
	return r
}

func TestBasis(t *testing.T) {
	names := map[string]bool{}
	for _, e := range entries() {
		assert.Equal(t, "common practice, no source", e.Basis, e.Name)
		assert.False(t, names[e.Name], "%s twice", e.Name)
		names[e.Name] = true
	}
}

func TestParseRefuses(t *testing.T) {
	for _, test := range []struct{ table, want string }{
		{"[[entry]]\nname = \"a\"\nall = [\"hgih\"]\ntext = \"t\"\nbasis = \"b\"\n", `entry "a": unknown fact "hgih"`},
		{"[[entry]]\nname = \"a\"\nall = [\"high\"]\ntext = \"at {lwo}\"\nbasis = \"b\"\n", `unknown fact "lwo"`},
		{"[[entry]]\nname = \"a\"\nall = [\"high\"]\ntext = \"t\"\n", "basis"},
		{"[[entry]]\nname = \"a\"\ntext = \"t\"\nbasis = \"b\"\n", "no fact"},
		{"[[entry]]\nname = \"a\"\nall = [\"high\"]\nbut = [\"low\"]\ntext = \"t\"\nbasis = \"b\"\n", "expected at"},
		{"[[entry]]\nname = \"a\"\nall = [\"high\"]\ntext = \"at {there}\"\nbasis = \"b\"\n", "expected at"},
		{"[[entry]]\nname = \"a\"\nat = [\"high\"]\nbut = [\"tube-nwe\"]\ntext = \"t\"\nbasis = \"b\"\n", `unknown fact "tube-nwe"`},
		{"[[entry]]\nname = \"a\"\nat = [\"still-hihg\"]\ntext = \"t\"\nbasis = \"b\"\n", `unknown fact "still-hihg"`},
		{"[[entry]]\nname = \"a\"\nal = [\"high\"]\n", "strict mode"},
	} {
		_, err := parse([]byte(test.table))
		assert.ErrorContains(t, err, test.want)
	}
}

// The facts know every code that the evaluation can give.
func TestCodesAreComplete(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "../result.go", nil, 0)
	require.NoError(t, err)
	found := 0
	ast.Inspect(file, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok {
			return true
		}
		if kind, ok := spec.Type.(*ast.Ident); ok && kind.Name == "Code" {
			value, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
			require.NoError(t, err)
			assert.Contains(t, codes, leakback.Code(value))
			found++
		}
		return true
	})
	assert.Len(t, codes, found)
}

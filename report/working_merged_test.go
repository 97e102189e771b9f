package report

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/leakback/blockoff"
	"leakback/limits"
)

// mergedCases are varied tests of merged returns of 3 to 8 cylinders: mirrored,
// single and irregular schedules, pairs blocked, everything blocked, drift, a
// constant return, a return that blocking lowers, runs left out or not read,
// pressure not held, start levels, unlike tubes and times, limits of every kind.
// Of readings that the program refuses there are none.
func mergedCases(n int, seed uint64) []variedCase {
	v := varied{rand.New(rand.NewPCG(seed, 11))}
	var all []variedCase
	for i := 0; len(all) < n; i++ {
		c := variedCase{fmt.Sprintf("merged%03d", i), v.mergedTest(i), v.sheet(i)}
		if i%7 == 6 {
			v.twoLines(&c)
		}
		if r, err := leakback.Evaluate(c.test, c.sheet); err == nil && solvedLive(r) {
			all = append(all, c)
		}
	}
	return all
}

func (v varied) mergedTest(i int) *leakback.Test {
	n := 3 + i%6
	t := &leakback.Test{ID: fmt.Sprintf("M%d", i), Condition: pick(v, "idle", "idle", "idle", "cranking", ""),
		Injectors: pick(v, "", "driven", "driven"), Method: leakback.MethodBlockOff, Cylinders: n}
	shares, level := make([]float64, n), pick(v, 1.0, 15, 30, 30, 45)
	for c := range shares {
		shares[c] = level * math.Exp(0.1*v.rng.NormFloat64())
		if v.rng.IntN(6) == 0 {
			shares[c] *= pick(v, 0, 0.3, 1.5, 2, 3)
		}
	}
	constant, lowered, drift := pick(v, 0, 0, 0, 40.0), pick(v, 0, 0, 0, 0, 30.0), pick(v, 0, 0, 0.5)
	state, steady, alike := v.state(), v.rng.IntN(6) > 0, v.rng.IntN(3) > 0
	for k, blocked := range v.schedule(i, n) {
		run := leakback.Run{Number: k + 1, Blocked: blocked, IntervalS: 60, State: state}
		r := leakback.Reading{Tube: leakback.Tube{GraduationML: 1, CapacityML: 1000, ToleranceML: 2}}
		if !steady {
			run.State = v.state()
		}
		if !alike {
			run.IntervalS, r.Tube.GraduationML = pick(v, 30.0, 60, 90), pick(v, 0.5, 1, 2)
		}
		rate := constant + drift*float64(k)
		for c, share := range shares {
			if !contains(blocked, c+1) {
				rate += share
			}
		}
		if len(blocked) > 0 {
			rate = math.Max(0, rate-lowered)
		}
		rate *= math.Exp(pick(v, 0.005, 0.005, 0.02) * v.rng.NormFloat64())
		r.VolumeML = math.Round(rate*run.IntervalS/60/r.Tube.GraduationML) * r.Tube.GraduationML
		switch {
		case len(blocked) == n && v.rng.IntN(2) == 0:
			r.VolumeML, r.Bound = r.Tube.GraduationML, leakback.AtMost
		case v.rng.IntN(12) == 0:
			r.StartML, r.StartRead, r.VolumeML = 7, true, r.VolumeML+7
		case v.rng.IntN(40) == 0:
			r.VolumeML = math.NaN()
		}
		run.Readings = []leakback.Reading{r}
		t.Runs = append(t.Runs, run)
	}
	if i%5 == 3 {
		t.Runs[v.rng.IntN(len(t.Runs))].LeftOut = "invented: the hose slipped off"
	}
	return t
}

// twoLines makes two banks of a test: each run is of both lines, the volume of
// the second much as that of the first, or of one by turns.
func (v varied) twoLines(c *variedCase) {
	n := c.test.Cylinders
	var left, right []int
	for k := range 2 * n {
		if k%2 == 0 {
			left = append(left, k+1)
		} else {
			right = append(right, k+1)
		}
	}
	c.test.Cylinders = 2 * n
	c.sheet.ReturnLines = []limits.ReturnLine{{Name: "left", Cylinders: left}, {Name: "right", Cylinders: right}}
	both := v.rng.IntN(2) == 0
	for k := range c.test.Runs {
		run := &c.test.Runs[k]
		var blocked []int
		for _, one := range run.Blocked {
			blocked = append(blocked, left[one-1], right[one-1])
		}
		other := run.Readings[0]
		other.VolumeML = math.Round(other.VolumeML * (1 + 0.03*v.rng.NormFloat64()))
		run.Readings[0].ReturnLine, other.ReturnLine = "left", "right"
		run.Blocked, run.Readings = blocked, append(run.Readings, other)
		if !both && k > 0 && v.rng.IntN(9) == 0 {
			run.Readings = run.Readings[:1]
		}
	}
}

func contains(list []int, x int) bool {
	for _, y := range list {
		if x == y {
			return true
		}
	}
	return false
}

// schedule is what the runs of a test block.
func (v varied) schedule(i, n int) [][]int {
	all := make([]int, n)
	for c := range all {
		all[c] = c + 1
	}
	plan, err := blockoff.Schedule(all, pick(v, 2, 2, 4))
	if err != nil {
		panic(err) // our own
	}
	runs := plan.Blocked
	switch i % 4 {
	case 1: // one pass
		runs = runs[:n+1]
	case 2: // pairs, in any order
		for c := range n {
			runs = append(runs, []int{c + 1, (c+1)%n + 1})
		}
		v.rng.Shuffle(len(runs), func(a, b int) { runs[a], runs[b] = runs[b], runs[a] })
	case 3:
		if v.rng.IntN(2) == 0 {
			runs = append(runs, all)
		} else {
			runs = append(runs, []int{1}, []int{n}, nil)
		}
	}
	return runs
}

// The values that the formulas give for merged returns are the program's.
func TestMergedWorkingIsTheProgram(t *testing.T) {
	seen := map[string]int{}
	for _, c := range mergedCases(240, 3) {
		b, r := worked(t, c)
		if plainNumbers(t, c.name, b.names, r) {
			seen["plain"]++
			continue
		}
		sameCylinders(t, c.name, b.names, r)
		sameTest(t, c.name, b.names, r)
		if len(r.BlockOff.Lines) == 1 {
			sameLine(t, c.name, b, r)
		}
		for _, f := range r.Findings {
			seen[string(f.Code)]++
		}
		seen[fmt.Sprint(len(r.BlockOff.Lines), " lines")]++
		if b.names.Has("closed_agrees") {
			seen["mirrored"]++
			assert.Equal(t, "yes", b.names.Value("closed_agrees").Text, c.name)
		}
		seen[fmt.Sprint("constant ", r.BlockOff.Lines[0].Constant.Origin)]++
		seen[fmt.Sprintf("%+v", r.BlockOff.Lines[0].Model)]++
		if t.Failed() {
			t.Fatalf("%s: %+v\n%+v", c.name, *c.test, c.sheet.Limits)
		}
	}
	for _, what := range []string{"mirrored", "2 lines", "constant 0", "constant 1", "constant 2", string(leakback.OtherReturn),
		string(leakback.PressureNotHeld), string(leakback.OverTotal), string(leakback.OverDifference), string(leakback.CloseToTotal),
		"{Drift:false NotAddingUp:true ConstantReturn:false}", "{Drift:true NotAddingUp:true ConstantReturn:false}"} {
		assert.NotZero(t, seen[what], "%s: %v", what, seen)
	}
}

// sameLine holds what the working has of the line against the program's solution.
func sameLine(t *testing.T, name string, b *book, r *leakback.Result) {
	t.Helper()
	line := r.BlockOff.Lines[0].Solution
	for i := range line.Shares {
		s := &line.Shares[i]
		same(t, s.ShareMLMin, b.names.Values("share", "solved")[i], name, "share", s.Cylinder)
		same(t, s.SDMLMin, b.names.Values("share", "sd")[i], name, "SD", s.Cylinder)
		same(t, s.ContrastSDMLMin, b.names.Values("cov", "contrast")[i], name, "contrast", s.Cylinder)
		for j, c := range line.Covariance[i] {
			assert.InDelta(t, c, b.names.Values("cov", unknown(j))[i].Float(), 1e-9*line.Covariance[i][i], name)
		}
	}
	same(t, line.SigmaMLMin, b.names.Value("sigma_rate"), name, "sigma")
	same(t, line.SigmaDoF, b.names.Value("sigma_dof"), name, "freedom of sigma")
	if b.names.Has("d_rate") {
		same(t, line.NotAddingUp.MLMin, b.names.Value("d_rate"), name, "D")
		same(t, line.NotAddingUp.SDMLMin, b.names.Value("d_sd"), name, "SD of D")
		same(t, line.NotAddingUp.CriticalMLMin, b.names.Value("d_bar"), name, "bar of D")
	}
	for _, res := range line.Residuals {
		if res.Run.LeftOut != "" {
			continue
		}
		fit := "first"
		if b.names.Value("constant_used").Number == 1 {
			fit = "again"
		}
		for k, run := range b.names.Values("fit", "run") {
			if int(run.Number) == res.Run.Number {
				assert.InDelta(t, res.MLMin, b.names.Values(fit+"r", "residual")[k].Float(), 1e-9*math.Abs(res.FittedMLMin)+1e-9, name)
			}
		}
	}
}

// LibreOffice comes to the values that the file keeps and to the program's JSON
// for merged returns; and again after a reading, a tube, a time or a limit was
// changed in the file.
func TestMergedWorkingInLibreOffice(t *testing.T) {
	t.Parallel()
	books := map[string][]byte{}
	checks := map[string]func(got map[string]formulaCell){}
	for i, c := range mergedCases(12, 5) {
		file := bookOf(t, c)
		written := formulaCells(t, file)
		books[c.name] = forgottenArrays(t, file)
		checks[c.name] = func(got map[string]formulaCell) {
			sameResiduals(t, c.name, written, got)
			exact := withoutResiduals(written)
			assert.Equal(t, len(exact), sameValues(t, c.name, exact, written, got))
			sameJSON(t, c, got)
			assert.True(t, strings.HasPrefix(lineOfPage(t, got), checkHolds), c.name)
		}
		changed, edited := changedMerged(t, c, file, i)
		if !hasFormulas(changed) || !sameBlocks(t, c, changed) {
			continue
		}
		name := c.name + "-changed"
		books[name] = forgottenArrays(t, edited)
		checks[name] = func(got map[string]formulaCell) {
			want := withoutResiduals(withoutCheck(formulaCells(t, bookOf(t, changed))))
			assert.Greater(t, sameValues(t, name, want, written, got), 300, name)
			sameJSON(t, changed, got)
			if figuresOf(t, changed) != figuresOf(t, c) {
				assert.True(t, strings.HasPrefix(lineOfPage(t, got), "CHANGED"), name)
			}
		}
	}
	require.GreaterOrEqual(t, len(books), 20)
	bounded := mergedCases(1, 9)[0]
	books["bounded"] = forgottenArrays(t, boundedTotal(t, bounded))
	checks["bounded"] = func(got map[string]formulaCell) {
		assert.True(t, strings.HasPrefix(lineOfPage(t, got), "CANNOT"), "a bound cannot enter")
	}
	for name, file := range recalculated(t, books) {
		checks[name](formulaCells(t, file))
	}
}

// sameBlocks says that the workings of two tests have the same blocks: one whose runs
// have other lengths may no longer be a mirrored schedule.
func sameBlocks(t *testing.T, a, b variedCase) bool {
	t.Helper()
	first, _ := worked(t, a)
	second, _ := worked(t, b)
	x, _ := first.names.Address("test_verdict")
	y, _ := second.names.Address("test_verdict")
	i, _ := first.names.Address("shown_median")
	j, _ := second.names.Address("shown_median")
	return x == y && i == j
}

// ofResidual are the formulas of a residual and of its weighted square: small
// differences of totals, in which rounding counts for more than elsewhere.
var ofResidual = regexp.MustCompile(`<0\.0000001,0,|^\$[A-Z]+\$[0-9]+\*[A-Z]+[0-9]+\^2$`)

func withoutResiduals(cells map[string]formulaCell) map[string]formulaCell {
	kept := map[string]formulaCell{}
	for at, c := range cells {
		if !ofResidual.MatchString(*c.Formula) {
			kept[at] = c
		}
	}
	return kept
}

// sameResiduals asserts that residuals agree to 1e-9 mL/min, far below one part
// in 1e9 of a total.
func sameResiduals(t *testing.T, name string, want, got map[string]formulaCell) {
	t.Helper()
	compared := 0
	for at, w := range want {
		if !ofResidual.MatchString(*w.Formula) {
			continue
		}
		compared++
		x, err := strconv.ParseFloat(*w.Value, 64)
		require.NoError(t, err)
		y, err := strconv.ParseFloat(*got[at].Value, 64)
		require.NoError(t, err)
		assert.InDelta(t, x, y, 1e-9, "%s, %s", name, at)
	}
	assert.NotZero(t, compared, name)
}

// cellsOfArrays are the cells with a value and no formula, which within the range
// of an array's formula are its results (ECMA-376 part 1, 18.3.1.40).
var (
	rangeOfArray = regexp.MustCompile(`<f t="array" ref="([A-Z]+[0-9]+:[A-Z]+[0-9]+)">`)
	plainValue   = regexp.MustCompile(`<c r="([A-Z]+[0-9]+)"( s="[0-9]+")?><v>[^<]*</v></c>`)
)

// forgottenArrays is a workbook that has forgotten what arrays came to as well.
func forgottenArrays(t *testing.T, file []byte) []byte {
	t.Helper()
	return rewritten(t, forgotten(t, file), func(content []byte) []byte {
		within := map[string]bool{}
		for _, found := range rangeOfArray.FindAllSubmatch(content, -1) {
			from, to, _ := strings.Cut(string(found[1]), ":")
			left, top, err := excelize.CellNameToCoordinates(from)
			require.NoError(t, err)
			right, bottom, err := excelize.CellNameToCoordinates(to)
			require.NoError(t, err)
			for col := left; col <= right; col++ {
				for row := top; row <= bottom; row++ {
					within[at(col, row)] = true
				}
			}
		}
		require.NotEmpty(t, within)
		return plainValue.ReplaceAllFunc(content, func(cell []byte) []byte {
			found := plainValue.FindSubmatch(cell)
			if !within[string(found[1])] {
				return cell
			}
			return fmt.Appendf(nil, `<c r="%s"%s></c>`, found[1], found[2])
		})
	})
}

// rewritten is a workbook with the working's part replaced.
func rewritten(t *testing.T, file []byte, replace func([]byte) []byte) []byte {
	t.Helper()
	zr, err := zip.NewReader(bytes.NewReader(file), int64(len(file)))
	require.NoError(t, err)
	var out bytes.Buffer
	zw := zip.NewWriter(&out)
	for _, f := range zr.File {
		content := unzippedPart(t, f)
		if f.Name == sheetParts+"sheet3.xml" {
			content = replace(content)
		}
		w, err := zw.Create(f.Name)
		require.NoError(t, err)
		_, err = w.Write(content)
		require.NoError(t, err)
	}
	require.NoError(t, zw.Close())
	return out.Bytes()
}

func unzippedPart(t *testing.T, f *zip.File) []byte {
	t.Helper()
	r, err := f.Open()
	require.NoError(t, err)
	defer r.Close()
	content, err := io.ReadAll(r)
	require.NoError(t, err)
	return content
}

// boundedTotal is the file of a case in which a total was changed to a bound,
// which the program would refuse.
func boundedTotal(t *testing.T, c variedCase) []byte {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(bookOf(t, c)))
	require.NoError(t, err)
	defer f.Close()
	e := editor{t: t, f: f, c: variedCase{c.name, cloned(c.test), clonedSheet(c.sheet)}}
	e.volume(1, 60, leakback.AtLeast)
	var out bytes.Buffer
	require.NoError(t, f.Write(&out))
	return out.Bytes()
}

// changedMerged is a case after a change, and its file with the same change.
func changedMerged(t *testing.T, c variedCase, file []byte, i int) (variedCase, []byte) {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(file))
	require.NoError(t, err)
	defer f.Close()
	e := editor{t: t, f: f, c: variedCase{c.name, cloned(c.test), clonedSheet(c.sheet)}}
	row := (i*5 + 2) % e.rows()
	switch r := e.reading(row); i % 4 {
	case 0:
		e.volume(row, 1+math.Round(0.8*r.VolumeML), leakback.Exact)
	case 1:
		for k := range e.rows() { // something else returns all the time
			e.volume(k, e.reading(k).VolumeML+35, leakback.Exact)
		}
	case 2:
		e.limit()
		e.ofRun(0, "rail", 290, func(run *leakback.Run) { run.State.RailPressureBar = 290 })
	case 3:
		run := 0
		for e.c.test.Runs[run].LeftOut != "" {
			run++
		}
		e.ofRun(run, "interval", 45, func(run *leakback.Run) { run.IntervalS = 45 })
	}
	var out bytes.Buffer
	require.NoError(t, f.Write(&out))
	return e.c, out.Bytes()
}

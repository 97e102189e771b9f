package report

import (
	"slices"

	"leakback/leakback"
)

// reason is a block of reasons: whom it is about, and why.
type reason struct {
	cylinders []int
	verdict   leakback.Verdict
	texts     []string
}

// reasons says why each flagged cylinder, and the test, got its verdict, and
// what settles what is open.
func (t *table) reasons() {
	blocks := cylinderReasons(t.r)
	for _, b := range blocks {
		t.reason(Sentence(leakback.CylinderNames(b.cylinders)+":"), b)
	}
	if texts := testReasons(t.r, blocks); len(texts) > 0 {
		t.reason("The test as a whole:", reason{verdict: t.r.Verdict, texts: texts})
	}
}

func (t *table) reason(heading string, b reason) {
	t.line()
	t.prose(" ", heading+" "+VerdictWord(b.verdict), blockHue(b.verdict))
	for _, text := range b.texts {
		t.prose("   ", text, huePlain)
	}
}

// blockHue is the hue of a block's heading.
func blockHue(v leakback.Verdict) hue {
	if v == leakback.Pass {
		return hueTitle
	}
	return verdictHue(v)
}

// cylinderReasons are the blocks of the cylinders that have something to say;
// cylinders with one verdict and the same reasons share a block.
func cylinderReasons(r *leakback.Result) []reason {
	var blocks []reason
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		if len(c.Findings) == 0 && leftToTest(r, c) {
			continue
		}
		own := reason{[]int{c.Cylinder}, c.Verdict, reasonTexts(c.Findings, c.Settle)}
		if len(own.texts) == 0 {
			continue
		}
		k := slices.IndexFunc(blocks, func(b reason) bool {
			return b.verdict == own.verdict && slices.Equal(b.texts, own.texts)
		})
		if k < 0 {
			blocks = append(blocks, own)
		} else {
			blocks[k].cylinders = append(blocks[k].cylinders, c.Cylinder)
		}
	}
	return blocks
}

// leftToTest says whether a cylinder is open for a reason of the whole test,
// which says what settles it.
func leftToTest(r *leakback.Result, c *leakback.Cylinder) bool {
	return c.Verdict == leakback.Undecided && c.Settle != nil && r.Settle != nil &&
		c.Settle.Text == r.Settle.Text
}

// testReasons are the findings and notes of the test, and what settles it
// unless a cylinder has said so.
func testReasons(r *leakback.Result, blocks []reason) []string {
	settle := r.Settle
	if settle != nil && slices.ContainsFunc(blocks, func(b reason) bool {
		return slices.Contains(b.texts, settleText(settle))
	}) {
		settle = nil
	}
	texts := reasonTexts(r.Findings, nil)
	texts = append(texts, r.Notes...)
	return append(texts, reasonTexts(nil, settle)...)
}

// reasonTexts are findings as sentences, and what settles them.
func reasonTexts(findings []leakback.Finding, settle *leakback.Settle) []string {
	var texts []string
	for _, f := range findings {
		texts = append(texts, Sentence(f.Text))
	}
	if settle != nil {
		texts = append(texts, settleText(settle))
	}
	return texts
}

func settleText(s *leakback.Settle) string { return Sentence("to settle it: " + s.Text) }

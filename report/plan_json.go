package report

import (
	"io"
	"math"

	"leakback/leakback"
	"leakback/leakback/blockoff"
)

// PlanJSON writes a plan as one JSON object on one line, with full precision;
// what does not exist is null.
func PlanJSON(w io.Writer, p *PlanPage) error {
	j := jsonPlan{Engine: jsonText(p.Engine), Condition: jsonText(p.Condition), Answer: PlanAnswer(p),
		Limits: p.Sheet.Name, Notes: p.Notes}
	if j.Notes == nil {
		j.Notes = []string{}
	}
	if p.BlockOff != nil {
		j.Method, j.BlockOff = "block-off", jsonBlockOffOf(p.BlockOff)
	} else {
		j.Method, j.Individual = string(leakback.MethodIndividual), jsonCollectionPlanOf(p.Collection)
	}
	return encode(w, j)
}

// jsonPlan holds the names and their order that other programs read.
type jsonPlan struct {
	Method     string              `json:"method"`
	Engine     *string             `json:"engine"`
	Condition  *string             `json:"condition"`
	Answer     string              `json:"answer"`
	Individual *jsonCollectionPlan `json:"individual"`
	BlockOff   *jsonBlockOff       `json:"block_off"`
	Limits     string              `json:"limits"`
	Notes      []string            `json:"notes"`
}

type jsonCollectionPlan struct {
	ExpectMLMin   *float64         `json:"expect_ml_min"`
	LimitMLMin    *float64         `json:"limit_ml_min"`
	Outcome       leakback.Outcome `json:"outcome"`
	Take          *jsonCollection  `json:"take"`
	ByRuns        []jsonCollection `json:"by_runs"`
	Longer        []jsonCollection `json:"longer"`
	Tubes         []jsonCollection `json:"tubes"`
	BestTube      *int             `json:"best_tube"`
	SpareMLMin    *float64         `json:"spare_ml_min"`
	LeastMLMin    *float64         `json:"least_difference_ml_min"`
	FixedMLMin    *float64         `json:"fixed_uncertainty_ml_min"`
	RepeatFromS   *float64         `json:"repeat_from_s"`
	BitingRatio   *float64         `json:"biting_ratio"`
	BitingAtBest  *float64         `json:"biting_ratio_at_best"`
	MeasuredWell  *bool            `json:"measured_well"`
	RunsAsked     int              `json:"runs_asked"`
	ToleranceML   *float64         `json:"tolerance_ml"`
	CylinderCount *int             `json:"cylinders"`
}

type jsonCollection struct {
	CapacityML   *float64 `json:"tube_ml"`
	GraduationML *float64 `json:"graduation_ml"`
	Runs         int      `json:"runs"`
	CollectS     *float64 `json:"collect_s"`
	ShortestS    *float64 `json:"shortest_s"`
	Answers      bool     `json:"answers"`
	Cranks       *int     `json:"cranks"`
	RestsS       *float64 `json:"rests_s"`
	VolumeML     *float64 `json:"volume_ml"`
	FullS        *float64 `json:"full_s"`
	SpareFullS   *float64 `json:"spare_full_s"`
	Overflows    bool     `json:"overflows"`
	UMLMin       *float64 `json:"standard_uncertainty_ml_min"`
	Chance       *float64 `json:"chance"`
}

func jsonCount(n int) *int {
	if n <= 0 {
		return nil
	}
	return &n
}

// notZero is a figure that 0 stands for where it does not exist.
func notZero(x float64) *float64 {
	if x == 0 {
		return nil
	}
	return jsonNumber(x)
}

func jsonCollectionPlanOf(c *leakback.CollectionPlan) *jsonCollectionPlan {
	j := &jsonCollectionPlan{
		ExpectMLMin: jsonNumber(c.Goal.ExpectMLMin), LimitMLMin: jsonNumber(c.Goal.LimitMLMin), Outcome: c.Outcome,
		ByRuns: jsonCollections(c.ByRuns), Longer: jsonCollections(c.Longer), Tubes: jsonCollections(c.Tubes), SpareMLMin: jsonNumber(c.SpareMLMin),
		LeastMLMin: jsonNumber(c.LeastMLMin), FixedMLMin: jsonNumber(c.FixedMLMin), RepeatFromS: jsonNumber(c.RepeatFromS),
		RunsAsked: c.Goal.Runs, ToleranceML: jsonNumber(c.Goal.Tube.ToleranceML), CylinderCount: jsonCount(c.Goal.Cylinders),
	}
	if c.Outcome != leakback.OutOfReach {
		j.Take = &jsonCollections([]leakback.Collection{c.Take})[0]
	}
	if c.Best >= 0 {
		j.BestTube = &c.Best
	}
	if s := c.Set; s != nil {
		j.BitingRatio, j.BitingAtBest, j.MeasuredWell = jsonNumber(s.BitingRatio), jsonNumber(s.BitingAtBest), &s.MeasuredWell
	}
	return j
}

func jsonCollections(list []leakback.Collection) []jsonCollection {
	all := make([]jsonCollection, len(list))
	for i := range list {
		c := &list[i]
		all[i] = jsonCollection{
			CapacityML: notZero(c.Tube.CapacityML), GraduationML: jsonNumber(c.Tube.GraduationML), Runs: c.Runs,
			CollectS: jsonNumber(c.CollectS), ShortestS: jsonNumber(c.ShortestS), Answers: c.Answers,
			Cranks: jsonCount(c.Cranks), Overflows: c.Overflows, Chance: jsonNumber(c.Chance),
		}
		if !math.IsNaN(c.CollectS) {
			all[i].VolumeML, all[i].UMLMin = jsonNumber(c.VolumeML), jsonNumber(c.Budget.StandardMLMin)
			all[i].FullS, all[i].SpareFullS = jsonNumber(c.FullS), jsonNumber(c.SpareFullS)
		}
		if c.Cranks > 0 {
			all[i].RestsS = &c.RestsS
		}
	}
	return all
}

type jsonBlockOff struct {
	ExpectMLMin *float64      `json:"expect_ml_min"`
	Passes      int           `json:"passes"`
	IntervalS   *float64      `json:"interval_s"`
	Cranks      *int          `json:"cranks"`
	RestsS      *float64      `json:"rests_s"`
	Target      float64       `json:"target"`
	Runs        []jsonRun     `json:"runs"`
	Lines       []jsonLineSDs `json:"lines"`
}

type jsonRun struct {
	Run        int     `json:"run"`
	ReturnLine *string `json:"return_line"`
	Blocked    []int   `json:"blocked"`
}

type jsonLineSDs struct {
	ReturnLine      *string  `json:"return_line"`
	TotalMLMin      *float64 `json:"total_ml_min"`
	FullS           *float64 `json:"full_s"`
	SigmaMLMin      *float64 `json:"sigma_ml_min"`
	ShareSDMLMin    *float64 `json:"share_sd_ml_min"`
	ContrastSDMLMin *float64 `json:"contrast_sd_ml_min"`
	Contrast        *float64 `json:"contrast"`
	Enough          *bool    `json:"enough"`
	EnoughPasses    *int     `json:"enough_passes"`
	ShareSigmas     float64  `json:"share_sd_in_sigma"`
	ContrastSigmas  float64  `json:"contrast_sd_in_sigma"`
}

func jsonBlockOffOf(b *leakback.BlockOffPlan) *jsonBlockOff {
	j := &jsonBlockOff{
		ExpectMLMin: jsonNumber(b.Goal.ExpectMLMin), Passes: b.Goal.Passes, IntervalS: jsonNumber(b.IntervalS),
		Cranks: jsonCount(b.Cranks), Target: blockoff.TargetContrast,
	}
	if b.Cranks > 0 {
		j.RestsS = jsonNumber(b.RestsS)
	}
	for _, r := range b.Runs {
		j.Runs = append(j.Runs, jsonRun{r.Number, jsonText(r.Line), append([]int{}, r.Blocked...)})
	}
	for i := range b.Lines {
		j.Lines = append(j.Lines, jsonLineOf(&b.Lines[i]))
	}
	return j
}

func jsonLineOf(l *leakback.LinePlan) jsonLineSDs {
	j := jsonLineSDs{
		ReturnLine: jsonText(l.Name), TotalMLMin: jsonNumber(l.TotalMLMin), FullS: jsonNumber(l.FullS),
		ShareSigmas: l.Schedule.Expected.Share, ContrastSigmas: l.Schedule.Expected.Contrast,
	}
	if len(l.Reaches) == 0 {
		return j
	}
	j.SigmaMLMin, j.ShareSDMLMin = jsonNumber(l.Reached.SigmaMLMin), jsonNumber(l.ShareSDMLMin())
	j.ContrastSDMLMin, j.Contrast = jsonNumber(l.Reached.ContrastSDMLMin), jsonNumber(l.Reached.Contrast)
	j.Enough = &l.Reached.Enough
	for _, r := range l.Reaches {
		if r.Enough {
			j.EnoughPasses = jsonCount(r.Passes)
			break
		}
	}
	return j
}

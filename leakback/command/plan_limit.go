package command

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
)

// cranking says whether the starter turns the engine.
func (p *planning) cranking() bool {
	return strings.EqualFold(strings.TrimSpace(p.o.condition), leakback.Cranking)
}

// limitMLMin is the limit to plan for: the flag's, else of the sheet's limits
// on one cylinder the one that lies nearer to what is expected; NaN for none.
func (p *planning) limitMLMin() (float64, error) {
	match := p.sheet.For(p.o.condition, p.o.injectors, p.state())
	var own []float64
	if most, ok := match.Limit.MaxMLMin(); ok {
		own = append(own, most)
	}
	if match.Limit != nil && match.Limit.MinRateMLMin != nil {
		own = append(own, *match.Limit.MinRateMLMin)
	}
	expect := p.o.expect.Value()
	slices.SortFunc(own, func(a, b float64) int {
		return int(math.Copysign(1, math.Abs(a-expect)-math.Abs(b-expect)))
	})
	switch given := p.o.limit.Value(); {
	case p.o.limit.Known() && len(own) > 0 && !slices.Contains(own, given):
		return 0, fmt.Errorf("--limit: %s: the limits sheet %s has %s for %s; expected one of the two",
			quantity.Format(quantity.Rate, given), p.sheet.Name, quantity.Format(quantity.Rate, own[0]), match.Limit.Condition)
	case p.o.limit.Known():
		own = []float64{given}
	case len(own) == 0:
		p.page.Notes = append(p.page.Notes, whyNoLimit(match)+" A set that is worn evenly looks healthy against itself.")
	}
	chosen := append(own, math.NaN())[0]
	p.useLimit(match.Limit, chosen)
	return chosen, nil
}

// whyNoLimit says why no limit on one cylinder applies.
func whyNoLimit(match limits.Match) string {
	if match.Limit != nil {
		return "The sheet's limit for " + match.Limit.Condition + " has no figure for the rate of one cylinder."
	}
	return match.Reason
}

// useLimit notes the limit that applies and what of it is not planned for.
func (p *planning) useLimit(l *limits.Limit, chosenMLMin float64) {
	if l == nil {
		return
	}
	p.page.Limit = l
	var aside []string
	for _, f := range l.Figures() {
		switch f.Key {
		case "max_rate_ml_min", "min_rate_ml_min", "max_volume_ml", "interval_s":
		default:
			aside = append(aside, f.Key)
		}
	}
	if len(aside) > 0 {
		p.page.Notes = append(p.page.Notes, "Not planned for, though the sheet has them: "+strings.Join(aside, ", ")+".")
	}
	p.outside(l, l.MinRateMLMin != nil && *l.MinRateMLMin == chosenMLMin)
}

// outside says where the state given lies outside the limit's: below it being
// within a maximum proves nothing, above it being over; a minimum is the mirror
// image.
func (p *planning) outside(l *limits.Limit, minimum bool) {
	for _, d := range []struct {
		what string
		r    *limits.Range
		got  []float64
	}{
		{"rail pressure", l.RailPressureBar, p.state().RailPressureBar},
		{"fuel temperature", l.FuelTempC, p.state().FuelTempC},
		{"engine speed", l.EngineRPM, p.state().EngineRPM},
	} {
		if d.r == nil {
			continue
		}
		if below, above := d.r.Side(d.got); below || above {
			void := "being within it"
			if below == minimum {
				void = "not being within it"
			}
			p.page.Notes = append(p.page.Notes, fmt.Sprintf("The %s given lies outside what the limit is given for: "+
				"%s proves nothing there.", d.what, void))
		}
	}
}

// state is what the flags say of the running state.
func (p *planning) state() limits.State {
	list := func(x float64) []float64 {
		if math.IsNaN(x) {
			return nil
		}
		return []float64{x}
	}
	return limits.State{Cranks: p.o.cranks, RailPressureBar: list(p.o.railPressure.Value()),
		FuelTempC: list(p.o.fuelTemp.Value()), EngineRPM: list(p.o.rpm.value)}
}

// cranks is the crank pattern: the limit's where it asks for one.
func (p *planning) cranks() (int, error) {
	l := p.page.Limit
	switch {
	case l == nil || l.Cranks == 0 || !p.cranking():
		return p.o.cranks, nil
	case p.o.cranks != 0 && p.o.cranks != l.Cranks:
		return 0, fmt.Errorf("--cranks: %d: expected %d, as the limit asks: another pattern cannot be held against it",
			p.o.cranks, l.Cranks)
	}
	return l.Cranks, nil
}

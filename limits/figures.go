package limits

import "leakback/limits/quantity"

// Figure is one figure of a limit, as reports show it.
type Figure struct {
	// Key is the sheet's key, such as max_rate_ml_min.
	Key string
	// Value is the figure in Unit.
	Value float64
	// Unit is the unit for people; "" for a ratio.
	Unit string
}

// Figures lists the figures that the limit gives, in the order of the struct.
func (l *Limit) Figures() []Figure {
	rate := quantity.Rate.Unit()
	var given []Figure
	for _, f := range []struct {
		key, unit string
		value     *float64
	}{
		{"max_rate_ml_min", rate, l.MaxRateMLMin},
		{"min_rate_ml_min", rate, l.MinRateMLMin},
		{"max_volume_ml", quantity.Volume.Unit(), l.MaxVolumeML},
		{"interval_s", quantity.Interval.Unit(), l.IntervalS},
		{"max_total_ml_min", rate, l.MaxTotalMLMin},
		{"max_ratio_to_median", "", l.MaxRatioToMedian},
		{"max_ratio_to_mean", "", l.MaxRatioToMean},
		{"max_ratio_to_lowest", "", l.MaxRatioToLowest},
		{"max_difference_ml_min", rate, l.MaxDifferenceMLMin},
	} {
		if f.value != nil {
			given = append(given, Figure{f.key, *f.value, f.unit})
		}
	}
	return given
}

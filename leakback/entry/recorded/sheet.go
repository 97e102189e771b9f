package recorded

import (
	"fmt"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
)

// Sheet is the limits sheet that a record names, as it was read then; the
// built-in one where it names none. The error is that of limits.Parse, or says
// that the sheet's text is missing.
func Sheet(r *leakback.Record) (*limits.Sheet, error) {
	name, text := r.Set(leakback.FieldLimits), r.Set(leakback.FieldLimitsTOML)
	sheet := limits.Builtin()
	switch {
	case text != "":
		var err error
		if sheet, err = limits.Parse([]byte(text), r.Set(leakback.FieldLimitsPath)); err != nil {
			return nil, err
		}
		sheet.Origin = limits.Origin(r.Set(leakback.FieldLimitsOrigin))
	case name != "" && name != sheet.Name:
		return nil, fmt.Errorf("%s: %s: expected the text of the limits sheet in %s",
			leakback.FieldLimits, quantity.Quote(name), leakback.FieldLimitsTOML)
	}
	if name != "" {
		sheet.Name = name
	}
	return sheet, nil
}

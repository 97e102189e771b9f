package form

import (
	"errors"
	"fmt"
	"io"

	"github.com/xuri/excelize/v2"

	"leakback/leakback/ooxml"
	"leakback/limits/quantity"
)

// Bounds of a file that is read at all. A filled form has 15 parts, 25 KiB, and
// 150 KiB when unpacked; there is room for a photo or two.
const (
	// MostBytes is how large a form's file may be.
	MostBytes    = 4 << 20
	mostUnpacked = 8 << 20
	mostParts    = 200
)

var most = ooxml.Limits{
	Bytes: MostBytes, Unpacked: mostUnpacked, Part: 2 << 20, Parts: mostParts, Depth: 64,
	Sheets: 20, Rows: 2000, Columns: 400, Cells: 400_000,
}

// refusal is what was expected of a file that is not read as a form.
type refusal string

func (r refusal) Error() string { return "expected " + string(r) }

const (
	errNoWorkbook refusal = "an entry form, which is a workbook (.xlsx); write a blank one with leakback form --output blank.xlsx"
	errOldFormat  refusal = "a workbook without a password, in the format .xlsx: open it and save it so"
	errDamaged    refusal = "a workbook that is whole; this one is damaged: open it in a spreadsheet program, save it and try again"
	errMacros     refusal = "a workbook without macros; an entry form has none, so do not open this one: ask for the readings on a blank form"
	errLinks      refusal = "a workbook without links to other files or to data; an entry form has none: ask for the readings on a blank form"
	errObjects    refusal = "a workbook without objects or controls in it; an entry form has none: copy the readings into a blank form"
	errOdd        refusal = "a workbook as spreadsheet programs write them; the parts of this one are odd: do not trust it, " +
		"ask for the readings on a blank form"
	errTooLarge refusal = "an entry form, which is small; this workbook is far larger inside: copy the readings into a blank form"
)

var errTooLong = refusal(fmt.Sprintf("at most %d MiB; an entry form is far smaller: "+
	"take out pictures, or copy the readings into a blank form", MostBytes>>20))

// refusals say of a form what the guard says of any workbook.
var refusals = map[ooxml.Refusal]refusal{
	ooxml.NoWorkbook: errNoWorkbook, ooxml.OldFormat: errOldFormat, ooxml.Damaged: errDamaged,
	ooxml.Macros: errMacros, ooxml.Links: errLinks, ooxml.Objects: errObjects, ooxml.Odd: errOdd,
	ooxml.TooLong: errTooLong, ooxml.TooLarge: errTooLarge,
}

// ofForm is an error as one of a form.
func ofForm(err error) error {
	var why ooxml.Refusal
	if errors.As(err, &why) {
		return refusals[why]
	}
	return err
}

// unpacked looks through a workbook before anything else reads it, and gives it
// to the library with nothing but what was looked through.
func unpacked(r io.ReaderAt, size int64) (*excelize.File, error) {
	p, err := ooxml.Read(r, size, most)
	if err != nil {
		return nil, ofForm(err)
	}
	f, err := p.Workbook()
	return f, ofForm(err)
}

// guarded runs what reads a stranger's file: a panic in the library is an error
// of the file.
func guarded(read func() error) error { return ofForm(ooxml.Guarded(read)) }

// asFault is an error of the whole file as a fault of it, and any other as it is.
func asFault(name string, err error) error {
	var why refusal
	if !errors.As(err, &why) {
		return fmt.Errorf("%s: %w", quantity.Name(name), err)
	}
	return faults{{File: name, Expected: string(why)}}.err()
}

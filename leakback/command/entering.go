package command

import (
	"context"
	"fmt"
	"strconv"

	"leakback/leakback"
	"leakback/leakback/logbook"
)

// entering puts what is entered in one sitting into the record of a test.
type entering struct {
	book   *logbook.Book
	id     string // of the test
	number int64  // 0 before its first entry
	kept   int64  // how many events it has
}

// keep commits what was entered, and says when somebody else entered something
// into the same test meanwhile: both are kept, and this sitting ends.
func (r *entering) keep(ctx context.Context, drafts []leakback.Event) error {
	drafts = append([]leakback.Event(nil), drafts...)
	for i := range drafts {
		if drafts[i].Kind == leakback.KindOpen {
			drafts[i].Reason = station()
		}
	}
	kept, err := r.book.Append(context.WithoutCancel(ctx), r.id, drafts)
	if err != nil {
		return err
	}
	if len(kept) > 0 && kept[0].Seq != r.kept+1 {
		return &fileError{&hintedError{
			fmt.Errorf("test %d: somebody else is entering into it as well; both entries are kept", r.number),
			"let one of you leave, then go on with: leakback record --resume " + strconv.FormatInt(r.number, 10),
		}}
	}
	r.kept += int64(len(kept))
	if r.number == 0 {
		found, err := r.book.Find(ctx, r.id)
		if err != nil {
			return err
		}
		r.number = found.Number
	}
	return nil
}

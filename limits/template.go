package limits

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode"
)

// templateSource is what a new sheet has for a source until somebody says
// where the figures come from; a sheet that still has it is refused.
const templateSource = "REPLACE THIS: which document, section, revision and date, and who read it"

//go:embed template.toml
var template string

// Start writes a new sheet for an engine: every key explained, and not one
// figure, because figures belong to the engine's maker or to the shop's own
// measurements. It is refused until it is filled in.
func Start(w io.Writer, engine string) error {
	engine = strings.TrimSpace(engine)
	if engine == "" || strings.ContainsFunc(engine, unicode.IsControl) {
		return errors.New("expected the engine's name, on one line")
	}
	text := strings.NewReplacer("{{engine}}", quoted(engine), "{{source}}", quoted(templateSource)).Replace(template)
	_, err := fmt.Fprint(w, text)
	return err
}

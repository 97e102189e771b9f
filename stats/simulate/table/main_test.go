package main

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Two sections of few engines: whole Markdown tables, the same every time.
func TestSectionsAreTables(t *testing.T) {
	sections := func() string {
		var out bytes.Buffer
		p := printer{w: &out, seed: 1, engines: 50}
		p.falseAlarms()
		p.usual()
		p.learned()
		assert.NoError(t, p.err)
		return out.String()
	}
	first := sections()
	assert.Equal(t, first, sections())
	assert.NotContains(t, first, "%!", "a format without its figure")
	assert.NotContains(t, first, "NaN")
	tables := strings.Count(first, "| --- |")
	assert.Positive(t, tables)
	columns := 0
	for line := range strings.Lines(first) {
		if !strings.HasPrefix(line, "|") {
			columns = 0
			continue
		}
		if columns == 0 {
			columns = strings.Count(line, "|")
		}
		assert.Equal(t, columns, strings.Count(line, "|"), line)
	}
}

func TestBadUse(t *testing.T) {
	for _, args := range [][]string{{"-engines", "0"}, {"-engines", "many"}, {"extra"}, {"-seed", "-1"}} {
		var out, problem bytes.Buffer
		assert.Equal(t, 2, run(args, &out, &problem), "%v", args)
		assert.Empty(t, out.String())
		assert.NotEmpty(t, problem.String())
	}
}

// full is a disk that takes nothing.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left") }

func TestFullDisk(t *testing.T) {
	var problem bytes.Buffer
	assert.Equal(t, 3, run([]string{"-engines", "1"}, full{}, &problem))
	assert.Equal(t, "table: no space left\n", problem.String())
}

package advice

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestCautionLine(t *testing.T) {
	line := CautionLine()
	assert.LessOrEqual(t, len(line), 78)
	assert.NotRegexp(t, `[^ -~]`, line)
	assert.Contains(t, line, "service information")
}

// What must never be missing, whoever rewrites the sentences.
func TestNotSeen(t *testing.T) {
	all := strings.Join(NotSeen(), " ")
	for _, word := range []string{"nozzle", "outside", "spray", "clears no injector", "position", "feed tube", "seat"} {
		assert.Contains(t, all, word)
	}
}

func TestCautions(t *testing.T) {
	all := strings.Join(Cautions(), " ")
	for _, word := range []string{
		"2,000 bar", "hospital", "high-pressure fuel", "hand", "rated for rail pressure",
		"pinch the return", "Plug", "connectors", "high voltage", "stay open", "Park brake",
		"neutral", "starter", "Exhaust", "aftertreatment", "scald", "metal tray", "eye protection",
		"gloves", "extinguisher", "ignition", "single-use", "leaks once", "dispose", "service information",
		"law", "licensed technician",
	} {
		assert.Contains(t, all, word)
	}
}

func TestListsAreCopies(t *testing.T) {
	NotSeen()[0], Cautions()[0] = "", ""
	assert.NotEmpty(t, NotSeen()[0])
	assert.NotEmpty(t, Cautions()[0])
}

func TestCautionsAboutATopic(t *testing.T) {
	for _, topic := range []Topic{OpeningLines, Blocking, MovingEngine, Exhaust} {
		got := CautionsAbout(topic)
		require.Len(t, got, 1, topic)
		assert.True(t, strings.HasPrefix(got[0], string(topic)+": "))
	}
	assert.Contains(t, CautionsAbout(Blocking)[0], "only with caps rated for rail pressure, and only where the maker allows it")
	assert.Contains(t, CautionsAbout(Blocking)[0], "Never cap or pinch the return of an injector")
	assert.Empty(t, CautionsAbout())
	assert.Len(t, Cautions(), len(cautions)) // the table itself is untouched
}

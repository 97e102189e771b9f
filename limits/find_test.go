package limits_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/limits"
)

// folder makes a configuration folder with sheets in it.
func folder(t *testing.T, sheets map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	at := filepath.Join(dir, "leakback", "limits")
	require.NoError(t, os.MkdirAll(at, 0o755))
	for name, text := range sheets {
		require.NoError(t, os.WriteFile(filepath.Join(at, name), []byte(text), 0o644))
	}
	return dir
}

func TestFindPrefersTheNearerSheet(t *testing.T) {
	config := folder(t, map[string]string{
		"northmoor-six-90.toml": "name = 'from the folder'\n",
		"named.toml":            "name = 'named'\n",
		"environment.toml":      "name = 'from the environment'\n",
	})
	path := func(name string) string { return filepath.Join(config, "leakback", "limits", name) }
	set := func(string) string { return path("environment.toml") }
	unset := func(string) string { return "" }
	tests := []struct {
		engine, explicit string
		getenv           func(string) string
		config           string
		name             string
		origin           limits.Origin
	}{
		{"Northmoor Six-90", path("named.toml"), set, config, "named", limits.OriginNamed},
		{"Northmoor Six-90", "", set, config, "from the environment", limits.OriginEnvironment},
		{"northmoor SIX 90", "", unset, config, "from the folder", limits.OriginFolder},
		{"Northmoor Four", "", unset, config, "built-in", limits.OriginBuiltin},
		{"", "", unset, config, "built-in", limits.OriginBuiltin},
		{"Northmoor Six-90", "", unset, "", "built-in", limits.OriginBuiltin},
	}
	for _, test := range tests {
		s, err := limits.Find(test.engine, test.explicit, test.getenv, test.config)
		require.NoError(t, err)
		assert.Equal(t, test.name, s.Name)
		assert.Equal(t, test.origin, s.Origin)
	}
}

func TestFindAsksForTheRightVariable(t *testing.T) {
	var asked []string
	_, err := limits.Find("", "", func(name string) string { asked = append(asked, name); return "" }, "")
	require.NoError(t, err)
	assert.Equal(t, []string{"LEAKBACK_LIMITS"}, asked)
}

func TestFindRefusesAMissingSheetThatWasNamed(t *testing.T) {
	missing := filepath.Join(t.TempDir(), "none.toml")
	_, err := limits.Find("", missing, os.Getenv, "")
	assert.ErrorIs(t, err, fs.ErrNotExist)
	_, err = limits.Find("", "", func(string) string { return missing }, "")
	assert.ErrorIs(t, err, fs.ErrNotExist)
}

func TestFindRefusesASheetForAnotherEngine(t *testing.T) {
	config := folder(t, map[string]string{
		"northmoor-six-90.toml": "# invented\nengine = 'Northmoor Six-90'\n",
		"broken.toml":           "engine = 'Broken'\ncylinders = 0\n",
	})
	path := filepath.Join(config, "leakback", "limits", "northmoor-six-90.toml")
	_, err := limits.Find("Northmoor Four", path, os.Getenv, "")
	var faults *limits.FaultError
	require.ErrorAs(t, err, &faults)
	assert.EqualError(t, err, path+`:2:1: engine: "Northmoor Six-90": expected a sheet for "Northmoor Four"`)

	s, err := limits.Find(" northmoor  six-90", path, os.Getenv, "")
	require.NoError(t, err)
	assert.Equal(t, "Northmoor Six-90", s.Engine)
	_, err = limits.Find("", path, os.Getenv, "")
	assert.NoError(t, err)
	_, err = limits.Find("broken", "", func(string) string { return "" }, config)
	assert.ErrorAs(t, err, &faults)
}

// Whatever an engine is called, a file of its name can be there on every system.
func TestFileName(t *testing.T) {
	long := strings.Repeat("発動機 ", 60)
	for engine, want := range map[string]string{
		"Northmoor Six-90": "northmoor-six-90.toml",
		"AUX":              "aux-engine.toml",
		"Com 1":            "com-1.toml",
		"COM1":             "com1-engine.toml",
		"Console":          "console.toml",
		"NUL.":             "nul-engine.toml",
		"a/../b:c*d?":      "a-b-c-d.toml",
		long:               strings.TrimSuffix(strings.Repeat("発動機-", 20), "-") + ".toml",
	} {
		assert.Equal(t, want, limits.FileName(engine), engine)
	}
	// 255 bytes on ext4, 255 UTF-16 units on NTFS and APFS.
	assert.Less(t, len(limits.FileName(long)), 255)
	sheet, err := limits.Find(long, "", func(string) string { return "" }, folder(t, nil))
	require.NoError(t, err)
	assert.Equal(t, limits.OriginBuiltin, sheet.Origin)
}

func TestSlug(t *testing.T) {
	for engine, want := range map[string]string{
		"Northmoor Six-90": "northmoor-six-90", "  A/B\\C..D  ": "a-b-c-d", "Größe 3,0": "größe-3-0",
		"../../etc": "etc", "": "", "---": "",
	} {
		assert.Equal(t, want, limits.Slug(engine), engine)
	}
}

package limits

import (
	"errors"
	"io/fs"
	"path/filepath"
	"strings"
	"unicode"
)

// Folder is where a user's sheets are kept, below the configuration folder.
var Folder = filepath.Join("leakback", "limits")

// Find gets the sheet for an engine ("" where it was not named): the one at
// explicitPath, else the one that EnvironmentVariable names, else the engine's
// own in Folder below configDir, else the built-in one. A
// sheet for another engine is refused with a *FaultError that names both.
func Find(engine, explicitPath string, getenv func(string) string, configDir string) (*Sheet, error) {
	if explicitPath != "" {
		return from(OriginNamed, explicitPath, engine)
	}
	if path := getenv(EnvironmentVariable); path != "" {
		return from(OriginEnvironment, path, engine)
	}
	slug := Slug(engine)
	if slug == "" || configDir == "" {
		return Builtin(), nil
	}
	s, err := from(OriginFolder, filepath.Join(configDir, Folder, slug+".toml"), engine)
	if errors.Is(err, fs.ErrNotExist) {
		return Builtin(), nil
	}
	return s, err
}

func from(origin Origin, path, engine string) (*Sheet, error) {
	s, err := load(path, engine)
	if err != nil {
		return nil, err
	}
	s.Origin = origin
	return s, nil
}

// Slug is an engine's name as a file's name: lower case, letters and digits
// as they are, one hyphen for all that stands between them.
func Slug(engine string) string {
	words := strings.FieldsFunc(strings.ToLower(engine), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r)
	})
	return strings.Join(words, "-")
}

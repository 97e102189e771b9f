package limits

import (
	"errors"
	"io/fs"
	"path/filepath"
	"regexp"
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
	if Slug(engine) == "" || configDir == "" {
		return Builtin(), nil
	}
	s, err := from(OriginFolder, filepath.Join(configDir, Folder, FileName(engine)), engine)
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

// longestName is how many bytes of an engine's name a file's name may hold: with its
// ending it fits every file system, and one that is cut short still has to name its
// engine inside.
const longestName = 200

// FileName is the name of an engine's sheet in Folder: Slug with its ending. Names
// that Windows takes for devices are set apart on every system, so that a folder of
// sheets can be carried from one to the other.
func FileName(engine string) string {
	slug := Slug(engine)
	if len(slug) > longestName {
		slug = strings.TrimRight(strings.ToValidUTF8(slug[:longestName], ""), "-")
	}
	if device.MatchString(slug) {
		slug += "-engine"
	}
	return slug + ".toml"
}

// device are names that Windows keeps for devices, whatever ending follows
// (https://learn.microsoft.com/windows/win32/fileio/naming-a-file).
var device = regexp.MustCompile("^(con|prn|aux|nul|(com|lpt)[0-9])$")

// Slug is an engine's name to compare and to name files by: lower case, letters
// and digits as they are, one hyphen for all that stands between them.
func Slug(engine string) string {
	words := strings.FieldsFunc(strings.ToLower(engine), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r)
	})
	return strings.Join(words, "-")
}

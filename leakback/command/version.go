package command

import "runtime/debug"

// release is the version of a build that no module version was recorded for.
const release = "0.1.0"

// version is the module version that the build recorded, else the release.
func version() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" && info.Main.Version != "(devel)" {
		return info.Main.Version
	}
	return release
}

//go:build !unix

package screen

import tea "charm.land/bubbletea/v2"

// stoppable does nothing where no program is stopped from outside.
func stoppable(*tea.Program) func() { return func() {} }

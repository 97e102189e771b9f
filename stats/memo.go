package stats

import (
	"maps"
	"sync"
	"sync/atomic"
)

// memo remembers what is costly to compute and asked for again and again: a
// few figures, for any number of readers at once. Readers take no lock; a new
// figure makes a new table.
type memo[K comparable] struct {
	table atomic.Pointer[map[K]float64]
	write sync.Mutex
}

// get is the figure for the key, computed on first use.
func (m *memo[K]) get(key K, compute func() float64) float64 {
	if table := m.table.Load(); table != nil {
		if x, ok := (*table)[key]; ok {
			return x
		}
	}
	x := compute()
	m.write.Lock()
	defer m.write.Unlock()
	table := map[K]float64{}
	if old := m.table.Load(); old != nil {
		table = maps.Clone(*old)
	}
	table[key] = x
	m.table.Store(&table)
	return x
}

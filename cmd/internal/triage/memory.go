package triage

// A memory holds at most twice so many things: when the younger half is full, the
// older is forgotten. What is asked for again grows young again.
type memory[T any] struct {
	most       int
	young, old map[string]T
}

func newMemory[T any](most int) *memory[T] {
	return &memory[T]{most: most, young: map[string]T{}}
}

func (m *memory[T]) get(key string) (T, bool) {
	x, ok := m.young[key]
	if !ok {
		if x, ok = m.old[key]; ok {
			m.put(key, x)
		}
	}
	return x, ok
}

func (m *memory[T]) put(key string, x T) {
	if len(m.young) >= m.most {
		m.old, m.young = m.young, map[string]T{}
	}
	m.young[key] = x
}

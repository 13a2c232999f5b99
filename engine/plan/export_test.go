package plan

// SearchAnything is the general search, also of sure tests.
func SearchAnything(m *Model, budget int) Found {
	m.Ready()
	s := &search{m: m, places: map[string]*place{}}
	return s.run(s.place(m.root()), budget)
}

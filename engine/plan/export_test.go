package plan

// SearchAnything is the general search, also of sure tests.
func SearchAnything(m *Model, budget int) Found {
	m.Ready()
	s := &search{m: m, places: map[string]*place{}}
	return s.run(s.place(m.root()), budget)
}

// Entropy is that of the outcomes, in bits: no step can tell more.
func (s *Scene) Entropy() float64 {
	s.forGains()
	return s.entropy
}

// Gain is the first of [Scene.Gains].
func (s *Scene) Gain(a *Action) float64 {
	gain, _ := s.Gains(a)
	return gain
}

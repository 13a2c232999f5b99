package belief

// Slowly is the probabilities of the values in one world, the obvious way.
func (s *Symptom) Slowly(cause, condition func(n int) bool) []float64 {
	no := 1.0
	for _, r := range s.rows {
		if !r.When.Holds(cause, condition) {
			continue
		}
		if !s.independent {
			return r.P
		}
		no *= 1 - r.P[s.yes]
	}
	p := []float64{no, no}
	p[s.yes] = 1 - no
	return p
}

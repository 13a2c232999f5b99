package review

import (
	"unicode/utf8"
)

// What is read aloud over a telephone and shown on one.
const (
	longestQuestion = 120 // characters
	longestValue    = 24  // characters: what fits on a button
)

// questions looks at what is asked.
func (r *reviewer) questions() {
	for i := range r.b.Symptoms {
		s := &r.b.Symptoms[i]
		if n := utf8.RuneCountInString(s.Ask); n > longestQuestion {
			r.say(s.Pos, "question-too-long", "the question of %s has %d characters; over a telephone %d can be kept in mind", s.ID, n, longestQuestion)
		}
	}
	for i := range r.b.Givens {
		g := &r.b.Givens[i]
		if n := utf8.RuneCountInString(g.Ask); n > longestQuestion {
			r.say(g.Pos, "question-too-long", "the question of %s has %d characters; over a telephone %d can be kept in mind", g.ID, n, longestQuestion)
		}
	}
}

// chances looks at the numbers of rows.
func (r *reviewer) chances() {
	for i := range r.b.Symptoms {
		s := &r.b.Symptoms[i]
		for _, row := range s.Shows {
			for v, p := range row.P {
				if p == 0 {
					r.say(row.Pos, "exact-chance", "the row of %s gives %s no chance at all: one wrong report then rules out every cause that the row stands for", s.ID, s.Values[v])
					break
				}
			}
		}
	}
}

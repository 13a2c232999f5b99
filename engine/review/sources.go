package review

import (
	"regexp"
	"slices"
	"strings"
	"sync"

	"downdrop/rulebase"
)

// sources looks for numbers that rest on nothing, and for sources that claim more
// than they are.
func (r *reviewer) sources() {
	b := r.b
	for i := range b.Symptoms {
		if s := &b.Symptoms[i]; s.Weighs && s.Source == "" && !rowsHaveSource(s) {
			r.say(s.Pos, "no-source", "the chances of %s rest on nothing that is named", s.ID)
		}
	}
	for i := range b.Givens {
		if g := &b.Givens[i]; g.Type == rulebase.Number && g.Default != nil && g.Source == "" {
			r.say(g.Pos, "no-source", "the default of %s rests on nothing that is named", g.ID)
		}
	}
	for i := range b.Sources {
		s := &b.Sources[i]
		switch {
		case !published(s.Kind):
		case admits().MatchString(s.Says):
			r.say(s.Pos, "claims-too-much", "the source %s is called %s and says itself that it is less: %q", s.ID, a(s.Kind), admits().FindString(s.Says))
		case !strings.ContainsAny(s.Says, "0123456789"):
			r.say(s.Pos, "claims-too-much", "the source %s is called %s and gives neither a year nor a number by which anybody could find it", s.ID, a(s.Kind))
		}
	}
}

// published says whether a kind of source is one that somebody else can look up.
func published(kind string) bool {
	return slices.Contains([]string{"standard", "paper", "book", "handbook", "data", "report"}, kind)
}

// admits finds the words by which a text says that it is no more than an opinion.
var admits = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`(?i)\b(common practice|no source|estimates?|estimated|guess(ed)?|rule of thumb|hearsay)\b`)
})

// rowsHaveSource says whether every row of a symptom names its own source.
func rowsHaveSource(s *rulebase.Symptom) bool {
	return !slices.ContainsFunc(s.Shows, func(row rulebase.Row) bool { return row.Source == "" })
}

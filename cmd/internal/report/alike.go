package report

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"downdrop/cases"
	"downdrop/cases/alike"
	"downdrop/rulebase"
)

// AlikeSchema is the form of alike cases for programs.
const AlikeSchema = "downdrop.alike/1"

// A Matched is a case that is like the one asked about.
type Matched struct {
	alike.Match
	Case *cases.Case
}

// Alike is a case, and the closed cases most like it.
type Alike struct {
	Base    *rulebase.Base
	Case    *cases.Case
	Says    bool // its findings say something about causes
	Of      int  // closed cases that were looked through
	Matches []Matched
}

// leastAlike is from which chance on a case is worth showing to people.
const leastAlike = 0.005

// shown are the matches that are worth showing.
func (a *Alike) shown() []Matched {
	n := slices.IndexFunc(a.Matches, func(m Matched) bool { return m.Likeness < leastAlike })
	if n < 0 {
		return a.Matches
	}
	return a.Matches[:n]
}

// tally counts what the matches turned out to be, the most frequent first.
func (a *Alike) tally() (ids []string, counts map[string]int) {
	counts = map[string]int{}
	for _, m := range a.shown() {
		for _, id := range closedAs(m.Case) {
			counts[id]++
		}
	}
	ids = slices.SortedFunc(maps.Keys(counts), func(a, b string) int { return cmp.Or(cmp.Compare(counts[b], counts[a]), strings.Compare(a, b)) })
	return ids, counts
}

// closedAs is what a case turned out to be: its causes, else its outcome.
func closedAs(c *cases.Case) []string {
	switch {
	case c.Closing == nil:
		return []string{}
	case len(c.Closing.Causes) > 0:
		return c.Closing.Causes
	}
	return []string{c.Closing.Outcome}
}

// Text writes it for people.
func (a *Alike) Text(w io.Writer, width int, now time.Time) error {
	p := newPage(width)
	p.say(sayCaseLine(a.Case))
	switch {
	case !a.Says:
		p.say(sayNothingToCompare)
		return p.writeTo(w)
	case len(a.shown()) == 0:
		p.say(sayNoneAlike)
		return p.writeTo(w)
	}
	p.say(sayAlike(a.Of, len(a.shown())))
	p.gap()
	for _, m := range a.shown() {
		s := m.Case.Summary()
		p.item(fmt.Sprintf("%4.0f %%  %-8s", 100*m.Likeness, s.Code), sayCaseSummary(a.Base, &s, now))
		if len(m.Causes) > 0 {
			p.hang("        ", "        ", sayBoth(a.Base, m.Causes))
		}
	}
	p.gap()
	p.say(sayTurnedOut)
	ids, counts := a.tally()
	for _, id := range ids {
		p.item(fmt.Sprintf("  %d  ", counts[id]), nameOfCause(a.Base, id))
	}
	return p.writeTo(w)
}

// nameOfCause is a cause in words, or an id that the rulebase does not know.
func nameOfCause(b *rulebase.Base, id string) string {
	if ref, ok := b.Lookup(id); ok && ref.Kind == rulebase.KindCause {
		return b.Causes[ref.Index].Name
	}
	return plain(id)
}

type alikeJSON struct {
	Schema   string        `json:"schema"`
	Rulebase rulebaseJSON  `json:"rulebase"`
	Case     string        `json:"case"`
	Code     string        `json:"code"`
	Says     bool          `json:"findings_say_something"`
	Of       int           `json:"of"`
	Matches  []matchedJSON `json:"matches"`
}

type matchedJSON struct {
	ID       string   `json:"id"`
	Code     string   `json:"code"`
	Location string   `json:"location"`
	Drop     int      `json:"drop"`
	Likeness float64  `json:"likeness"`
	Both     []string `json:"both_speak_for"`
	Causes   []string `json:"causes"`
	Outcome  string   `json:"outcome"`
	Verdict  string   `json:"verdict"`
}

// JSON writes it for programs.
func (a *Alike) JSON(w io.Writer) error {
	out := alikeJSON{AlikeSchema, rulebaseJSON{a.Base.Name, a.Base.Version, a.Base.Digest}, a.Case.ID, a.Case.Code, a.Says, a.Of, []matchedJSON{}}
	for _, m := range a.Matches {
		s := m.Case.Summary()
		x := matchedJSON{s.ID, s.Code, s.Location, s.Drop, m.Likeness, []string{}, listed(s.Causes), s.Outcome, s.UnitVerdict}
		for _, c := range m.Causes {
			x.Both = append(x.Both, a.Base.Causes[c].ID)
		}
		out.Matches = append(out.Matches, x)
	}
	return writeJSON(w, out)
}

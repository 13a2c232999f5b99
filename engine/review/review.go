// Package review looks over what a rulebase knows: not whether it can be read,
// which loading says, but whether it makes sense.
//
// Every sort of doubt is a [Kind] with a name, an explanation and two samples.
// A doubt that is no mistake is accepted by a comment in the file, with a
// reason; see [Review].
package review

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"downdrop/rulebase"
)

// A Finding is a doubt about the sense of a rulebase. Its Kind names a [Kind].
type Finding struct {
	rulebase.Problem
	Layer    int    // in which layer it stands, from 0
	Accepted string // the reason why it is no mistake; "" where it is not accepted
}

// NoLimit is as much work as a review takes.
const NoLimit = math.MaxInt

// StrangersWork is how much work a review of a rulebase from elsewhere may be: several times
// that of the shipped one, and no more than a second or so.
const StrangersWork = 80_000_000

// A Result is what a review found.
type Result struct {
	Found  []Finding
	Untold map[string]int // by kind: how many findings more than mostOfAKind there are
	Whole  bool           // all was looked at; false: it would have been too much work
	Work   int            // the steps of work, a word of a column or a comparison each
}

// Within looks a rulebase over, and stops after so many steps of work. They are counted and
// not timed, so that the same rulebase always comes to the same end. The cases are its rule tests. All findings
// come back in the order of their places, the accepted ones among them.
//
// A comment `# accept KIND: reason` accepts the findings of one kind: those on
// its own line or, where it stands alone, on the next line; where that line
// begins an entry, those of the whole entry; a section, those of the section in
// this file; the header, those of the whole layer.
func Within(b *rulebase.Base, cases []rulebase.Situation, most int) Result {
	r := &reviewer{b: b, cases: cases, ofText: map[string]map[string]bool{}, untold: map[string]int{}, told: map[string]int{}, most: most}
	whole := r.checked()
	work := r.work
	r.most = NoLimit // what is left to do grows with what was found, and that is bounded
	r.once()
	r.accept()
	for i := range r.found {
		r.found[i].Layer = b.LayerOf(r.found[i].Position)
	}
	slices.SortStableFunc(r.found, func(x, y Finding) int {
		return cmp.Or(x.Layer-y.Layer, strings.Compare(x.File, y.File), x.Line-y.Line, x.Column-y.Column, strings.Compare(x.Kind, y.Kind))
	})
	return Result{r.found, r.untold, whole, work}
}

// checked goes through all checks; false: the work became too much.
func (r *reviewer) checked() (whole bool) {
	defer func() {
		switch fault := recover(); fault {
		case nil, tooMuch{}:
		default:
			panic(fault)
		}
	}()
	for _, p := range r.b.Remarks() {
		r.found = append(r.found, Finding{Problem: p})
	}
	r.settings = r.settingsOf()
	for _, check := range checks {
		check(r)
	}
	return true
}

// tooMuch is what spend panics with; nobody but checked sees it.
type tooMuch struct{}

// spend counts steps of work before they are done.
func (r *reviewer) spend(steps int) {
	if r.work += steps; r.work > r.most || steps < 0 {
		panic(tooMuch{})
	}
}

// checks are all that is looked at. Each may say several kinds.
var checks = []func(*reviewer){
	(*reviewer).conditions,
	(*reviewer).rows,
	(*reviewer).questions,
	(*reviewer).chances,
	(*reviewer).evidence,
	(*reviewer).toldApart,
	(*reviewer).unlikeOthers,
	(*reviewer).lookAlikes,
	(*reviewer).lookAlikesMutual,
	(*reviewer).weights,
	(*reviewer).remedies,
	(*reviewer).hands,
	(*reviewer).dangersSpoken,
	(*reviewer).hazardsUnsaid,
	(*reviewer).isolations,
	(*reviewer).minutes,
	(*reviewer).titles,
	(*reviewer).toolNames,
	(*reviewer).tests,
	(*reviewer).sources,
	(*reviewer).tested,
}

// A reviewer is a review under way.
type reviewer struct {
	b        *rulebase.Base
	cases    []rulebase.Situation
	settings []setting
	usable   []*setting // see known
	found    []Finding
	ofText   map[string]map[string]bool // see words
	work     int
	most     int
	told     map[string]int
	untold   map[string]int
}

// mostOfAKind is how many findings of one kind are told: who has a thousand has them all from
// one mistake, or from somebody who wants the memory filled.
const mostOfAKind = 1000

func (r *reviewer) say(pos rulebase.Position, kind, format string, args ...any) {
	r.spend(4)
	if r.told[kind]++; r.told[kind] > mostOfAKind {
		r.untold[kind]++
		return
	}
	r.found = append(r.found, Finding{Problem: rulebase.Problem{Position: pos, Kind: kind, Says: fmt.Sprintf(format, args...), Text: r.b.Line(pos), Width: 1}})
}

// once drops what is said twice of one place in the same words.
func (r *reviewer) once() {
	type key struct {
		pos        rulebase.Position
		kind, says string
	}
	seen := map[key]bool{}
	r.found = slices.DeleteFunc(r.found, func(f Finding) bool {
		k := key{f.Position, f.Kind, f.Says}
		again := seen[k]
		seen[k] = true
		return again
	})
}

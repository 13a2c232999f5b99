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

// Review looks a rulebase over. The cases are its rule tests. All findings come
// back in the order of their places, the accepted ones among them.
//
// A comment `# accept KIND: reason` accepts the findings of one kind: those on
// its own line or, where it stands alone, on the next line; where that line
// begins an entry, those of the whole entry; a section, those of the section in
// this file; the header, those of the whole layer.
func Review(b *rulebase.Base, cases []rulebase.Situation) []Finding {
	r := newReviewer(b, cases)
	for _, p := range b.Remarks() {
		r.found = append(r.found, Finding{Problem: p})
	}
	for _, check := range checks {
		check(r)
	}
	r.once()
	r.accept()
	for i := range r.found {
		r.found[i].Layer = b.LayerOf(r.found[i].Position)
	}
	slices.SortStableFunc(r.found, func(x, y Finding) int {
		return cmp.Or(x.Layer-y.Layer, strings.Compare(x.File, y.File), x.Line-y.Line, x.Column-y.Column, strings.Compare(x.Kind, y.Kind))
	})
	return r.found
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
	found    []Finding
	ofText   map[string]map[string]bool // see words
}

func newReviewer(b *rulebase.Base, cases []rulebase.Situation) *reviewer {
	r := &reviewer{b: b, cases: cases, ofText: map[string]map[string]bool{}}
	r.settings = settingsOf(b)
	return r
}

func (r *reviewer) say(pos rulebase.Position, kind, format string, args ...any) {
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

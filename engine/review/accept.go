package review

import (
	"cmp"
	"slices"
	"strings"

	"downdrop/rulebase"
	"downdrop/rulebase/source"
)

// An acceptance is a comment that accepts findings of one kind.
type acceptance struct {
	comment rulebase.Comment
	kind    string
	reason  string
	used    bool
}

// acceptances reads the comments. One that accepts nothing by its form is said.
func (r *reviewer) acceptances() []*acceptance {
	var all []*acceptance
	for _, c := range r.b.Comments() {
		rest, ok := strings.CutPrefix(c.Text, "accept ")
		if !ok {
			continue
		}
		kind, reason, _ := strings.Cut(rest, ":")
		a := &acceptance{comment: c, kind: strings.TrimSpace(kind), reason: strings.TrimSpace(reason)}
		switch _, known := Explain(a.kind); {
		case strings.Contains(a.kind, " "):
			// a sentence that begins with the word, and no acceptance
		case !known:
			r.say(c.Pos, "accept-unknown", "there is no kind of finding %q%s", a.kind, meant(a.kind))
		case a.reason == "":
			r.say(c.Pos, "accept-without-reason", "the comment accepts %s without a reason: say why behind a colon", a.kind)
		default:
			all = append(all, a)
		}
	}
	return all
}

func meant(kind string) string {
	if near := source.Nearest(kind, Names()); near != "" {
		return "; did you mean " + near + "?"
	}
	return ""
}

// accept marks what comments accept, and says which comments accept nothing.
func (r *reviewer) accept() {
	entries, below := r.entries(), r.overlaid()
	all := r.acceptances()
	by := map[string][]*acceptance{}
	for _, a := range all {
		by[a.kind] = append(by[a.kind], a)
	}
	for i := range r.found {
		f := &r.found[i]
		lines := []rulebase.Position{f.Position, r.b.SectionOf(f.Position), r.b.HeaderOf(r.b.LayerOf(f.Position))}
		for at, more := entryOf(entries, f.Position), true; more; at, more = changedBelow(below, at) {
			lines = append(lines, at) // what is accepted below an entry is so of one that changes a part of it
		}
		for _, a := range by[f.Kind] {
			if slices.ContainsFunc(lines, func(p rulebase.Position) bool { return p.File == a.comment.Pos.File && p.Line == a.comment.On }) {
				a.used = true
				f.Accepted = cmp.Or(f.Accepted, a.reason)
			}
		}
	}
	for _, a := range all {
		if on := (rulebase.Position{File: a.comment.Pos.File, Line: a.comment.On, Column: 1 << 20}); !a.used && below.lower[entryOf(entries, on)] == nil {
			r.say(a.comment.Pos, "accept-unused", "the comment accepts %s, and there is nothing of that kind here any more: take it out", a.kind)
		}
	}
}

// overlaid are the entries that stand for others, by their places and by those of the
// others.
type overlaid struct {
	upper, lower map[rulebase.Position]*rulebase.Entry
}

func (r *reviewer) overlaid() overlaid {
	o := overlaid{map[rulebase.Position]*rulebase.Entry{}, map[rulebase.Position]*rulebase.Entry{}}
	for _, e := range r.b.Entries() {
		if e.Over != nil {
			o.upper[e.Pos], o.lower[e.Over.Pos] = &e, &e
		}
	}
	return o
}

// changedBelow is the place of the lower entry that the one at a place changes a part of.
func changedBelow(o overlaid, at rulebase.Position) (lower rulebase.Position, changes bool) {
	e := o.upper[at]
	if e == nil || e.Over.Whole {
		return at, false
	}
	return e.Over.Pos, true
}

// entries are the places of all entries, sorted, those included that others stand for.
func (r *reviewer) entries() []rulebase.Position {
	var all []rulebase.Position
	b := r.b
	for i := range b.Givens {
		all = append(all, b.Givens[i].Pos)
	}
	for i := range b.Causes {
		all = append(all, b.Causes[i].Pos)
	}
	for i := range b.Conditions {
		all = append(all, b.Conditions[i].Pos)
	}
	for i := range b.Symptoms {
		all = append(all, b.Symptoms[i].Pos)
	}
	for i := range b.Rules {
		all = append(all, b.Rules[i].Pos)
	}
	for _, steps := range [][]rulebase.Step{b.Tests, b.Remedies} {
		for i := range steps {
			all = append(all, steps[i].Pos)
		}
	}
	for i := range b.Warnings {
		all = append(all, b.Warnings[i].Pos)
	}
	for i := range b.Sources {
		all = append(all, b.Sources[i].Pos)
	}
	for _, e := range b.Entries() {
		all = append(all, e.Pos)
	}
	slices.SortFunc(all, byPlace)
	return all
}

func byPlace(x, y rulebase.Position) int {
	return cmp.Or(strings.Compare(x.File, y.File), x.Line-y.Line, x.Column-y.Column)
}

// entryOf is where the entry begins that something stands in.
func entryOf(entries []rulebase.Position, p rulebase.Position) rulebase.Position {
	at, exact := slices.BinarySearchFunc(entries, p, byPlace)
	switch {
	case exact:
		return entries[at]
	case at == 0 || entries[at-1].File != p.File:
		return p
	}
	return entries[at-1]
}

package main

import (
	"context"
	"slices"
	"strings"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/rulebase"
)

// A lookUp finds what a store remembers of a serial. A list of returns rarely says the type,
// so all types count, and each is named.
type lookUp struct {
	base  *rulebase.Base
	store cases.Store
	units map[string][]string // ids by how their serial looks
}

// mostBefore is how many units and cases of one serial are told.
const mostBefore = 3

func newLookUp(ctx context.Context, base *rulebase.Base, store cases.Store) (*lookUp, error) {
	keys, err := store.Subjects(ctx, cases.AboutUnit)
	if err != nil {
		return nil, err
	}
	l := &lookUp{base: base, store: store, units: map[string][]string{}}
	for _, key := range keys {
		_, serial := cases.KeyParts(key)
		looks := cases.SerialLooksLike(serial)
		l.units[looks] = append(l.units[looks], key)
	}
	return l, nil
}

// before gives sentences on units and cases of a serial. What only looks like it is said to,
// and nothing of it is told.
func (l *lookUp) before(ctx context.Context, serial string) ([]string, error) {
	var out, like []string
	for _, key := range l.units[cases.SerialLooksLike(serial)] {
		if _, its := cases.KeyParts(key); cases.Folded(its) != cases.Folded(serial) {
			like = append(like, report.UnitLike(spoken([]string{key})[0]))
			continue
		}
		card, err := cases.ReadUnit(ctx, l.store, key)
		if err != nil {
			return nil, err
		}
		if says := report.UnitBefore(card); says != "" {
			out = append(out, says)
		}
	}
	// The very serial comes first: newer cases of others that look like it would else take its place.
	same, err := l.store.Find(ctx, cases.Query{Serial: serial, Limit: mostBefore})
	if err != nil {
		return nil, err
	}
	for i := range same {
		out = append(out, report.CaseBefore(l.base, &same[i]))
	}
	found, err := l.store.Find(ctx, cases.Query{LooksLike: serial, Limit: mostBefore + len(same)})
	if err != nil {
		return nil, err
	}
	found = slices.DeleteFunc(found, func(s cases.Summary) bool { return cases.Folded(s.Serial) == cases.Folded(serial) })
	for _, s := range found[:min(len(found), mostBefore)] {
		like = append(like, report.UnitLike(strings.TrimSpace(s.Type+" "+s.Serial)))
	}
	if out = append(out, like...); len(out) > 2*mostBefore {
		out = out[:2*mostBefore]
	}
	return out, nil
}

package storetest

import (
	"math/rand/v2"
	"reflect"
	"slices"

	"testing"

	"downdrop/cases"
)

func lawChanged(t *testing.T, l *lab) {
	s := l.open("mill")
	c, ok := s.(cases.Changing)
	if !ok {
		return // only what keeps an index needs it
	}
	of := func(kind cases.SubjectKind, since cases.Mark) ([]string, cases.Mark, bool) {
		t.Helper()
		ids, now, known, err := c.Changed(ctx, kind, since)
		if err != nil {
			t.Fatal(err)
		}
		return ids, now, known
	}
	changed := func(since cases.Mark) ([]string, cases.Mark, bool) { t.Helper(); return of(cases.AboutCase, since) }
	if _, now, known := changed(cases.Mark{}); now != (cases.Mark{}) || !known {
		t.Errorf("an empty store: %+v, known %v", now, known)
	}
	far := l.written("quarry", 12, 4)
	r := rand.New(rand.NewPCG(4, 4))
	mark, none := cases.Mark{}, cases.Mark{}
	for round := range 12 {
		want := map[string]bool{}
		if r.IntN(3) == 0 && len(far) > 20 { // another site's, in whatever order
			part := far[:20]
			far = far[20:]
			l.imports(s, part)
			for _, e := range part {
				want[e.Subject.ID] = true
			}
		}
		for range r.IntN(4) {
			id := []string{"a", "b", "c", "d"}[r.IntN(4)]
			l.append(s, l.note(id, "again"))
			want[id] = true
		}
		wantUnits := map[string]bool{}
		for range r.IntN(3) {
			note := l.note([]string{"a", "biu/7"}[r.IntN(2)], "a unit may be named as a case is")
			note.Subject.Kind = cases.AboutUnit
			l.append(s, note)
			wantUnits[note.Subject.ID] = true
		}
		if units, _, known := of(cases.AboutUnit, mark); mark != none && (!known || !slices.Equal(units, sorted(wantUnits))) {
			t.Errorf("round %d: units %q, known %v, want %q", round, units, known, sorted(wantUnits))
		}
		ids, now, known := changed(mark)
		if mark == none {
			if known && now != mark {
				t.Errorf("round %d: before the first event, and it is known", round)
			}
		} else if got := sorted(want); !known || len(got)+len(ids) > 0 && !reflect.DeepEqual(ids, got) {
			t.Errorf("round %d: %q, known %v, want %q", round, ids, known, got)
		}
		if ids, again, known := changed(now); len(ids) > 0 || again != now || !known {
			t.Errorf("round %d: nothing was written, and %q changed", round, ids)
		}
		mark = now
	}
	for _, other := range []cases.Mark{{Row: mark.Row, Events: mark.Events, Hash: "00"}, {Row: mark.Row + 5, Events: mark.Events + 5, Hash: mark.Hash}, {Row: 1, Events: mark.Events, Hash: mark.Hash}} {
		if _, _, known := changed(other); known {
			t.Errorf("a mark of another store, %+v, is taken for one of this", other)
		}
	}
}

func sorted(ids map[string]bool) []string {
	var out []string
	for id := range ids {
		out = append(out, id)
	}
	slices.Sort(out)
	return out
}

package storetest

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/rulebase"
)

func unmarshal(text []byte, to any) error { return json.Unmarshal(text, to) }

// lawModel does the same to a store and to the obvious one, at random.
func lawModel(t *testing.T, l *lab) {
	for seed := range uint64(6) {
		s, m := l.other("mill"), NewModel("mill")
		far := NewModel("quarry")
		r := &random{rng: rand.New(rand.NewPCG(seed, 3)), l: l}
		elsewhere := &random{rng: r.rng, l: l}
		for range 60 {
			switch r.rng.IntN(10) {
			case 0: // a part of another site's events comes in
				if _, err := far.Append(ctx, elsewhere.drafts()...); err != nil && !errors.Is(err, cases.ErrConflict) {
					t.Fatal(err)
				}
				var some []cases.Event
				for _, e := range l.all(far) {
					if r.rng.IntN(3) > 0 {
						some = append(some, e)
					}
				}
				got, errGot := s.Import(ctx, values(some))
				want, errWant := m.Import(ctx, values(some))
				if got != want || (errGot == nil) != (errWant == nil) {
					t.Fatalf("import: %+v %v, want %+v %v", got, errGot, want, errWant)
				}
			case 1: // somebody else's cases go out there
				if _, err := far.Import(ctx, values(l.all(m))); err != nil {
					t.Fatal(err)
				}
			default:
				drafts := r.drafts()
				got, errGot := s.Append(ctx, drafts...)
				want, errWant := m.Append(ctx, drafts...)
				if (errGot == nil) != (errWant == nil) {
					t.Fatalf("append: %v, want %v", errGot, errWant)
				}
				l.same(got, want)
			}
			r.agree(t, s, m)
		}
		l.same(l.all(s), l.all(m))
		l.whole(s)
	}
}

type random struct {
	rng *rand.Rand
	l   *lab
	ids []string
}

func (r *random) word(words ...string) string { return words[r.rng.IntN(len(words))] }

func (r *random) text() string {
	text := ""
	for range r.rng.IntN(5) {
		text += r.word("Kiln", "kil", "Äpfel", "apfel", "power_light", "W-100", "W 100", "１２", "12", "ß", "ofthe", "\u0130x", "l") + r.word(" ", "\n", "")
	}
	return text
}

func (r *random) drafts() []cases.Draft {
	var out []cases.Draft
	for range 1 + r.rng.IntN(4) {
		id := fmt.Sprint("c", r.rng.IntN(6))
		var d cases.Draft
		switch r.rng.IntN(9) {
		case 0, 1:
			d = r.l.draft(id, cases.KindOpened, cases.Opening{Code: r.word("", cases.NewCode(uint64(r.rng.IntN(3)))), Location: r.word("", "Kiln  1", "kiln 1", "Stacker"),
				Unit: cases.Unit{Serial: r.word("", "B0O1", "8001", "b0o1", "S-5")}, Complaint: r.text()})
		case 2:
			d = r.l.draft(id, cases.KindFinding, cases.FindingBody{Symptom: r.word("power_light", "hum"), Value: cases.ValueBody{Word: r.word("dark", "lit")}})
		case 3:
			d = r.l.draft(id, cases.KindReference, cases.Reference{Kind: "other", Text: r.word("W-100", "w-100", "X")})
		case 4:
			d = r.l.draft(id, cases.KindClosed, cases.Closing{Causes: []string{r.word("fuse", "unit")}, Outcome: string(rulebase.Well)})
		case 5:
			d = r.l.draft(id, cases.KindReopened, cases.Reason{})
		case 6:
			d = r.l.draft(id, cases.KindTakenBack, cases.Reason{})
			if len(r.ids) > 0 {
				d.Corrects = r.ids[r.rng.IntN(len(r.ids))]
			}
		default:
			d = r.l.note(id, r.text())
		}
		switch r.rng.IntN(20) {
		case 0:
			d.Subject.Kind = cases.AboutUnit
		case 1, 2:
			d = r.aboutUnit(d)
		}
		if len(r.ids) > 0 && r.rng.IntN(20) == 0 {
			d.ID = r.ids[r.rng.IntN(len(r.ids))] // mostly a conflict
		}
		r.ids = append(r.ids, d.ID)
		out = append(out, d)
		if r.rng.IntN(8) == 0 {
			out = append(out, d) // the same again
		}
	}
	return out
}

// aboutUnit is an entry about a unit, as often as not one that does not fit where it stands.
func (r *random) aboutUnit(d cases.Draft) cases.Draft {
	about := cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(cases.Unit{Type: "compact", Serial: r.word("A1", "A2")})}
	if d.Kind != cases.KindTakenBack {
		d.Kind, d.Body = cases.KindReceived, cases.Body(cases.Receipt{Complaint: r.text()})
		if r.rng.IntN(3) > 0 {
			d.Kind, d.Body = cases.KindMoved, cases.Body(cases.Move{To: cases.ShopStates[r.rng.IntN(len(cases.ShopStates))], Why: r.text()})
		}
	}
	d.Subject = about
	return d
}

// agree asks both the same.
func (r *random) agree(t *testing.T, s, m cases.Store) {
	t.Helper()
	q := cases.Query{}
	fill := func(to *string, words ...string) {
		if r.rng.IntN(6) == 0 {
			*to = r.word(words...)
		}
	}
	fill(&q.Text, r.text(), r.text(), "ki", "x", " ", "light dark")
	fill(&q.Location, "KILN 1", "stacker", " ")
	fill(&q.Serial, "b0o1", "8001", "s-5")
	fill(&q.LooksLike, "B001", "55", "-")
	fill(&q.Symptom, "hum", "power_light", "none")
	fill(&q.Cause, "fuse", "unit")
	fill(&q.Reference, "W-100", "x ")
	fill((*string)(&q.State), string(cases.StateOpen), string(cases.StateClosed))
	q.Unsettled = r.rng.IntN(8) == 0
	if r.rng.IntN(8) == 0 {
		q.From = day.Add(time.Duration(r.rng.IntN(300)) * time.Second)
	}
	if r.rng.IntN(8) == 0 {
		q.To = day.Add(time.Duration(r.rng.IntN(300)) * time.Second)
	}
	q.Limit = r.rng.IntN(4)
	want, err := m.Find(ctx, q)
	if err != nil {
		t.Fatal(err)
	}
	got, err := s.Find(ctx, q)
	if err != nil {
		t.Fatal(err)
	}
	if len(got)+len(want) > 0 && !reflect.DeepEqual(got, want) {
		t.Fatalf("%+v\nfound %+v\nwant  %+v", q, got, want)
	}
	r.agreeOnUnits(t, s, m)
	for _, id := range []string{fmt.Sprint("c", r.rng.IntN(7)), cases.NewCode(uint64(r.rng.IntN(3)))} {
		got, errGot := s.Case(ctx, id)
		want, errWant := m.Case(ctx, id)
		if (errGot == nil) != (errWant == nil) || errGot == nil && got.ID != want.ID || errWant != nil && errGot.Error() != errWant.Error() {
			t.Fatalf("case %s: %v %v, want %v %v", id, got, errGot, want, errWant)
		}
		if errGot == nil {
			r.l.same(got.Events, want.Events)
		}
	}
}

// agreeOnUnits compares the units that both hold.
func (r *random) agreeOnUnits(t *testing.T, s, m cases.Store) {
	t.Helper()
	cards := func(s cases.Store) (out []*cases.Card) {
		if err := cases.Units(ctx, s, func(c *cases.Card) error { out = append(out, c); return nil }); err != nil {
			t.Fatal(err)
		}
		return out
	}
	got, want := cards(s), cards(m)
	if len(got)+len(want) > 0 && !reflect.DeepEqual(got, want) {
		t.Fatalf("units %+v\nwant  %+v", got, want)
	}
	for _, kind := range []cases.SubjectKind{cases.AboutCase, cases.AboutLocation} {
		got, errGot := s.Subjects(ctx, kind)
		want, errWant := m.Subjects(ctx, kind)
		if errGot != nil || errWant != nil || !slices.Equal(got, want) {
			t.Fatalf("%s: %v %v, want %v %v", kind, got, errGot, want, errWant)
		}
	}
}

func lawPages(t *testing.T, l *lab) {
	s := l.open("quarry")
	l.imports(s, l.written("quarry", 70, 8))
	m := NewModel("quarry")
	if _, err := m.Import(ctx, values(l.all(s))); err != nil {
		t.Fatal(err)
	}
	for _, q := range []cases.Query{{Limit: 7}, {Limit: 7, Text: "o"}, {Limit: 3, Cause: "unit_dead"}, {}, {State: cases.StateClosed, Text: "storm"}} {
		n := 0
		for {
			got, err := s.Find(ctx, q)
			if err != nil {
				t.Fatal(err)
			}
			want, err := m.Find(ctx, q)
			if err != nil {
				t.Fatal(err)
			}
			if len(got)+len(want) > 0 && !reflect.DeepEqual(got, want) {
				t.Fatalf("%+v\nfound %+v\nwant  %+v", q, got, want)
			}
			if n += len(got); len(got) == 0 {
				break
			}
			q.After = got[len(got)-1].ID
		}
		if n == 0 {
			t.Errorf("%+v finds nothing", q)
		}
	}
}

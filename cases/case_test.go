package cases_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"downdrop/cases"
	"downdrop/rulebase"
)

// writer seals drafts about one case, as a store does.
type writer struct {
	head   cases.Head
	order  int64
	n      int
	events []cases.Event
}

func (w *writer) write(t interface{ Fatal(...any) }, drafts ...cases.Draft) {
	for _, d := range drafts {
		w.n++
		w.order++
		d.ID, d.Subject = fmt.Sprintf("e%d", w.n), cases.Subject{Kind: cases.AboutCase, ID: "c1"}
		d.At = time.Date(2031, 5, 4, 3, 2, w.n, 0, time.UTC)
		e, err := cases.Seal(d, "mill", w.head, w.order)
		if err != nil {
			t.Fatal(err)
		}
		w.head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		w.events = append(w.events, e)
	}
}

func draft(kind cases.Kind, body any) cases.Draft {
	return cases.Draft{Kind: kind, Version: 1, Body: cases.Body(body)}
}

func anyValue(t *rapid.T) rulebase.Value {
	if rapid.Bool().Draw(t, "number") {
		return rulebase.Value{IsNumber: true, Number: rapid.Float64Range(-1e9, 1e9).Draw(t, "x"), Word: rapid.StringMatching(`[0-9.]{0,4}`).Draw(t, "text")}
	}
	return rulebase.Value{Word: rapid.StringMatching(`[a-z]{1,5}`).Draw(t, "word")}
}

func anySituation(t *rapid.T, from rulebase.Situation) rulebase.Situation {
	s := from.Clone()
	cut := func(n int) int { return rapid.IntRange(0, n).Draw(t, "cut") }
	s.Findings = s.Findings[:cut(len(s.Findings))]
	s.Givens = s.Givens[:cut(len(s.Givens))]
	s.Done = s.Done[:cut(len(s.Done))]
	for range rapid.IntRange(0, 3).Draw(t, "more") {
		f := rulebase.Finding{Symptom: rapid.StringMatching(`[a-z]{1,3}`).Draw(t, "symptom"), Value: anyValue(t), Now: rapid.Bool().Draw(t, "now")}
		if rapid.Bool().Draw(t, "sure") {
			sure := rapid.Float64Range(0, 1).Draw(t, "how")
			f.Sure = &sure
		}
		s.Findings = append(s.Findings, f)
		s.Givens = append(s.Givens, rulebase.GivenValue{ID: "g", Value: anyValue(t)})
		s.Done = append(s.Done, rulebase.Done{ID: "r", Drop: rapid.SampledFrom([]rulebase.DropNow{"", rulebase.Well}).Draw(t, "drop")})
	}
	if rapid.Bool().Draw(t, "tools") {
		s.Tools = rapid.SampledFrom([][]string{nil, {}, {"meter"}}).Draw(t, "which")
		s.Who = rapid.SampledFrom([]rulebase.Who{rulebase.Anybody, rulebase.Technician}).Draw(t, "who")
		s.Drops = rapid.SampledFrom([]map[int]string{nil, {3: "dead"}}).Draw(t, "drops")
		s.Alone = rapid.Bool().Draw(t, "alone")
	}
	return s
}

// Whatever a door did to the situation, the events written for it fold to it again.
func TestChangesFoldToTheSituation(t *testing.T) {
	same := cmp.Options{cmpopts.IgnoreTypes(rulebase.Position{}), cmpopts.EquateEmpty()}
	rapid.Check(t, func(t *rapid.T) {
		var w writer
		w.write(t, draft(cases.KindOpened, cases.Opening{Location: "Weir"}))
		for range rapid.IntRange(1, 4).Draw(t, "turns") {
			c := cases.Fold(w.events)
			after := anySituation(t, c.Situation)
			w.write(t, c.Changes(after)...)
			got := cases.Fold(w.events)
			if d := cmp.Diff(after, got.Situation, same); d != "" {
				t.Fatalf("folded to another situation (-meant +folded):\n%s", d)
			}
			if (after.Tools == nil) != (got.Situation.Tools == nil) {
				t.Fatalf("no tools and every tool were mixed up: %v %v", after.Tools, got.Situation.Tools)
			}
			if more := got.Changes(got.Situation); len(more) > 0 {
				t.Fatalf("nothing changed, yet %d events would be written", len(more))
			}
		}
		mixed := rapid.Permutation(w.events).Draw(t, "mixed")
		if d := cmp.Diff(cases.Fold(w.events).Situation, cases.Fold(append(mixed, mixed...)).Situation); d != "" {
			t.Fatalf("another order, another case:\n%s", d)
		}
	})
}

func TestChainShowsWhatWasTouched(t *testing.T) {
	var w writer
	for i := range 5 {
		w.write(t, draft(cases.KindNote, cases.Note{Text: fmt.Sprint("reading ", i)}))
	}
	check := func(events []cases.Event) error {
		var head cases.Head
		for _, e := range events {
			if err := e.Follows(head); err != nil {
				return err
			}
			head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		}
		return nil
	}
	if err := check(w.events); err != nil {
		t.Fatal(err)
	}
	touched := map[string]func([]cases.Event) []cases.Event{
		"a body":       func(e []cases.Event) []cases.Event { e[2].Body = json.RawMessage(`{"text":"reading 7"}`); return e },
		"a time":       func(e []cases.Event) []cases.Event { e[2].At = e[2].At.Add(time.Microsecond); return e },
		"a person":     func(e []cases.Event) []cases.Event { e[2].By = "p2"; return e },
		"one left out": func(e []cases.Event) []cases.Event { return slices.Delete(e, 2, 3) },
		"two swapped":  func(e []cases.Event) []cases.Event { e[2], e[3] = e[3], e[2]; return e },
		"hash renewed": func(e []cases.Event) []cases.Event {
			e[2].By = "p2"
			e[2].Hash, _ = e[2].Sum()
			return e
		},
	}
	for name, touch := range touched {
		if err := check(touch(slices.Clone(w.events))); !errors.Is(err, cases.ErrIntegrity) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The form that is hashed is stated for others to compute: this one was made
// with sha256sum from the form written out by hand.
func TestSumIsOfTheCanonicalForm(t *testing.T) {
	d := draft(cases.KindNote, nil)
	d.ID, d.Subject, d.At, d.Zone, d.Program = "n1", cases.Subject{Kind: cases.AboutCase, ID: "c1"}, time.Date(2031, 1, 2, 3, 4, 5, 678000, time.UTC), 60, "test"
	d.Body = json.RawMessage(`{ "text":"a<b \u00e9", "n": 1.50 }`)
	e, err := cases.Seal(d, "mill", cases.Head{}, 1)
	if err != nil {
		t.Fatal(err)
	}
	if want := `{"n":1.50,"text":"a<b é"}`; string(e.Body) != want {
		t.Errorf("the body is kept as %s, not as %s", e.Body, want)
	}
	const want = "8c841791a63eb5ed1baa3b3a4b6cac408824898264a0654374683e562b30faf1"
	if e.Hash != want {
		t.Errorf("hash %s, not %s", e.Hash, want)
	}
}

// What needs an escape has one, the shortest that JSON has (RFC 8259, 7), and nothing else has.
func TestTextsInTheCanonicalForm(t *testing.T) {
	for written, want := range map[string]string{`"a\nb"`: `"a\nb"`, `"a\u000ab"`: `"a\nb"`, `"a\u001fb"`: `"a\u001fb"`, `"\u00e9 \u6f22"`: `"é 漢"`, `"\u0022 \u005c"`: `"\" \\"`, `"\/ <&>~"`: `"/ <&>~"`} {
		if kept, err := cases.Canonical([]byte(`{"text":` + written + `}`)); err != nil || string(kept) != `{"text":`+want+`}` {
			t.Errorf("%s is kept as %s, %v", written, kept, err)
		}
	}
}

// Only the character NUL is refused, not a text that tells of it.
func TestATextThatLooksLikeNULIsKept(t *testing.T) {
	const body = `{"a":{"b":["says \\u0000"]},"c\\u0000":1}`
	if kept, err := cases.Canonical([]byte(body)); err != nil || string(kept) != body {
		t.Errorf("%s is kept as %s, %v", body, kept, err)
	}
	for _, body := range []string{`{"a":{"b":["\u0000"]}}`, `{"a\u0000":1}`, `{"a":"\\\u0000"}`} {
		if kept, err := cases.Canonical([]byte(body)); err == nil {
			t.Errorf("%s is kept as %s", body, kept)
		}
	}
}

func TestDraftsThatAreRefused(t *testing.T) {
	good := func() cases.Draft {
		d := draft(cases.KindNote, cases.Note{Text: "x"})
		d.ID, d.Subject = "n1", cases.Subject{Kind: cases.AboutCase, ID: "c1"}
		return d
	}
	for name, spoil := range map[string]func(*cases.Draft){
		"no id":             func(d *cases.Draft) { d.ID = "" },
		"an id with a /":    func(d *cases.Draft) { d.ID = "a/b" },
		"no subject":        func(d *cases.Draft) { d.Subject.ID = "" },
		"no kind":           func(d *cases.Draft) { d.Kind = "" },
		"no version":        func(d *cases.Draft) { d.Version = 0 },
		"a body of a list":  func(d *cases.Draft) { d.Body = json.RawMessage(`[]`) },
		"a body cut short":  func(d *cases.Draft) { d.Body = json.RawMessage(`{"a":`) },
		"more than a body":  func(d *cases.Draft) { d.Body = json.RawMessage(`{} {}`) },
		"a body of a novel": func(d *cases.Draft) { d.Body = cases.Body(cases.Note{Text: strings.Repeat("x", cases.MaxBody)}) },
	} {
		d := good()
		spoil(&d)
		if _, err := cases.Seal(d, "mill", cases.Head{}, 1); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
	if _, err := cases.Seal(good(), "mill", cases.Head{}, 1); err != nil {
		t.Error(err)
	}
}

func TestACaseFromCallToClosing(t *testing.T) {
	var w writer
	w.write(t,
		draft(cases.KindOpened, cases.Opening{Code: "K7Q4M", Location: "Weir house", Drop: 5, Unit: cases.Unit{Type: "BIU-A", Serial: "B0815"}, Complaint: "unit silent"}),
		draft(cases.KindPutIn, cases.PutIn{What: "jumper", Where: "terminals 3-4"}), // e2
		draft(cases.KindPutIn, cases.PutIn{What: "force", Where: "output 2"}),       // e3
		draft(cases.KindSetting, cases.Setting{Name: "address", When: "found", Value: "7"}),
		draft("from_tomorrow", map[string]int{"x": 1}),
		draft(cases.KindNote, cases.Note{Text: "typo"}), // e6
	)
	out := draft(cases.KindTakenOut, cases.Reason{})
	out.Corrects = "e2"
	back := draft(cases.KindTakenBack, cases.Reason{Why: "another case"})
	back.Corrects = "e6"
	w.write(t, out, back, draft(cases.KindWaiting, cases.WaitingFor{For: "part"}))

	c := cases.Fold(w.events)
	if c.State != cases.StateWaiting || c.Waiting.For != "part" || len(c.PutIn) != 1 || c.PutIn[0].Body.What != "force" || len(c.Standing()) != 1 {
		t.Errorf("state %s for %q, in place %v", c.State, c.Waiting.For, c.PutIn)
	}
	if len(c.Notes) != 0 || len(c.Unknown) != 1 || len(c.Events) != 9 {
		t.Errorf("notes %v, unknown %d, events %d", c.Notes, len(c.Unknown), len(c.Events))
	}
	if c.Setting("found", "address") != "7" || c.Setting("left", "address") != "" {
		t.Errorf("settings %v", c.Settings)
	}
	w.write(t, draft(cases.KindAccepted, cases.Accepted{Event: "e3", Why: "stays for the night"}),
		draft(cases.KindClosed, cases.Closing{Causes: []string{"fuse_open"}, Outcome: "part_replaced", UnitVerdict: cases.UnitGood}))
	c = cases.Fold(w.events)
	if s := c.Summary(); s.State != cases.StateClosed || s.InPlace != 1 || s.Causes[0] != "fuse_open" || len(c.Standing()) != 0 {
		t.Errorf("%+v", s)
	}
	w.write(t, draft(cases.KindReopened, cases.Reason{Why: "dark again"}))
	if c = cases.Fold(w.events); c.State != cases.StateOpen || c.Closing != nil {
		t.Errorf("reopened: %s", c.State)
	}
	if cases.Fold(nil) != nil {
		t.Error("a case of nothing")
	}
}

func TestSerialsThatLookAlike(t *testing.T) {
	for _, pair := range [][2]string{{"B0815", "8OBIS"}, {"SN-12", "5N l2"}, {"SN-12", "SN12"}, {"Z9", "29"}} {
		if a, b := cases.SerialLooksLike(pair[0]), cases.SerialLooksLike(pair[1]); a != b {
			t.Errorf("%q and %q look alike; %q %q", pair[0], pair[1], a, b)
		}
	}
	if cases.UnitKey(cases.Unit{Type: "a 1", Serial: "x"}) == cases.UnitKey(cases.Unit{Type: "a 2", Serial: "x"}) {
		t.Error("a serial counts with its type")
	}
}

// A warning counts as confirmed from the event on that says so. Where the case went on at another drop or
// place, or with another person, it does not; and what a later entry only carries on does not bring it back.
func TestConfirmedSince(t *testing.T) {
	was := cases.Circumstances{At: rulebase.Field, Who: "technician", Drop: 5, Confirmed: []string{"care", "dead"}}
	with := func(change func(*cases.Circumstances)) cases.Circumstances {
		b := was
		b.Confirmed = slices.Clone(was.Confirmed)
		change(&b)
		return b
	}
	for name, c := range map[string]struct {
		events []cases.Circumstances
		want   map[string]int // by warning: the event that said so, from 1
	}{
		"at once":                 {[]cases.Circumstances{was}, map[string]int{"care": 1, "dead": 1}},
		"carried on":              {[]cases.Circumstances{was, with(func(b *cases.Circumstances) { b.Tools = []string{"meter"} })}, map[string]int{"care": 1, "dead": 1}},
		"another one later":       {[]cases.Circumstances{with(func(b *cases.Circumstances) { b.Confirmed = []string{"dead"} }), was}, map[string]int{"dead": 1, "care": 2}},
		"taken back":              {[]cases.Circumstances{was, with(func(b *cases.Circumstances) { b.Confirmed = []string{"dead"} })}, map[string]int{"dead": 1}},
		"taken back and again":    {[]cases.Circumstances{was, with(func(b *cases.Circumstances) { b.Confirmed = []string{"dead"} }), was}, map[string]int{"dead": 1, "care": 3}},
		"another drop":            {[]cases.Circumstances{was, with(func(b *cases.Circumstances) { b.Drop = 6 })}, nil},
		"another place":           {[]cases.Circumstances{was, with(func(b *cases.Circumstances) { b.At = rulebase.Bench })}, nil},
		"another person":          {[]cases.Circumstances{was, with(func(b *cases.Circumstances) { b.Who = "operator" })}, nil},
		"a drop named first":      {[]cases.Circumstances{with(func(b *cases.Circumstances) { b.Drop = 0 }), was}, map[string]int{"care": 1, "dead": 1}},
		"another, and carried on": {[]cases.Circumstances{was, with(func(b *cases.Circumstances) { b.Who = "operator" }), with(func(b *cases.Circumstances) { b.Who, b.Tools = "operator", []string{"meter"} })}, nil},
		"another, and confirmed anew": {[]cases.Circumstances{was, with(func(b *cases.Circumstances) { b.Who, b.Confirmed = "operator", nil }),
			with(func(b *cases.Circumstances) { b.Who, b.Confirmed = "operator", []string{"care"} })}, map[string]int{"care": 3}},
		"confirmed while moving": {[]cases.Circumstances{with(func(b *cases.Circumstances) { b.Confirmed = []string{"dead"} }), with(func(b *cases.Circumstances) { b.Drop = 6 })}, map[string]int{"care": 2}},
	} {
		w := &writer{}
		for _, b := range c.events {
			w.write(t, draft(cases.KindSituation, b))
		}
		got := map[string]int{}
		for id, at := range cases.Fold(w.events).ConfirmedSince() {
			got[id] = at.Second()
		}
		if c.want == nil {
			c.want = map[string]int{}
		}
		if d := cmp.Diff(c.want, got); d != "" {
			t.Errorf("%s (-want +got):\n%s", name, d)
		}
	}
}

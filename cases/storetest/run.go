package storetest

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/sqlstore"
)

// A Place is where one store lives; opening it twice gives two clients of it.
type Place func(o sqlstore.Options) (cases.Store, error)

// A law is what every store must hold, and why.
type law struct {
	name, why string
	holds     func(t *testing.T, l *lab)
}

var laws = []law{
	{"what was appended is there when the store is opened again", "a call is answered by what the store returned", lawStays},
	{"a batch is appended whole or not at all", "half a remedy is worse than none", lawWhole},
	{"the same id twice is one event", "whoever is not sure whether it arrived sends it again", lawTwice},
	{"an id that says something else is a conflict", "an id must never change what was said", lawConflict},
	{"many writers make one chain (F02)", "phones, pages and terminals write at once", lawWriters},
	{"two people adding to one case lose nothing and see both", "the caller and the technician work on one case", lawTwoPeople},
	{"order follows what was known, not the clock (F10)", "clocks of phones are wrong", lawOrder},
	{"a clock that goes back is said (F10)", "an auditor asks why times run backwards", lawClock},
	{"events of other sites are kept byte for byte", "their hashes are the proof that nobody touched them", lawKept},
	{"import is idempotent and free of order (F12)", "bundles arrive twice and late", lawOrderFree},
	{"an export of chosen cases brings what is known of their units and locations (F12)", "a unit's way through the shop is asked for where its case is", lawChosen},
	{"an import that is cut off at any record and repeated is the import (F12)", "lines are cut", lawCutOff},
	{"a touched, forked or forged event is refused and nothing changes", "the chain is what finds damage", lawForged},
	{"an empty store takes a site over", "restoring and moving go on where the old store ended", lawTakeOver},
	{"a store does what the obvious store does", "the tables for finding must say what the events say", lawModel},
	{"what changed since a mark is known", "what is worked out from a store is brought up to date, not made anew", lawChanged},
	{"what is found is found in pages", "lists are long", lawPages},
	{"a name can be erased and no event changes", "somebody may ask for it", lawNames},
	{"files are kept once, by their content", "a rulebase is used by a thousand cases", lawFiles},
	{"kinds that nobody knows are kept", "newer programs write them", lawUnknown},
	{"texts of all kinds are kept as they are", "callers say what they like", lawTexts},
	{"long words are found by any part", "serials, addresses and links are pasted in", lawLongWords},
	{"a cancelled call changes nothing", "people hang up", lawCancelled},
	{"a whole store verifies, before and after rebuilding", "who cries wolf is not listened to", lawVerify},
	{"a store that was moved away takes nothing in", "whoever has it open still would part its chain", lawMoved},
	{"reading goes on while others write", "somebody always does", lawReaders},
}

// Run holds stores to all laws. place makes a fresh place for a store.
func Run(t *testing.T, place func(t *testing.T) Place) {
	for _, l := range laws {
		t.Run(strings.ReplaceAll(l.name, " ", "_"), func(t *testing.T) {
			l.holds(t, &lab{t: t, newPlace: place, place: place(t)})
			if t.Failed() {
				t.Logf("the law: %s, because %s", l.name, l.why)
			}
		})
	}
}

// A lab is what a law works with.
type lab struct {
	t        *testing.T
	newPlace func(t *testing.T) Place
	place    Place
	n        int
}

var ctx = context.Background()

// day is when the tests' events happen.
var day = time.Date(2031, 5, 4, 3, 2, 1, 0, time.UTC)

func (l *lab) open(site string) cases.Store { return l.at(l.place, site) }

func (l *lab) at(p Place, site string) cases.Store {
	l.t.Helper()
	s, err := p(sqlstore.Options{Site: site})
	if err != nil {
		l.t.Fatal(err)
	}
	l.t.Cleanup(func() { s.Close() })
	return s
}

// other opens a store of its own.
func (l *lab) other(site string) cases.Store { l.t.Helper(); return l.at(l.newPlace(l.t), site) }

func (l *lab) draft(subject string, kind cases.Kind, body any) cases.Draft {
	l.n++
	return cases.Draft{
		ID: fmt.Sprintf("d%d", l.n), Subject: cases.Subject{Kind: cases.AboutCase, ID: subject}, Kind: kind, Version: 1,
		At: day.Add(time.Duration(l.n) * time.Second), Zone: 120, Body: cases.Body(body),
	}
}

func (l *lab) note(subject, text string) cases.Draft {
	return l.draft(subject, cases.KindNote, cases.Note{Text: text})
}

func (l *lab) append(s cases.Store, drafts ...cases.Draft) []cases.Event {
	l.t.Helper()
	events, err := s.Append(ctx, drafts...)
	if err != nil {
		l.t.Fatal(err)
	}
	return events
}

func (l *lab) all(s cases.Store) []cases.Event {
	l.t.Helper()
	var out []cases.Event
	for e, err := range s.All(ctx) {
		if err != nil {
			l.t.Fatal(err)
		}
		out = append(out, e)
	}
	return out
}

func (l *lab) same(got, want []cases.Event) {
	l.t.Helper()
	if len(got) != len(want) {
		l.t.Fatalf("%d events, want %d", len(got), len(want))
	}
	for i := range got {
		if got[i].Hash != want[i].Hash || got[i].Check() != nil {
			l.t.Fatalf("event %d:\n%+v\nwant\n%+v", i, got[i], want[i])
		}
	}
}

func (l *lab) whole(s cases.Store) cases.Verified {
	l.t.Helper()
	v, err := s.Verify(ctx)
	if err != nil || len(v.Damage) > 0 {
		l.t.Fatalf("verify: %v %v", err, v.Damage)
	}
	return v
}

func (l *lab) fails(err, want error) {
	l.t.Helper()
	if !errors.Is(err, want) {
		l.t.Fatalf("the error is %v, want one that wraps %q", err, want)
	}
}

func values(events []cases.Event) iter.Seq2[cases.Event, error] {
	return func(yield func(cases.Event, error) bool) {
		for _, e := range events {
			if !yield(e, nil) {
				return
			}
		}
	}
}

func (l *lab) imports(s cases.Store, events []cases.Event) cases.Imported {
	l.t.Helper()
	done, err := s.Import(ctx, values(events))
	if err != nil {
		l.t.Fatal(err)
	}
	return done
}

// written makes a chain of invented events of a site.
func (l *lab) written(site string, howMany int, seed uint64) []cases.Event {
	l.t.Helper()
	var out []cases.Event
	for e, err := range Invented(site, howMany, seed) {
		if err != nil {
			l.t.Fatal(err)
		}
		out = append(out, e)
	}
	return out
}

func lawStays(t *testing.T, l *lab) {
	s := l.open("mill")
	want := l.append(s, l.note("c1", "one"), l.note("c2", "two"))
	want = append(want, l.append(s, l.note("c1", "three"))...)
	l.same(l.all(s), want)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = l.open("")
	l.same(l.all(s), want)
	if s.Site() != "mill" {
		t.Errorf("it is site %q now", s.Site())
	}
	about, err := s.Events(ctx, cases.Subject{Kind: cases.AboutCase, ID: "c1"})
	if err != nil {
		t.Fatal(err)
	}
	l.same(about, []cases.Event{want[0], want[2]})
	if none, err := s.Events(ctx, cases.Subject{Kind: cases.AboutUnit, ID: "c1"}); err != nil || len(none) != 0 {
		t.Errorf("about a unit of that id: %v %v", none, err)
	}
	heads, err := s.Heads(ctx)
	if err != nil || !maps.Equal(heads, map[string]cases.Head{"mill": {Seq: 3, Hash: want[2].Hash}}) {
		t.Errorf("heads %v %v", heads, err)
	}
}

func lawWhole(t *testing.T, l *lab) {
	s := l.open("mill")
	bad := l.note("c1", "bad")
	bad.Version = 0
	if _, err := s.Append(ctx, l.note("c1", "good"), bad); err == nil {
		t.Fatal("a draft without a version was taken")
	}
	if n := len(l.all(s)); n != 0 {
		t.Fatalf("%d events of a batch that was refused", n)
	}
	if _, err := s.Case(ctx, "c1"); !errors.Is(err, cases.ErrNotFound) {
		t.Errorf("its case: %v", err)
	}
	if events, err := s.Append(ctx); err != nil || len(events) != 0 {
		t.Errorf("nothing appended: %v %v", events, err)
	}
}

func lawTwice(t *testing.T, l *lab) {
	s, other := l.open("mill"), l.open("")
	d := l.note("c1", "once")
	first := l.append(s, d, d)
	d.At = d.At.Add(time.Hour)
	for _, again := range [][]cases.Event{first[1:], l.append(s, d), l.append(other, d)} {
		l.same(again, first[:1])
	}
	mixed := l.append(other, l.note("c1", "new"), d)
	l.same(mixed[1:], first[:1])
	l.same(l.all(s), []cases.Event{first[0], mixed[0]})
}

func lawConflict(t *testing.T, l *lab) {
	s := l.open("mill")
	d := l.note("c1", "this")
	first := l.append(s, d)
	other := l.note("c1", "that")
	other.ID = d.ID
	_, err := s.Append(ctx, l.note("c1", "not kept"), other)
	l.fails(err, cases.ErrConflict)
	l.same(l.all(s), first)
}

func lawWriters(t *testing.T, l *lab) {
	const clients, each = 4, 12
	var wg sync.WaitGroup
	l.open("mill")
	for c := range clients {
		s := l.open("")
		for g := range 2 {
			wg.Go(func() {
				for i := range each {
					d := cases.Draft{ID: fmt.Sprintf("w%d-%d-%d", c, g, i), Subject: cases.Subject{Kind: cases.AboutCase, ID: fmt.Sprint("c", i%3)},
						Kind: cases.KindNote, Version: 1, At: day, Body: cases.Body(cases.Note{Text: "at once"})}
					if _, err := s.Append(ctx, d); err != nil {
						t.Error(err)
					}
				}
			})
		}
	}
	wg.Wait()
	s := l.open("")
	head := cases.Head{}
	for _, e := range l.all(s) {
		if err := e.Follows(head); err != nil {
			t.Fatal(err)
		}
		head = cases.Head{Seq: e.Seq, Hash: e.Hash}
	}
	if head.Seq != clients*2*each {
		t.Fatalf("%d events in the chain, %d were acknowledged", head.Seq, clients*2*each)
	}
	l.whole(s)
}

func lawTwoPeople(t *testing.T, l *lab) {
	a, b := l.open("mill"), l.open("")
	l.append(a, l.draft("c1", cases.KindOpened, cases.Opening{Location: "kiln"}))
	var wg sync.WaitGroup
	for who, s := range map[string]cases.Store{"a": a, "b": b} {
		wg.Go(func() {
			for i := range 20 {
				d := cases.Draft{ID: fmt.Sprint(who, i), Subject: cases.Subject{Kind: cases.AboutCase, ID: "c1"}, Kind: cases.KindNote, Version: 1,
					At: day, By: who, Body: cases.Body(cases.Note{Text: fmt.Sprint(who, i)})}
				if _, err := s.Append(ctx, d); err != nil {
					t.Error(err)
				}
				c, err := s.Case(ctx, "c1")
				if err != nil {
					t.Error(err)
				} else if !slices.ContainsFunc(c.Notes, func(n cases.Said[cases.Note]) bool { return n.Body.Text == fmt.Sprint(who, i) }) {
					t.Errorf("%s does not see what it said last", who)
				}
			}
		})
	}
	wg.Wait()
	for _, s := range []cases.Store{a, b} {
		c, err := s.Case(ctx, "c1")
		if err != nil || len(c.Notes) != 40 {
			t.Fatalf("%v: %d notes, want all 40", err, len(c.Notes))
		}
		if found, err := s.Find(ctx, cases.Query{Text: "a19 b19 KILN"}); err != nil || len(found) != 1 {
			t.Errorf("found %v %v", found, err)
		}
	}
}

func lawOrder(t *testing.T, l *lab) {
	a, b := l.open("mill"), l.other("quarry")
	first := l.append(a, l.note("c1", "one"), l.note("c1", "two"))
	l.imports(b, first)
	late := l.note("c1", "three")
	late.At = day.AddDate(-20, 0, 0)
	answer := l.append(b, late)
	if answer[0].Order != first[1].Order+1 || answer[0].Seq != 1 {
		t.Errorf("what was written knowing of order %d has order %d", first[1].Order, answer[0].Order)
	}
	l.imports(a, l.all(b))
	c, err := a.Case(ctx, "c1")
	if err != nil || len(c.Notes) != 3 || c.Notes[2].Body.Text != "three" {
		t.Fatalf("%v, notes %v", err, c.Notes)
	}
	if other := l.append(a, l.note("c9", "apart")); other[0].Order != 1 {
		t.Errorf("another subject begins at order %d", other[0].Order)
	}
}

func lawClock(t *testing.T, l *lab) {
	s := l.open("mill")
	at := func(text string, by time.Duration) cases.Draft {
		d := l.note("c1", text)
		d.At = day.Add(by)
		return d
	}
	jumps := func() (seconds []float64) {
		for _, e := range l.all(s) {
			if e.Kind == cases.KindClockJump {
				var body cases.ClockJump
				if err := unmarshal(e.Body, &body); err != nil {
					t.Error(err)
				}
				seconds = append(seconds, body.Seconds)
			}
		}
		return seconds
	}
	back := at("back", -23*time.Hour)
	l.append(s, at("start", 0), at("a little back", -time.Minute), at("an hour on", time.Hour), at("ten years on", 10*365*24*time.Hour), at("and back", 2*time.Hour))
	l.append(s, back)
	l.append(s, back) // again: nothing new is said
	l.append(s, at("1970", day.Sub(time.Unix(0, 0))*-1))
	want := []float64{-(10*365*24 - 2) * 3600, -25 * 3600, -(day.Sub(time.Unix(0, 0)).Seconds() - 23*3600)}
	if got := jumps(); !slices.Equal(got, want) {
		t.Errorf("jumps of %v seconds, want %v", got, want)
	}
	c, err := s.Case(ctx, "c1")
	if err != nil {
		t.Fatal(err)
	}
	var texts []string
	for _, n := range c.Notes {
		texts = append(texts, n.Body.Text)
	}
	if got := strings.Join(texts, ", "); got != "start, a little back, an hour on, ten years on, and back, back, 1970" {
		t.Errorf("in the order %s", got)
	}
	l.whole(s)
}

func lawKept(t *testing.T, l *lab) {
	s := l.open("mill")
	theirs := l.written("quarry", 3, 1)
	l.append(s, l.note(theirs[0].Subject.ID, "ours"))
	if done := l.imports(s, theirs); done != (cases.Imported{Added: len(theirs)}) {
		t.Errorf("%+v", done)
	}
	l.same(l.all(s)[1:], theirs)
	l.whole(s)
	part := l.other("harbour")
	var one []cases.Event
	for _, e := range theirs {
		if e.Subject == theirs[0].Subject {
			one = append(one, e)
		}
	}
	gaps := 0
	for i, e := range one {
		if e.Seq > 1 && (i == 0 || one[i-1].Seq != e.Seq-1) {
			gaps++
		}
	}
	if done := l.imports(part, one); done.Gaps != gaps || gaps == 0 {
		t.Errorf("one case handed over alone leaves %d gaps, want %d", done.Gaps, gaps)
	}
	l.whole(part) // gaps in another site's chain are no damage
	if done := l.imports(part, theirs); done != (cases.Imported{Added: len(theirs) - len(one), Known: len(one)}) {
		t.Errorf("the rest: %+v", done)
	}
	l.whole(part)
}

func lawOrderFree(t *testing.T, l *lab) {
	events := slices.Concat(l.written("quarry", 2, 1), l.written("harbour", 2, 2))
	a := l.open("mill")
	l.imports(a, events)
	want := l.all(a)
	for round := range 3 {
		s := l.other("mill")
		rng := rand.New(rand.NewPCG(uint64(round), 1))
		rng.Shuffle(len(events), func(i, j int) { events[i], events[j] = events[j], events[i] })
		for part := range slices.Chunk(events, 17) {
			l.imports(s, part)
			l.imports(s, part[:len(part)/2])
		}
		l.same(l.all(s), want)
		if done := l.imports(s, events); done != (cases.Imported{Known: len(events)}) {
			t.Errorf("once more: %+v", done)
		}
		l.whole(s)
	}
}

func lawChosen(t *testing.T, l *lab) {
	s := l.open("mill")
	about := func(kind cases.SubjectKind, id string, k cases.Kind, body any) cases.Draft {
		d := l.draft("", k, body)
		d.Subject = cases.Subject{Kind: kind, ID: id}
		return d
	}
	ours, other := cases.Unit{Type: "BIU-2", Serial: "B0815"}, cases.Unit{Type: "BIU-2", Serial: "B0816"}
	papers, err := s.PutFile(ctx, []byte("prices"))
	if err != nil {
		t.Fatal(err)
	}
	l.append(s, l.draft("c1", cases.KindOpened, cases.Opening{Location: "Tide mill", Unit: cases.Unit{Type: "biu-2"}}))
	l.append(s, about(cases.AboutUnit, cases.UnitKey(other), cases.KindReceived, cases.Receipt{Unit: other}))
	l.append(s, about(cases.AboutUnit, cases.UnitKey(ours), cases.KindReceived, cases.Receipt{Unit: ours, Cases: []string{"c1"}}))
	l.append(s, l.draft("c1", cases.KindAbout, cases.Opening{Unit: cases.Unit{Serial: "b0815"}}), l.draft("c2", cases.KindOpened, cases.Opening{Location: "Lock 4"}))
	l.append(s, about(cases.AboutLocation, cases.LocationKey("tide mill"), cases.KindNote, cases.Note{Text: "the key is with the miller"}))
	l.append(s, about(cases.AboutUnit, cases.UnitKey(ours), cases.KindOffer, cases.Offer{Digest: papers}), about(cases.AboutLocation, cases.LocationKey("Lock 5"), cases.KindNote, cases.Note{}))
	l.append(s, l.draft("c3", cases.KindOpened, cases.Opening{Location: "TIDE mill", Unit: ours}))

	one, two := l.exported(s, "c1"), l.exported(s, "c3", "c2", "c1")
	to, back := l.other("harbour"), l.other("harbour")
	for i, texts := range [][]string{{one, two, one}, {two, one, two}} {
		store := []cases.Store{to, back}[i]
		for _, text := range texts {
			if _, err := cases.ImportFrom(ctx, store, strings.NewReader(text), false); err != nil {
				t.Fatal(err)
			}
		}
		l.whole(store)
	}
	l.same(l.all(back), l.all(to))
	if len(l.all(to)) != 7 {
		t.Errorf("%d events came along, want 7: those of the cases, of one unit and of one location", len(l.all(to)))
	}
	card, err := cases.ReadUnit(ctx, to, cases.UnitKey(ours))
	if err != nil || len(card.Stays) != 1 || len(card.Events) != 2 {
		t.Errorf("the unit's card: %+v, %v", card, err)
	}
	if _, err := to.File(ctx, papers); err != nil {
		t.Errorf("the unit's papers: %v", err)
	}
	l.same(l.all(l.from(one)), l.all(l.from(l.exported(to, "c1"))))
}

// exported is an export of some cases.
func (l *lab) exported(s cases.Store, ids ...string) string {
	l.t.Helper()
	var b strings.Builder
	if _, err := cases.Export(ctx, s, &b, cases.ExportOptions{Cases: ids}); err != nil {
		l.t.Fatal(err)
	}
	return b.String()
}

// from is a new store that took an export in.
func (l *lab) from(text string) cases.Store {
	l.t.Helper()
	s := l.other("weir")
	if _, err := cases.ImportFrom(ctx, s, strings.NewReader(text), false); err != nil {
		l.t.Fatal(err)
	}
	return s
}

func lawCutOff(t *testing.T, l *lab) {
	events := l.written("quarry", 1, 3)
	cut := errors.New("the line is cut")
	s := l.open("mill")
	for n := range events {
		_, err := s.Import(ctx, func(yield func(cases.Event, error) bool) {
			for _, e := range events[:n] {
				if !yield(e, nil) {
					return
				}
			}
			yield(cases.Event{}, cut)
		})
		l.fails(err, cut)
	}
	l.whole(s)
	l.imports(s, events)
	l.same(l.all(s), events)
	l.whole(s)
}

func lawForged(t *testing.T, l *lab) {
	s := l.open("mill")
	own := l.append(s, l.note("c1", "ours"))
	theirs := l.written("quarry", 1, 4)
	l.imports(s, theirs[:3])
	before := l.all(s)
	touch := func(i int, how func(*cases.Event)) []cases.Event {
		e := theirs[i]
		how(&e)
		return []cases.Event{e}
	}
	again := func(e *cases.Event) {
		var err error
		if e.Hash, err = e.Sum(); err != nil {
			t.Fatal(err)
		}
	}
	forgeries := map[string]struct {
		events []cases.Event
		want   error
	}{
		"a word changed":         {touch(3, func(e *cases.Event) { e.By = "nobody" }), cases.ErrIntegrity},
		"a blank in a body":      {touch(3, func(e *cases.Event) { e.Body = append([]byte(" "), e.Body...); again(e) }), cases.ErrIntegrity},
		"a fork":                 {touch(1, func(e *cases.Event) { e.ID = "forked"; again(e) }), cases.ErrConflict},
		"an id taken":            {touch(3, func(e *cases.Event) { e.ID = theirs[0].ID; again(e) }), cases.ErrConflict},
		"not after the one held": {touch(3, func(e *cases.Event) { e.Prev = theirs[0].Hash; again(e) }), cases.ErrIntegrity},
		"a hash in capitals":     {touch(3, func(e *cases.Event) { e.Prev = strings.ToUpper(e.Prev); again(e) }), cases.ErrIntegrity},
		"said to be ours": {touch(3, func(e *cases.Event) {
			e.Site, e.Seq, e.Prev = "mill", own[0].Seq+1, own[0].Hash
			again(e)
		}), cases.ErrIntegrity},
		"a good one and a bad one": {append(touch(3, func(*cases.Event) {}), touch(4, func(e *cases.Event) { e.Kind = "x" })...), cases.ErrIntegrity},
	}
	for name, f := range forgeries {
		if _, err := s.Import(ctx, values(f.events)); !errors.Is(err, f.want) {
			t.Errorf("%s: %v, want %v", name, err, f.want)
		}
	}
	l.same(l.all(s), before)
	l.whole(s)
	l.imports(s, theirs)
	// Before one that is held.
	s = l.other("mill")
	l.imports(s, theirs[1:2])
	_, err := s.Import(ctx, values(touch(0, func(e *cases.Event) { e.By = "nobody"; again(e) })))
	l.fails(err, cases.ErrIntegrity)
}

func lawTakeOver(t *testing.T, l *lab) {
	old := l.written("quarry", 2, 5)
	s := l.open("mill")
	s.Close()
	s = l.open("quarry")
	l.imports(s, old)
	next := l.append(s, l.note("c1", "and on"))
	if err := next[0].Follows(cases.Head{Seq: old[len(old)-1].Seq, Hash: old[len(old)-1].Hash}); err != nil {
		t.Error(err)
	}
	l.whole(s)
	if _, err := l.place(sqlstore.Options{Site: "mill"}); !errors.Is(err, cases.ErrUnavailable) {
		t.Errorf("a store with events became that of another site: %v", err)
	}
}

func lawNames(t *testing.T, l *lab) {
	s := l.open("mill")
	d := l.note("c1", "one")
	d.By = "p7"
	want := l.append(s, d)
	for _, name := range []string{"Somebody", "Somebody Else", "", "Émile ✓"} {
		if err := s.SetName(ctx, "p7", name); err != nil {
			t.Fatal(err)
		}
		if got, err := s.Name(ctx, "p7"); err != nil || got != name {
			t.Errorf("name %q %v, want %q", got, err, name)
		}
		l.same(l.all(s), want)
	}
	if got, err := s.Name(ctx, "p8"); got != "" || err != nil {
		t.Errorf("nobody is called %q %v", got, err)
	}
	l.whole(s)
}

func lawFiles(t *testing.T, l *lab) {
	s := l.open("mill")
	for _, content := range [][]byte{[]byte("x"), {}, []byte("x"), []byte("\x00\xff\n"), []byte(strings.Repeat("long ", 300_000))} {
		digest, err := s.PutFile(ctx, content)
		if err != nil {
			t.Fatal(err)
		}
		got, err := s.File(ctx, digest)
		if err != nil || string(got) != string(content) {
			t.Errorf("%d bytes came back as %d: %v", len(content), len(got), err)
		}
	}
	digests, err := s.Files(ctx)
	if err != nil || len(digests) != 4 || !slices.IsSorted(digests) || !slices.Contains(digests, "2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881") {
		t.Errorf("files %v %v; SHA-256 of x is one of them", digests, err)
	}
	_, err = s.File(ctx, "nothing")
	l.fails(err, cases.ErrNotFound)
	if v := l.whole(s); v.Files != 4 {
		t.Errorf("%d files verified", v.Files)
	}
}

func lawUnknown(t *testing.T, l *lab) {
	s := l.open("mill")
	want := l.append(s, l.note("c1", "known"),
		l.draft("c1", "smelled", map[string]any{"of": "burnt", "n": 1.50, "list": []any{nil, true}}), l.draft("c1", cases.KindNote, map[string]any{"text": 7}))
	l.same(l.all(s), want)
	c, err := s.Case(ctx, "c1")
	if err != nil || len(c.Unknown) != 2 || len(c.Notes) != 1 {
		t.Errorf("%v: %v", err, c)
	}
	l.whole(s)
}

func lawTexts(t *testing.T, l *lab) {
	s := l.open("mill")
	texts := []string{"", " ", "\n\t\r", `"\'` + "`$1 %_", "ÅÄÖ éàü", "e\u0301 vs é", "\u202e right to left", "漢字 テスト", "😀👩‍🔧", "\u2028\u2029", "a\ufffdb", "'; DROP TABLE events; --", strings.Repeat("x", 9_000)}
	var want []cases.Event
	for i, text := range texts {
		d := l.draft(fmt.Sprint("c", i), cases.KindOpened, cases.Opening{Location: text, Complaint: text, Unit: cases.Unit{Serial: text, Type: text}})
		d.By = string([]rune(text)[:min(30, len([]rune(text)))])
		want = append(want, l.append(s, d)...)
	}
	l.same(l.all(s), want)
	for i, text := range texts {
		c, err := s.Case(ctx, fmt.Sprint("c", i))
		if err != nil || c.Opening.Location != text || c.Opening.Complaint != text {
			t.Errorf("%.40q came back as %.40q %v", text, c.Opening.Complaint, err)
		}
	}
	bad := l.note("c1", "")
	bad.By = "not \xff UTF-8"
	if _, err := s.Append(ctx, bad); err == nil {
		t.Error("bytes that are no text were taken")
	}
	nul := l.note("c1", "a\x00b")
	if _, err := s.Append(ctx, nul); err == nil {
		t.Error("a NUL was taken")
	}
	l.whole(s)
}

func lawLongWords(t *testing.T, l *lab) {
	s := l.open("mill")
	rng := rand.New(rand.NewPCG(1, 1))
	long := make([]byte, 3000)
	for i := range long {
		long[i] = "abcdefg"[rng.IntN(7)]
	}
	l.append(s, l.note("c1", string(long)), l.note("c2", string(long[:1500])+"é"+string(long[:900])), l.note("c3", "abc"))
	for _, n := range []int{20, 128, 129, 300, 1000} {
		for range 8 {
			i := rng.IntN(len(long) - n)
			q := cases.Query{Text: string(long[i : i+n])}
			found, err := s.Find(ctx, q)
			if err != nil || len(found) == 0 {
				t.Fatalf("a part of %d letters at %d: %v %v", n, i, found, err)
			}
			for _, id := range []string{"c1", "c2", "c3"} {
				c, err := s.Case(ctx, id)
				if err != nil {
					t.Fatal(err)
				}
				if q.Holds(c) != slices.ContainsFunc(found, func(f cases.Summary) bool { return f.ID == id }) {
					t.Errorf("%d letters at %d: %s is found: %v", n, i, id, !q.Holds(c))
				}
			}
		}
	}
}

func lawCancelled(t *testing.T, l *lab) {
	s := l.open("mill")
	done, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := s.Append(done, l.note("c1", "x")); !errors.Is(err, context.Canceled) {
		t.Errorf("append: %v", err)
	}
	if _, err := s.Import(done, values(l.written("quarry", 1, 1))); !errors.Is(err, context.Canceled) {
		t.Errorf("import: %v", err)
	}
	if n := len(l.all(s)); n != 0 {
		t.Errorf("%d events", n)
	}
}

func lawVerify(t *testing.T, l *lab) {
	s := l.open("quarry")
	events := l.written("quarry", 8, 6)
	l.imports(s, events)
	v := l.whole(s)
	if v.Events != len(events) || v.Cases != 8 || v.Heads["quarry"].Seq != int64(len(events)) {
		t.Errorf("%+v", v)
	}
	r, ok := s.(interface{ Rebuild(context.Context) error })
	if !ok {
		return
	}
	before, err := s.Find(ctx, cases.Query{Text: "o", Limit: 100})
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Rebuild(ctx); err != nil {
		t.Fatal(err)
	}
	l.whole(s)
	after, err := s.Find(ctx, cases.Query{Text: "o", Limit: 100})
	if err != nil || len(before) == 0 || fmt.Sprint(before) != fmt.Sprint(after) {
		t.Errorf("%v: found %v, before %v", err, after, before)
	}
	l.append(s, l.note("c1", "and on"))
	l.whole(s)
}

func lawMoved(t *testing.T, l *lab) {
	s, other := l.open("mill"), l.open("")
	r, ok := s.(interface {
		Retire(ctx context.Context, to string) error
	})
	if !ok {
		return
	}
	want := l.append(other, l.note("c1", "before"))
	if err := r.Retire(ctx, "elsewhere"); err != nil {
		t.Fatal(err)
	}
	for _, client := range []cases.Store{s, other, l.open("")} {
		_, errAppend := client.Append(ctx, l.note("c1", "after"))
		_, errImport := client.Import(ctx, values(l.written("quarry", 1, 1)))
		_, errFile := client.PutFile(ctx, []byte("x"))
		for _, err := range []error{errAppend, errImport, errFile, client.SetName(ctx, "p", "Somebody")} {
			if !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), "elsewhere") {
				t.Errorf("it was written to after it was moved: %v", err)
			}
		}
		l.same(l.all(client), want)
	}
	if err := r.Retire(ctx, ""); err != nil {
		t.Fatal(err)
	}
	l.append(other, l.note("c1", "after all"))
	l.whole(s)
}

func lawReaders(t *testing.T, l *lab) {
	s, reader := l.open("mill"), l.open("")
	stop := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			default:
			}
			d := cases.Draft{ID: fmt.Sprint("r", i), Subject: cases.Subject{Kind: cases.AboutCase, ID: fmt.Sprint("c", i%5)}, Kind: cases.KindNote, Version: 1, At: day, Body: cases.Body(cases.Note{Text: fmt.Sprint("word", i)})}
			if _, err := s.Append(ctx, d); err != nil {
				t.Error(err)
				return
			}
		}
	})
	for range 15 {
		if v, err := reader.Verify(ctx); err != nil || len(v.Damage) > 0 {
			t.Errorf("while somebody writes: %v %v", err, v.Damage)
		}
		found, err := reader.Find(ctx, cases.Query{Text: "word"})
		if err != nil {
			t.Error(err)
		}
		for _, f := range found {
			if _, err := reader.Case(ctx, f.ID); err != nil {
				t.Error(err)
			}
		}
	}
	close(stop)
	wg.Wait()
}

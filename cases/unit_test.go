package cases_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/testdata/support"
)

// The ways through the shop, drawn apart from the table of the program: from, then what may
// follow.
const shopWays = `
received            : quarantined evaluated core_accepted core_refused returned_unrepaired
quarantined         : evaluated core_refused returned_unrepaired scrapped
evaluated           : quarantined awaiting_customer in_repair in_test core_accepted core_refused released returned_unrepaired scrapped
awaiting_customer   : quarantined in_repair in_test core_accepted core_refused released returned_unrepaired scrapped
in_repair           : quarantined awaiting_customer in_test returned_unrepaired scrapped
in_test             : quarantined evaluated awaiting_customer in_repair released returned_unrepaired scrapped
core_accepted       : quarantined evaluated in_repair in_test scrapped
core_refused        : quarantined returned_unrepaired scrapped
released            :
returned_unrepaired :
scrapped            :
`

func waysDrawn() map[string][]string {
	out := map[string][]string{}
	for line := range strings.Lines(strings.TrimSpace(shopWays)) {
		from, to, _ := strings.Cut(line, ":")
		out[strings.TrimSpace(from)] = strings.Fields(to)
	}
	return out
}

func TestWaysThroughTheShop(t *testing.T) {
	drawn := waysDrawn()
	if len(drawn) != len(cases.ShopStates) {
		t.Errorf("%d states are drawn, and there are %d", len(drawn), len(cases.ShopStates))
	}
	reached := map[string]bool{"received": true}
	for _, s := range cases.ShopStates {
		var to []string
		for _, next := range s.MayFollow() {
			to = append(to, string(next))
			reached[string(next)] = true
		}
		slices.Sort(to)
		want := slices.Sorted(slices.Values(drawn[string(s)]))
		if !slices.Equal(to, want) {
			t.Errorf("from %s to %v, drawn %v", s, to, want)
		}
	}
	for s := range drawn {
		if !reached[s] {
			t.Errorf("nothing leads to %s", s)
		}
	}
}

var unitDay = time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)

// unitEvents makes events of drafts about one unit, an hour apart unless they say when.
func unitEvents(t *testing.T, drafts ...cases.Draft) []cases.Event {
	t.Helper()
	var head cases.Head
	var out []cases.Event
	for i, d := range drafts {
		if d.ID == "" {
			d.ID = fmt.Sprint("e", i+1)
		}
		d.Subject = cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(cases.Unit{Type: "compact", Serial: "A1"})}
		if d.At.IsZero() {
			d.At = unitDay.Add(time.Duration(i) * time.Hour)
		}
		e, err := cases.Seal(d, "mill", head, head.Seq+1)
		if err != nil {
			t.Fatal(err)
		}
		head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		out = append(out, e)
	}
	return out
}

func moved(to cases.ShopState, more ...func(*cases.Move)) cases.Draft {
	m := cases.Move{To: to, Why: "because"}
	for _, f := range more {
		f(&m)
	}
	return cases.Say(cases.KindMoved, m)
}

func verdict(v string) func(*cases.Move) { return func(m *cases.Move) { m.Verdict = v } }

func received() cases.Draft {
	return cases.Say(cases.KindReceived, cases.Receipt{Unit: cases.Unit{Type: "Compact", Serial: "a1"}})
}

func stated(state string) cases.Draft {
	return cases.Say(cases.KindContamination, cases.Contamination{State: state})
}

func TestUnitRefusals(t *testing.T) {
	offer := cases.Say(cases.KindOffer, cases.Offer{Until: "2031-03-01", Ways: []cases.OfferedWay{{Way: "repair", Price: "640.00"}}})
	answer := func(way string, hours int) cases.Draft {
		d := cases.Say(cases.KindAnswer, cases.Answer{Offer: "e4", Way: way})
		d.At = unitDay.Add(time.Duration(hours) * time.Hour)
		return d
	}
	clean, bad := stated(cases.NotExposed), moved(cases.ShopEvaluated, verdict(cases.UnitBad))
	agreed := func(m *cases.Move) { m.Consent = "customer-7, letter of 3 March" }
	repair := cases.Move{To: cases.ShopInRepair, Why: "agreed"}
	repairAnyway := repair
	agreed(&repairAnyway)
	for _, c := range []struct {
		name  string
		said  []cases.Draft
		move  cases.Move
		wants cases.Refusal
	}{
		{"what does not follow", []cases.Draft{received()}, cases.Move{To: cases.ShopReleased, Why: "sent"}, cases.RefusedByTable},
		{"no reason", []cases.Draft{received()}, cases.Move{To: cases.ShopQuarantined}, cases.RefusedNoWhy},
		{"kept apart needs no statement", []cases.Draft{received()}, cases.Move{To: cases.ShopQuarantined, Why: "wet"}, ""},
		{"nobody stated anything", []cases.Draft{received()}, cases.Move{To: cases.ShopEvaluated, Why: "tested", Verdict: cases.UnitGood}, cases.RefusedUnstated},
		{"contaminated", []cases.Draft{received(), stated(cases.Contaminated)}, cases.Move{To: cases.ShopEvaluated, Why: "tested", Verdict: cases.UnitGood}, cases.RefusedDirty},
		{"contaminated, then cleaned", []cases.Draft{received(), stated(cases.Contaminated), stated(cases.Decontaminated)}, cases.Move{To: cases.ShopEvaluated, Why: "tested", Verdict: cases.UnitGood}, ""},
		{"no verdict", []cases.Draft{received(), clean}, cases.Move{To: cases.ShopEvaluated, Why: "tested"}, cases.RefusedNoVerdict},
		{"good, so it may go", []cases.Draft{received(), clean, moved(cases.ShopEvaluated, verdict(cases.UnitGood))}, cases.Move{To: cases.ShopReleased, Why: "good"}, ""},
		{"bad, and goes untested", []cases.Draft{received(), clean, bad}, cases.Move{To: cases.ShopReleased, Why: "hurry"}, cases.RefusedNotGood},
		{"bad, and the customer wants it", []cases.Draft{received(), clean, bad}, cases.Move{To: cases.ShopReleased, Why: "hurry", Consent: "customer-7"}, ""},
		{"repaired and tested", []cases.Draft{received(), clean, bad, moved(cases.ShopInRepair), moved(cases.ShopInTest)}, cases.Move{To: cases.ShopReleased, Why: "record 12"}, ""},
		{"no answer", []cases.Draft{received(), clean, bad, offer, moved(cases.ShopAwaiting)}, repair, cases.RefusedNoAnswer},
		{"no answer, but consent", []cases.Draft{received(), clean, bad, offer, moved(cases.ShopAwaiting)}, repairAnyway, ""},
		{"declined", []cases.Draft{received(), clean, bad, offer, moved(cases.ShopAwaiting), answer("", 9)}, repair, cases.RefusedDeclined},
		{"accepted on the last day", []cases.Draft{received(), clean, bad, offer, moved(cases.ShopAwaiting), answer("repair", 23)}, repair, ""},
		{"accepted a day late", []cases.Draft{received(), clean, bad, offer, moved(cases.ShopAwaiting), answer("repair", 24)}, repair, cases.RefusedLate},
	} {
		// The offer is the fourth entry wherever one is made.
		if got := cases.FoldUnit(unitEvents(t, c.said...)).Refuses(c.move); got != c.wants {
			t.Errorf("%s: refused for %q, want %q", c.name, got, c.wants)
		}
	}
}

// A reason put right later moves no date; a change taken back makes what followed unfit.
func TestUnitCorrections(t *testing.T) {
	fix := moved(cases.ShopQuarantined, func(m *cases.Move) { m.Why = "wet inside" })
	fix.Corrects = "e2"
	events := unitEvents(t, received(), moved(cases.ShopQuarantined), moved(cases.ShopScrapped), fix)
	c := cases.FoldUnit(events)
	s := c.Stay()
	if c.State() != cases.ShopScrapped || len(c.Unfit) > 0 || s.Steps[1].Move.Why != "wet inside" || !s.Steps[1].At.Equal(unitDay.Add(time.Hour)) || !c.Void["e2"] {
		t.Errorf("%+v %+v", c, s)
	}
	back := cases.Correct(cases.KindTakenBack, "e4", cases.Reason{Why: "another unit"})
	back.ID, back.At = "e5", unitDay.Add(9*time.Hour)
	all := unitEvents(t, received(), moved(cases.ShopQuarantined), moved(cases.ShopScrapped), fix, back)
	if c := cases.FoldUnit(all); c.State() != cases.ShopReceived || len(c.Unfit) != 1 || c.Unfit[0].ID != "e3" {
		t.Errorf("taken back: %s, unfit %v", c.State(), c.Unfit)
	}
}

// What a newer program says of a unit is kept and shown as not understood, in the shop and before.
func TestUnitsOfNewerPrograms(t *testing.T) {
	weather := cases.Say("weather", struct{}{})
	second := cases.Say(cases.KindNote, cases.Note{Text: "x"})
	second.Version = 2
	for name, said := range map[string][]cases.Draft{"never here": {weather, second}, "in the shop": {received(), weather, second}} {
		c := cases.FoldUnit(unitEvents(t, said...))
		if len(c.Unknown) != 2 || len(c.Unfit) > 0 || len(c.Notes) > 0 {
			t.Errorf("%s: not understood %v, unfit %v, notes %v", name, c.Unknown, c.Unfit, c.Notes)
		}
	}
}

func TestUnitKeyParts(t *testing.T) {
	for _, u := range []cases.Unit{{Type: "A/B", Serial: "C"}, {Type: "A", Serial: "B/C"}, {Type: "A%2FB", Serial: "C"}, {Type: "", Serial: "/"}} {
		kind, serial := cases.KeyParts(cases.UnitKey(u))
		if kind != u.Type || serial != u.Serial {
			t.Errorf("%+v comes back as %q %q", u, kind, serial)
		}
	}
	if cases.UnitKey(cases.Unit{Type: "A/B", Serial: "C"}) == cases.UnitKey(cases.Unit{Type: "A", Serial: "B/C"}) {
		t.Error("two units have one key")
	}
}

// The plain way: what stands in which place is looked for from the beginning each time,
// the table is the drawn one, time goes hour by hour.

type plainStep struct {
	hour    int
	state   string
	stay    int
	verdict string
}

func plainSteps(events []cases.Event) (steps []plainStep, unfit int) {
	type slot struct {
		said []cases.Event
		gone bool
	}
	var slots []slot
	for _, e := range events {
		place := -1
		for i, s := range slots {
			for _, said := range s.said {
				if e.Corrects == said.ID {
					place = i
				}
			}
		}
		switch {
		case place >= 0 && slots[place].said[0].Kind == e.Kind:
			slots[place].said, slots[place].gone = append(slots[place].said, e), false
			continue
		case place >= 0 && slots[place].said[len(slots[place].said)-1].ID == e.Corrects:
			slots[place].gone = true
		}
		slots = append(slots, slot{said: []cases.Event{e}})
	}
	drawn := waysDrawn()
	state, hour, stay := "", -1<<30, 0
	for _, s := range slots {
		e := s.said[len(s.said)-1]
		if s.gone || e.Kind != cases.KindReceived && e.Kind != cases.KindMoved {
			continue
		}
		to, v := "received", ""
		if e.Kind == cases.KindMoved {
			var m map[string]string
			if err := json.Unmarshal(e.Body, &m); err != nil {
				panic(err)
			}
			to, v = m["to"], m["verdict"]
			if !slices.Contains(drawn[state], to) {
				unfit++
				continue
			}
		} else if state != "" && state != "released" && state != "returned_unrepaired" {
			unfit++
			continue
		} else {
			stay++
		}
		hour = max(hour, int(s.said[0].At.Sub(unitDay)/time.Hour))
		state = to
		steps = append(steps, plainStep{hour, state, stay, v})
	}
	return steps, unfit
}

// plainMonth counts over all units, of one type or of any.
func plainMonth(units map[string][]cases.Event, kind string, from, to int) cases.MonthRow {
	row := cases.MonthRow{Type: kind}
	var turnaround, asked []int
	for key, events := range units {
		if unit, _ := cases.KeyParts(key); kind != "" && unit != kind {
			continue
		}
		steps, _ := plainSteps(events)
		stays := map[int][]plainStep{}
		for _, s := range steps {
			stays[s.stay] = append(stays[s.stay], s)
		}
		for n := 1; n <= len(stays); n++ {
			list := stays[n]
			in := func(hour int) bool { return from <= hour && hour < to }
			if in(list[0].hour) {
				row.Received++
				if before := stays[n-1]; n > 1 && before[len(before)-1].state == "released" && list[0].hour-before[len(before)-1].hour <= 90*24 {
					row.Repeats++
				}
			}
			final, judged, how := -1, "", ""
			repaired := false // what a unit is after its repair is not what it was as it came in
			for _, s := range list {
				if s.verdict != "" && (judged == "" || !repaired) {
					judged = s.verdict
				}
				repaired = repaired || s.state == "in_repair"
				if s.state == "core_refused" && in(s.hour) {
					row.Refused++
				}
				if final < 0 && slices.Contains([]string{"released", "returned_unrepaired", "scrapped", "core_accepted"}, s.state) {
					final, how = s.hour, s.state
				}
			}
			if how == "" || !in(final) {
				continue
			}
			row.Finished++
			for _, c := range []struct {
				n   *int
				hit bool
			}{{&row.Good, judged == "good"}, {&row.Bad, judged == "bad"}, {&row.Unproven, judged == "not_proven"}, {&row.Unjudged, judged == ""},
				{&row.Released, how == "released"}, {&row.Returned, how == "returned_unrepaired"}, {&row.Scrapped, how == "scrapped"}, {&row.Core, how == "core_accepted"}} {
				if c.hit {
					*c.n++
				}
			}
			turnaround = append(turnaround, final-list[0].hour)
			waits := 0
			for hour := list[0].hour; hour < final; hour++ {
				state := ""
				for _, s := range list {
					if s.hour <= hour {
						state = s.state
					}
				}
				if state == "awaiting_customer" {
					waits++
				}
			}
			asked = append(asked, waits)
		}
		state, since := "", 0
		for _, s := range steps {
			if s.hour < to {
				state, since = s.state, s.hour
			}
		}
		if state != "" && state != "released" && state != "returned_unrepaired" && state != "scrapped" {
			row.InShop++
		}
		if state == "awaiting_customer" {
			row.Waiting++
			row.Longest = max(row.Longest, time.Duration(to-since)*time.Hour)
		}
	}
	row.Turnaround, row.Asked = plainMedian(turnaround), plainMedian(asked)
	return row
}

// plainMedian is what has as many at or above it as at or below it; of two such, their mean.
func plainMedian(hours []int) time.Duration {
	sum, n := 0, 0
	met := map[int]bool{}
	for _, x := range hours {
		below, above := 0, 0
		for _, y := range hours {
			if y <= x {
				below++
			}
			if y >= x {
				above++
			}
		}
		if 2*below >= len(hours) && 2*above >= len(hours) && !met[x] {
			met[x] = true
			sum, n = sum+x, n+1
		}
	}
	if n == 0 {
		return 0
	}
	return time.Duration(sum) * time.Hour / time.Duration(n)
}

// randomUnits are streams of entries about some units: mostly what the table allows, with
// what it does not, corrections, entries taken back and clocks that go backwards among it.
func randomUnits(t *testing.T, rng *rand.Rand) map[string][]cases.Event {
	out := map[string][]cases.Event{}
	drawn := waysDrawn()
	for i := range 1 + rng.IntN(5) {
		about := cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(cases.Unit{Type: []string{"COMPACT", "LARGE"}[rng.IntN(2)], Serial: fmt.Sprint(i)})}
		var head cases.Head
		var events []cases.Event
		state, hour := "", rng.IntN(2000)
		for n := range rng.IntN(40) {
			hour += []int{0, 1, 20, 200, -30}[rng.IntN(5)]
			var d cases.Draft
			next := drawn[state]
			switch {
			case len(next) == 0 || rng.IntN(15) == 0:
				d, state = cases.Say(cases.KindReceived, cases.Receipt{}), "received"
			case rng.IntN(8) == 0 && n > 0:
				d = cases.Correct(cases.KindTakenBack, events[rng.IntN(n)].ID, cases.Reason{})
			default:
				to := next[rng.IntN(len(next))]
				if rng.IntN(8) == 0 {
					to = string(cases.ShopStates[rng.IntN(len(cases.ShopStates))])
				}
				d, state = moved(cases.ShopState(to), verdict([]string{"", "", "good", "bad", "not_proven"}[rng.IntN(5)])), to
			}
			if d.Corrects == "" && n > 0 && rng.IntN(8) == 0 {
				d.Corrects = events[rng.IntN(n)].ID
			}
			d.ID, d.Subject, d.At = fmt.Sprintf("u%d-%d", i, n), about, unitDay.Add(time.Duration(hour)*time.Hour)
			e, err := cases.Seal(d, "mill", head, head.Seq+1)
			if err != nil {
				t.Fatal(err)
			}
			head = cases.Head{Seq: e.Seq, Hash: e.Hash}
			events = append(events, e)
		}
		if len(events) > 0 {
			out[about.ID] = events
		}
	}
	return out
}

func TestMonthAgreesWithThePlainWay(t *testing.T) {
	finished, repeats, unfit := 0, 0, 0
	for seed := range uint64(support.Deep(t, 400)) {
		rng := rand.New(rand.NewPCG(seed, 11))
		units := randomUnits(t, rng)
		from := rng.IntN(1500)
		to := from + 1 + rng.IntN(1500)
		table := cases.NewMonthTable(unitDay.Add(time.Duration(from)*time.Hour), unitDay.Add(time.Duration(to)*time.Hour))
		for _, events := range units {
			mixed := append(slices.Clone(events), events[rng.IntN(len(events))])
			rng.Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
			card := cases.FoldUnit(mixed)
			if _, n := plainSteps(events); n != len(card.Unfit) {
				t.Fatalf("seed %d: %d entries do not fit, the plain way has %d", seed, len(card.Unfit), n)
			}
			unfit += len(card.Unfit)
			table.Add(card)
		}
		m := table.Month()
		want := []cases.MonthRow{plainMonth(units, "", from, to)}
		got := []cases.MonthRow{m.All}
		for _, kind := range []string{"COMPACT", "LARGE"} {
			row := plainMonth(units, kind, from, to)
			if row != (cases.MonthRow{Type: kind}) {
				want = append(want, row)
			}
		}
		if got = append(got, m.Types...); !reflect.DeepEqual(got, want) {
			t.Fatalf("seed %d, hours %d to %d:\n%+v\nwant\n%+v", seed, from, to, got, want)
		}
		finished, repeats = finished+m.All.Finished, repeats+m.All.Repeats
	}
	if !testing.Short() && (finished < 100 || repeats < 10 || unfit < 100) { // a short run plays a fifth
		t.Errorf("only %d stays finished, %d came back, %d entries did not fit", finished, repeats, unfit)
	}
	t.Logf("%d stays finished, %d came back, %d entries did not fit", finished, repeats, unfit)
}

// Ninety days to the hour is within ninety days; what went back unrepaired was no work of the
// shop's that could fail again.
func TestBackWithinNinetyDays(t *testing.T) {
	for _, c := range []struct {
		left  cases.ShopState
		after time.Duration
		want  int
	}{
		{cases.ShopReleased, 90 * 24 * time.Hour, 1},
		{cases.ShopReleased, 90*24*time.Hour + time.Microsecond, 0},
		{cases.ShopReleased, 0, 1},
		{cases.ShopReturned, time.Hour, 0},
	} {
		again := received()
		again.At = unitDay.Add(2*time.Hour + c.after)
		card := cases.FoldUnit(unitEvents(t, received(), moved(cases.ShopEvaluated, verdict(cases.UnitGood)), moved(c.left), again))
		if len(card.Unfit) > 0 {
			t.Fatalf("%+v", card.Unfit)
		}
		table := cases.NewMonthTable(unitDay, unitDay.AddDate(1, 0, 0))
		table.Add(card)
		if m := table.Month(); m.All.Repeats != c.want || m.All.Received != 2 {
			t.Errorf("%s, back after %s: %d repeats of %d received, want %d of 2", c.left, c.after, m.All.Repeats, m.All.Received, c.want)
		}
	}
}

// Two people at two sites, neither knowing of the other, move one unit: the order of events
// settles which counts, wherever it is read, and the other is listed.
func TestTwoPeopleMoveAUnitAtOnce(t *testing.T) {
	first := unitEvents(t, received())
	about := first[0].Subject
	at := func(site string, to cases.ShopState) cases.Event {
		d := moved(to)
		d.ID, d.Subject, d.At = "from-"+site, about, unitDay.Add(time.Hour)
		e, err := cases.Seal(d, site, cases.Head{}, first[0].Order+1)
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	kiln, quarry := at("kiln", cases.CoreRefused), at("quarry", cases.CoreAccepted)
	for _, events := range [][]cases.Event{{first[0], kiln, quarry}, {quarry, kiln, first[0]}, {kiln, first[0], quarry, kiln}} {
		c := cases.FoldUnit(events)
		if c.State() != cases.CoreRefused || len(c.Unfit) != 1 || c.Unfit[0].ID != "from-quarry" {
			t.Errorf("%s, unfit %v", c.State(), c.Unfit)
		}
	}
}

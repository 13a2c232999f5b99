package page

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/engine/sheet"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// What leaves a row of a drawn tree at its foot comes in at the head of the next: no conductor ends in
// nothing, and none begins there. Its texts have room beside them.
func TestConductorsOfATreeGoThrough(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 26))
	for range support.Deep(t, 40) {
		var rows []report.ChartRow
		var grow func(row report.ChartRow)
		grow = func(row report.ChartRow) {
			row.Way, row.Says = strings.Repeat("way ", rng.IntN(30)), strings.Repeat("what ", 1+rng.IntN(30))
			at := len(rows)
			rows = append(rows, row)
			if ways := rng.IntN(4); row.Depth < 6 && ways > 0 && len(rows) < 60 {
				rows[at].Number = at + 1
				for i := range ways {
					grow(report.ChartRow{Depth: row.Depth + 1, Last: i == ways-1})
				}
			}
		}
		grow(report.ChartRow{Last: true})
		var all []treeRow
		parts := drawTree(rows)
		for i, p := range parts {
			title := sayTree
			if len(parts) > 1 {
				title = fmt.Sprintf(sayPartOf, sayTree, i+1, len(parts))
			}
			if p.Title != title || p.Number != i+1 || p.Of != len(parts) {
				t.Errorf("part %d of %d is called %q, %d of %d", i+1, len(parts), p.Title, p.Number, p.Of)
			}
			high := 4
			for _, r := range p.Rows {
				if r.Y != high {
					t.Fatalf("a row stands at %d, the one before ends at %d", r.Y, high)
				}
				high += r.High
			}
			if high != p.High {
				t.Errorf("a part is %d high, its rows end at %d", p.High, high)
			}
			all = append(all, p.Rows...)
		}
		if len(all) != len(rows) {
			t.Fatalf("%d rows are drawn of %d", len(all), len(rows))
		}
		var leaving []int
		for i, r := range all {
			coming := slices.Clone(r.Past)
			if r.Depth > 0 {
				coming = append(coming, r.X-treeStep)
			}
			slices.Sort(coming)
			if diff := cmp.Diff(leaving, coming); i > 0 && diff != "" {
				t.Fatalf("between rows %d and %d conductors end or begin (-leaving +coming):\n%s", i-1, i, diff)
			}
			if leaving = slices.Clone(r.Past); r.Depth > 0 && !r.Last {
				leaving = append(leaving, r.X-treeStep)
			}
			if r.Leads {
				leaving = append(leaving, r.X)
			}
			slices.Sort(leaving)
			for k, line := range r.Lines {
				if wide := report.LettersWide(line.Text, stripSize, line.Bold); float64(r.Text)+wide > stripWidth || r.Text <= r.X+4 || r.Number > 0 && r.Text < r.X+30 {
					t.Errorf("row %d, at %d: a text from %d is %.0f wide", i, r.X, r.Text, wide)
				}
				if line.Y > r.High || k > 0 && line.Y < r.Lines[k-1].Y+stripLine {
					t.Errorf("row %d, %d high, has a line at %d", i, r.High, line.Y)
				}
			}
		}
		if len(leaving) > 0 {
			t.Errorf("conductors at %v leave the last row", leaving)
		}
	}
}

// A text is folded into lines that have room, the fewest, at most three; what is cut off is marked so.
func TestTextsOfADrawingAreFolded(t *testing.T) {
	wide := func(s string) float64 { return report.LettersWide(s, stripSize, true) }
	for _, text := range []string{"", "one", "one two", strings.Repeat("a few words ", 3), strings.Repeat("many words ", 20), strings.Repeat("W", 60), "a " + strings.Repeat("W", 60) + " b", strings.Repeat("mm ", 40)} {
		for _, room := range []float64{90, 200, 280} {
			lines := folded(text, room)
			said := strings.Join(lines, " ")
			for i, line := range lines {
				if wide(line) > room+1e-9 {
					t.Errorf("%q is %.0f wide, and has the room of %.0f", line, wide(line), room)
				}
				if next := strings.Fields(strings.Join(lines[i+1:], " ")); len(next) > 0 && !strings.Contains(line, "…") && wide(line+" "+next[0]) <= room {
					t.Errorf("%q has room for %q", line, next[0])
				}
			}
			if whole := strings.Join(strings.Fields(text), " "); len(lines) > mostLines || (said == whole) == strings.Contains(said, "…") {
				t.Errorf("%q becomes %q", text, lines)
			}
		}
	}
}

// Beside each row where something is suspected stands a bracket with its letter, over just these rows; no two
// stand on one another, and all of a row stands within its part.
func TestBracketsStandBesideTheirRows(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 26))
	for range support.Deep(t, 40) {
		rows := make([]trunkRow, 2+rng.IntN(60))
		for i := range rows {
			rows[i] = trunkRow{Kind: "drop", Says: []string{fmt.Sprint("drop ", i), strings.Repeat("words of it ", rng.IntN(9))}[:1+rng.IntN(2)]}
		}
		d := &trunk{}
		for i := range rng.IntN(6) {
			m := suspicion{Letter: string(rune('A' + i)), Style: "solid"}
			for range 1 + rng.IntN(4) {
				if from := rng.IntN(len(rows)); !slices.Contains(m.rows, from) {
					m.rows = append(m.rows, from)
				}
			}
			d.Marks = append(d.Marks, m)
		}
		marked := make([][]string, len(rows))
		for _, m := range d.Marks {
			for _, r := range m.rows {
				marked[r] = append(marked[r], m.Letter)
			}
		}
		d.draw(rows)
		n := 0
		for _, p := range d.Parts {
			if p.Of != len(d.Parts) || p.High > tallestPart+4 && len(p.Rows) > 1 {
				t.Errorf("part %d of %d is %d high", p.Number, p.Of, p.High)
			}
			for i, r := range p.Rows {
				if r.Y < 8 || r.Y+r.High > p.High || i > 0 && r.Y != p.Rows[i-1].Y+p.Rows[i-1].High {
					t.Errorf("a row stands at %d, %d high, in a part of %d", r.Y, r.High, p.High)
				}
				for _, line := range r.Lines {
					if line.Y > r.High || float64(p.Text)+report.LettersWide(line.Text, stripSize, line.Bold) > stripWidth {
						t.Errorf("%q at %d has no room in its row", line.Text, line.Y)
					}
				}
				var letters []string
				middle := r.Y + r.High/2 - 4
				for _, b := range p.Brackets {
					if b.Y1 < middle && b.Y2 > middle {
						letters = append(letters, b.Letter)
					}
				}
				slices.Sort(letters)
				if diff := cmp.Diff(marked[n], letters); diff != "" {
					t.Errorf("row %d (-suspected +drawn):\n%s", n, diff)
				}
				n++
			}
			for i, a := range p.Brackets {
				if a.X < 5 || a.X+10 > p.Cable || a.Y1 >= a.Y2 || a.Y1 < 0 || a.Y2 > p.High {
					t.Errorf("a bracket stands at %d, from %d to %d; the cable is at %d, the part %d high", a.X, a.Y1, a.Y2, p.Cable, p.High)
				}
				for _, b := range p.Brackets[:i] {
					if a.X == b.X && a.Y1 < b.Y2 && b.Y1 < a.Y2 {
						t.Errorf("%s and %s stand on one another", a.Letter, b.Letter)
					}
				}
			}
		}
		if n != len(rows) {
			t.Fatalf("%d rows are drawn of %d", n, len(rows))
		}
	}
}

// Where on the line the causes of a part are looked for, by what is known of its drops.
func TestWhereAlongTheLineACauseIsLookedFor(t *testing.T) {
	row := func(kind string, address int) trunkRow {
		return trunkRow{Kind: kind, Address: address, Says: []string{strings.TrimSpace(fmt.Sprint(kind, " ", address))}}
	}
	line := func(here int, unsure bool, fittings ...string) []trunkRow { // host, then a drop and a stretch in turn
		rows := []trunkRow{row("host", 0)}
		for i := 1; i <= 3; i++ {
			drop := row("drop", i)
			drop.Here, drop.Unsure = i == here, unsure
			rows = append(rows, row("stretch", 0), drop)
		}
		for _, kind := range fittings {
			rows = append(rows, row(kind, 0))
		}
		return append(rows, row("end", 0))
	}
	drops := func(words ...string) *rulebase.Situation {
		s := &rulebase.Situation{Drops: map[int]string{}}
		for i, w := range words {
			s.Drops[i+1] = w
		}
		return s
	}
	const good, dead, goes, unsaid = rulebase.DropGood, rulebase.DropDead, rulebase.DropComesAndGoes, ""
	all := []int{0, 1, 2, 3, 4, 5, 6, 7}
	for name, x := range map[string]struct {
		place linePlace
		rows  []trunkRow
		s     *rulebase.Situation
		on    []int
		says  string
	}{
		"at the host":                    {atHost, line(2, false), drops(), []int{0}, sayAtHost},
		"at this drop":                   {atDrop, line(2, false), drops(), []int{4}, sayAtDrop},
		"at a drop that is not there":    {atDrop, line(0, false), drops(), nil, sayAtDrop},
		"at its supply":                  {atSupply, line(3, false), drops(), []int{6}, sayAtSupply},
		"at both":                        {atBoth, line(1, false), drops(), []int{2, 0}, sayAtBoth},
		"at the terminators":             {atEnds, line(1, false, "terminator", "stub", "terminator"), drops(), []int{7, 9}, sayAtEnds},
		"at the ends":                    {atEnds, line(1, false), drops(), []int{0, 7}, sayAtEnds},
		"at what is in line":             {atInline, line(1, false, "inline", "joint"), drops(), []int{7}, sayAtInline},
		"in line, between":               {atInline, line(3, false), drops(good, good), []int{4, 5, 6}, ""},
		"nowhere":                        {nowhere, line(1, false), drops(), nil, ""},
		"nothing is known":               {onStretch, line(0, false), drops(), all, sayOnLine + sayAllOfIt},
		"all are good":                   {onStretch, line(0, false), drops(good, good, good), all, sayOnLine + sayAllOfIt},
		"from the last good one on":      {onStretch, line(3, false), drops(good, good, dead), []int{4, 5, 6}, sayOnLine + fmt.Sprintf(sayBetween, "drop 2", "drop 3")},
		"to the first that is dead":      {onStretch, line(3, false), drops(good, dead, dead), []int{2, 3, 4}, sayOnLine + fmt.Sprintf(sayBetween, "drop 1", "drop 2")},
		"to one that comes and goes":     {onStretch, line(3, false), drops(good, goes, dead), []int{2, 3, 4}, sayOnLine + fmt.Sprintf(sayBetween, "drop 1", "drop 2")},
		"past one that nobody spoke of":  {onStretch, line(3, false), drops(good, unsaid, dead), []int{2, 3, 4, 5, 6}, sayOnLine + fmt.Sprintf(sayBetween, "drop 1", "drop 3")},
		"good ones behind it":            {onStretch, line(2, false), drops(good, dead, good), []int{4}, sayOnLine + fmt.Sprintf(sayAtTap, "drop 2")},
		"the first of them, none before": {onStretch, line(1, false), drops(dead, dead, dead), all, sayOnLine + sayAllOfIt},
		"nobody knows the order":         {onStretch, line(3, true), drops(good, good, dead), all, sayOnLine + sayAllOfIt},
	} {
		on, says := rowsAt(x.place, x.rows, x.s)
		if diff := cmp.Diff(x.on, on); diff != "" || x.says != "" && says != x.says || x.place == atInline && !strings.HasPrefix(says, sayAtInline) {
			t.Errorf("%s: it says %q (-want +got):\n%s", name, says, diff)
		}
	}
	for chance, want := range map[float64]string{1: "solid", 0.45: "solid", 0.449: "dashed", 0.08: "dashed", 0.079: "dotted", 0.01: "dotted"} {
		if got := styleOf(chance); got != want {
			t.Errorf("a chance of %v is drawn %s", chance, got)
		}
	}
}

// Nobody makes the page wait for longer than a person would wait, and nobody with a poor line is cut off
// at once.
func TestUsualLimitsAreThoseOfPeople(t *testing.T) {
	for name, x := range map[string]time.Duration{"head": Usual.Header, "request": Usual.Read, "answer": Usual.Write, "next request": Usual.Idle} {
		if x < 5*time.Second || x > 2*time.Minute {
			t.Errorf("the server waits %v for the %s", x, name)
		}
	}
	if Usual.HeaderBytes < 8<<10 || Usual.HeaderBytes > 1<<20 || Usual.Connections < 32 || Usual.Connections > 1000 {
		t.Errorf("a head of %d bytes, %d at once", Usual.HeaderBytes, Usual.Connections)
	}
}

// A sheet's line has everything once, in its order from the host on; each stretch between has its own length and cable, and
// what runs beside just there.
func TestTheRowsOfASheet(t *testing.T) {
	const text = `sheet: Weir house
line: token_pair
cable: [{length: 100 m, type: PAIR-1}, {length: 200 m, type: PAIR-2}]
terminators: [{at: host, ohm: 120 ohm}, {at: 300 m}]
inline: [{name: R1, kind: repeater, at: 100 m}]
stubs: [{at: 250 m, length: 2 m}]
drops: [{drop: gate, at: 50 m, address: 1}, {drop: sluice, at: 200 m, address: 2}, {drop: attic, at: 300 m}]
beside: [{from: 50 m, to: 100 m, apart: 40 mm}, {from: 210 m, to: 300 m, apart: 150 mm}]
`
	p, err := rulebase.ReadSheet("sheet.yaml", []byte(text), sheet.Kinds())
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, r := range rowsOfSheet(p, &rulebase.Situation{Drop: 2, Drops: map[int]string{1: rulebase.DropDead}}) {
		got = append(got, fmt.Sprintf("%s %g: %s", r.Kind, r.AtM, strings.Join(r.Says, "; ")))
	}
	want := []string{
		"host 0: host", "terminator 0: terminator 120 ohm", "stretch 0: 50 m, PAIR-1", "drop 50: drop 1 gate; dead",
		"stretch 50: 50 m, PAIR-1; power cable beside it from 50 m to 100 m, 40 mm apart", "joint 100: joint: another stretch of cable", "inline 100: repeater R1",
		"stretch 100: 100 m, PAIR-2", "drop 200: drop 2 sluice; this drop", "stretch 200: 50 m, PAIR-2; power cable beside it from 210 m to 300 m, 150 mm apart", "stub 250: stub of 2 m",
		"stretch 250: 50 m, PAIR-2; power cable beside it from 210 m to 300 m, 150 mm apart", "terminator 300: terminator", "drop 300: attic", "end 300: end of the trunk, 300 m from the host",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// Whatever is suspected stands once, at its place or among what has none, however likely what stands before it is; the
// places have letters by what is suspected there together.
func TestEverySuspectIsDrawn(t *testing.T) {
	base := &rulebase.Base{}
	d := &engine.Diagnosis{Base: base, Possible: true}
	for i, x := range []struct {
		part string
		now  float64
	}{{"handheld", 0.4}, {"controller", 0.2}, {"handling", 0.1}, {"unit", 0.15}, {"supply", 0.009}, {"module", 0.1}, {"configuration", leastSuspect}} {
		base.Causes = append(base.Causes, rulebase.Cause{ID: fmt.Sprint(x.part, "_fault"), Name: "a fault of " + x.part, Part: x.part})
		d.Causes = append(d.Causes, engine.CauseBelief{Cause: i, Now: x.now})
	}
	rows := []trunkRow{{Kind: "host"}, {Kind: "drop"}, {Kind: "drop", Here: true}}
	got := &trunk{}
	got.suspect(d, rows, &rulebase.Situation{})
	var said []string
	for _, m := range got.Marks {
		for _, c := range m.Causes {
			said = append(said, fmt.Sprint(m.Letter, " ", c.ID, " ", m.rows))
		}
	}
	for _, c := range got.Off {
		said = append(said, "- "+c.ID)
	}
	want := []string{"A unit_fault [2]", "A module_fault [2]", "B controller_fault [0]", "B configuration_fault [0]", "- handheld_fault", "- handling_fault"}
	if diff := cmp.Diff(want, said); diff != "" {
		t.Errorf("suspected (-want +got):\n%s", diff)
	}
	if letters := fmt.Sprint(rows[0].letters, rows[1].letters, rows[2].letters); letters != "[B] [] [A]" {
		t.Errorf("the rows have the letters %s", letters)
	}
	none := &trunk{}
	none.suspect(&engine.Diagnosis{Base: base, Causes: d.Causes}, rows, &rulebase.Situation{})
	if len(none.Marks)+len(none.Off) > 0 {
		t.Errorf("where nothing is possible, %+v is suspected", none)
	}
}

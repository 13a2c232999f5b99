package ruletest

import (
	"cmp"
	"slices"
	"strings"

	"downdrop/engine"
	"downdrop/engine/hypothesis"
	"downdrop/rulebase"
)

// Coverage says which entries of a rulebase its rule tests put to the test both
// ways: in one case the entry speaks, in another it is silent. A case that
// expects nothing covers nothing.
//
//   - A cause speaks in a case that expects it first, or as the only one of the
//     likeliest set (top). It is silent in a case that expects at most a chance of
//     it that is below a half.
//   - A rule speaks in a case in which it fires, and is silent in one in which it
//     does not.
//   - A row of a symptom speaks and is silent in cases that suppose causes: those
//     of the likeliest set that is expected, or else the one that is expected
//     first, or else none where the case is expected to end with nothing found. If the symptom is among the case's findings, the row is the one that
//     is taken in the world in which just these causes are present, under the
//     givens of the case: the first row whose condition holds (all of them, where
//     rows are independent), whatever value was found. It is silent in a case
//     with a finding of its symptom in which it is not taken. A row that is
//     always taken need not be silent: one without a condition that is the first,
//     or independent.
//   - A row of more_likely speaks in a case in which its condition holds under
//     the givens of the case, and is silent in one in which it does not.
//
// The findings of a case are those of its own drop before any work was done, the
// complaint among them even where the case does not give it, and, in a case
// without work, what rules derive. A reading that cannot be sorted into bands is
// none.
type Coverage struct {
	Cases       int // that expect something
	Causes      Count
	Rules       Count
	Rows        Count // of symptoms
	MoreLikely  Count // rows of more_likely
	Gaps        []Gap // by kind in the order above, then by place
	covered     map[entry]heard
	base        *rulebase.Base
	lowestLayer int
}

// A Count is how many entries there are, and how many of them are covered both ways.
type Count struct{ Entries, Covered int }

// A GapKind says what sort of entry a gap is.
type GapKind string

// The sorts of entries that are covered.
const (
	GapCause      GapKind = "cause"
	GapRule       GapKind = "rule"
	GapRow        GapKind = "row"
	GapMoreLikely GapKind = "more_likely"
)

// A Gap is an entry that is not covered both ways.
type Gap struct {
	Kind   GapKind
	ID     string // of the cause, the rule, the row's symptom, or the cause with the more_likely row
	Row    int    // from 1; 0 for causes and rules
	When   string // the row's condition; "" where it has none
	Pos    rulebase.Position
	Speaks bool // there is a case in which it speaks
	Silent bool // there is a case in which it is silent
}

// An entry is what can be covered: for rows with their place, from 0.
type entry struct {
	kind       GapKind
	index, row int
}

type heard struct{ speaks, silent bool }

// Cover says what the cases that were run cover, of the entries in a layer and
// in those laid over it.
func Cover(base *rulebase.Base, results []Result, layer int) *Coverage {
	c := &Coverage{covered: map[entry]heard{}, base: base, lowestLayer: layer}
	for i := range results {
		if d := results[i].Diagnosis; d.Situation.Expect != nil {
			c.Cases++
			c.causes(d.Situation.Expect)
			c.rules(d)
			c.likelier(d)
			c.rows(d)
		}
	}
	c.count()
	return c
}

func (c *Coverage) hear(e entry, speaks bool) {
	h := c.covered[e]
	h.speaks, h.silent = h.speaks || speaks, h.silent || !speaks
	c.covered[e] = h
}

func (c *Coverage) causes(x *rulebase.Expectation) {
	note := func(id string, speaks bool) {
		if ref, ok := c.base.Lookup(id); ok && ref.Kind == rulebase.KindCause {
			c.hear(entry{GapCause, ref.Index, 0}, speaks)
		}
	}
	note(x.First, true)
	if x.Top != nil && len(x.Top.Causes) == 1 {
		note(x.Top.Causes[0], true)
	}
	for id, p := range x.AtMost {
		if p < rulebase.SilentBelow {
			note(id, false)
		}
	}
}

func (c *Coverage) rules(d *engine.Diagnosis) {
	for i := range c.base.Rules {
		c.hear(entry{GapRule, i, 0}, slices.Contains(d.Fired, i))
	}
}

func (c *Coverage) likelier(d *engine.Diagnosis) {
	for i := range c.base.Causes {
		for j, l := range c.base.Causes[i].MoreLikely {
			c.hear(entry{GapMoreLikely, i, j}, l.When.Eval(d.Known) == rulebase.True)
		}
	}
}

func (c *Coverage) rows(d *engine.Diagnosis) {
	world := supposed(c.base, d.Situation.Expect)
	if world == nil {
		return
	}
	down := engine.Suppose(c.base, d.Known)
	settled := hypothesis.NewSystem(down.Conditions).Settle(hypothesis.Of(len(c.base.Causes), [][]int{world}))
	holds := func(f *hypothesis.Formula) bool {
		return f.Holds(func(n int) bool { return slices.Contains(world, n) }, func(n int) bool { return settled.Column(n)[0]&1 == 1 })
	}
	for _, symptom := range found(c.base, d) {
		taken := false
		for j, f := range down.Rows[symptom] {
			takes := (!taken || c.base.Symptoms[symptom].Independent) && holds(f)
			c.hear(entry{GapRow, symptom, j}, takes)
			taken = taken || takes
		}
	}
}

// supposed are the causes that a case supposes, rising; nil where it supposes none.
func supposed(base *rulebase.Base, x *rulebase.Expectation) []int {
	var ids []string
	switch {
	case x.Top != nil:
		ids = x.Top.Causes
	case x.First != "":
		ids = []string{x.First}
	case x.Outcome == rulebase.NothingFound:
		return []int{}
	default:
		return nil
	}
	world := []int{}
	for _, id := range ids {
		if ref, ok := base.Lookup(id); ok && ref.Kind == rulebase.KindCause {
			world = append(world, ref.Index)
		}
	}
	slices.Sort(world)
	return world
}

// found are the symptoms with a finding before any work.
func found(base *rulebase.Base, d *engine.Diagnosis) []int {
	s := &d.Situation
	var all []int
	for i := range s.Findings {
		f := &s.Findings[i]
		ref, ok := base.Lookup(f.Symptom)
		ours := f.Drop == 0 || f.Drop == s.Drop
		before := f.After == "" && (!f.Now || len(s.Done) == 0)
		if ok && ref.Kind == rulebase.KindSymptom && ours && before {
			all = append(all, ref.Index)
		}
	}
	if base.Complaint != nil {
		all = append(all, base.Complaint.Symptom)
	}
	if len(s.Done) == 0 {
		for _, rule := range d.Fired {
			for _, a := range base.Rules[rule].Then {
				if n := base.Names[a.Name]; n.Kind == rulebase.KindSymptom {
					all = append(all, n.Index)
				}
			}
		}
	}
	slices.Sort(all)
	return slices.DeleteFunc(slices.Compact(all), func(symptom int) bool { return unsorted(d, base.Symptoms[symptom].ID) })
}

// unsorted says that a symptom's reading could not be sorted into bands.
func unsorted(d *engine.Diagnosis, id string) bool {
	return slices.ContainsFunc(d.Conflicts, func(x engine.Conflict) bool { return x.Kind == engine.ConflictLimits && x.Members[0] == id })
}

// count goes through all entries in order.
func (c *Coverage) count() {
	for i := range c.base.Causes {
		x := &c.base.Causes[i]
		c.entry(&c.Causes, entry{GapCause, i, 0}, Gap{ID: x.ID, Pos: x.Pos}, false)
	}
	for i := range c.base.Rules {
		x := &c.base.Rules[i]
		c.entry(&c.Rules, entry{GapRule, i, 0}, Gap{ID: x.ID, When: x.When.Text, Pos: x.Pos}, false)
	}
	for i := range c.base.Symptoms {
		x := &c.base.Symptoms[i]
		for j, row := range x.Shows {
			g := Gap{ID: x.ID, Row: j + 1, Pos: row.Pos}
			if row.When != nil {
				g.When = row.When.Text
			}
			c.entry(&c.Rows, entry{GapRow, i, j}, g, row.When == nil && (j == 0 || x.Independent))
		}
	}
	for i := range c.base.Causes {
		x := &c.base.Causes[i]
		for j, l := range x.MoreLikely {
			c.entry(&c.MoreLikely, entry{GapMoreLikely, i, j}, Gap{ID: x.ID, Row: j + 1, When: l.When.Text, Pos: l.When.Pos}, false)
		}
	}
	order := []GapKind{GapCause, GapRule, GapRow, GapMoreLikely}
	slices.SortStableFunc(c.Gaps, func(a, b Gap) int {
		return cmp.Or(slices.Index(order, a.Kind)-slices.Index(order, b.Kind), strings.Compare(a.Pos.File, b.Pos.File), a.Pos.Line-b.Pos.Line, a.Pos.Column-b.Pos.Column)
	})
}

// entry counts one entry. One that always speaks need not be silent.
func (c *Coverage) entry(n *Count, e entry, g Gap, always bool) {
	if c.base.LayerOf(g.Pos) < c.lowestLayer {
		return
	}
	h := c.covered[e]
	g.Kind, g.Speaks, g.Silent = e.kind, h.speaks, h.silent || always
	n.Entries++
	if g.Speaks && g.Silent {
		n.Covered++
		return
	}
	c.Gaps = append(c.Gaps, g)
}

// Of gives the gaps of a kind.
func (c *Coverage) Of(kind GapKind) []*Gap {
	var all []*Gap
	for i := range c.Gaps {
		if c.Gaps[i].Kind == kind {
			all = append(all, &c.Gaps[i])
		}
	}
	return all
}

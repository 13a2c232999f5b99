package rulebase

import (
	"math"
	"regexp"
	"slices"
	"strings"
	"sync"

	"downdrop/rulebase/source"
)

func (l *loader) source(e entry) {
	f := l.fields(e, "sources")
	l.base.Sources = append(l.base.Sources, Source{ID: e.id, Pos: e.key.Pos, Says: f.must("says"), Kind: f.text("kind")})
}

func (l *loader) warning(e entry) {
	f := l.fields(e, "warnings")
	w := Warning{ID: e.id, Pos: e.key.Pos, Says: f.must("says"), Fact: f.text("fact"), Because: f.text("because"), Source: f.sourceOf(false)}
	levels := []string{string(DangerLevel), string(WarningLevel), string(CautionLevel), string(NoticeLevel)}
	if n := f.need("level"); n != nil {
		if i := l.oneOf(n, "a level", levels...); i >= 0 {
			w.Level = Level(levels[i])
		}
	}
	l.base.Warnings = append(l.base.Warnings, w)
}

// filledBy are the things the program knows of itself.
var filledBy = []string{"at", "who", "alone", "loss_of_bus", "extent", "interval"}

// onSheet is something that an installation sheet can say.
var onSheet = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^line\.[a-z][a-z0-9_]*$`) })

func (l *loader) given(e entry) {
	b := l.base
	// Nothing has to stand there: a bare given is a flag, and one without a
	// question is only ever given, never asked.
	f := l.fields(e, "givens")
	g := Given{ID: e.id, Pos: e.key.Pos, Ask: f.text("ask"), Unit: f.text("unit"), Name: len(b.Names), Source: f.sourceOf(false)}
	l.givenType(f, &g)
	if n := f.get("range"); n != nil && g.Type == Number {
		g.Range = l.rangeOf(n, g.Unit)
	}
	if n := f.get("default"); n != nil {
		g.Default = l.defaultOf(n, &g)
	}
	if n := f.get("filled_by"); n != nil {
		g.FilledBy = l.text(n)
		if !slices.Contains(filledBy, g.FilledBy) && !onSheet().MatchString(g.FilledBy) {
			l.r.Problem(n, "filled-by", l.nearest(g.FilledBy, filledBy), "the program knows nothing called %q; it knows %s, and line.* from an installation sheet", g.FilledBy, strings.Join(filledBy, ", "))
		}
	}
	b.Names = append(b.Names, Name{ID: e.id, Kind: KindGiven, Index: len(b.Givens), Type: g.Type, Words: wordsOf(g.Type, g.OneOf), Unit: g.Unit})
	b.Givens = append(b.Givens, g)
}

// givenType tells a choice from a number from a flag by the keys that stand there.
func (l *loader) givenType(f fields, g *Given) {
	switch {
	case f.get("one_of") != nil:
		g.Type, g.OneOf = Choice, l.valueNames(f.get("one_of"))
		for _, key := range []string{"unit", "range"} {
			if n := f.get(key); n != nil {
				l.r.Problem(n, "type", "", "%s is one of some words; it cannot have a %s", g.ID, key)
			}
		}
	case f.get("unit") != nil || f.get("range") != nil:
		g.Type = Number
	default:
		if d := f.get("default"); d != nil && decimal().MatchString(d.Text) {
			g.Type = Number
		}
	}
}

// wordsOf are the words of a name of some type.
func wordsOf(t Type, words []string) []string {
	if t == Flag {
		return flagWords
	}
	return words
}

var flagWords = []string{"false", "true"}

func (l *loader) rangeOf(n *source.Node, unit string) *[2]float64 {
	if n.Shape != source.List || len(n.Items) != 2 {
		l.r.Problem(n, "shape", "", "a range is two numbers, [least, most]")
		return nil
	}
	low, lowOK := l.quantityOK(n.Items[0], unit)
	high, highOK := l.quantityOK(n.Items[1], unit)
	if !lowOK || !highOK {
		return nil
	}
	if low >= high {
		l.r.Problem(n, "range", "", "a range rises; %s is not below %s", n.Items[0].Text, n.Items[1].Text)
		return nil
	}
	return &[2]float64{low, high}
}

func (l *loader) defaultOf(n *source.Node, g *Given) *Slot {
	s := &Slot{Number: math.NaN(), Rank: FromDefault}
	switch g.Type {
	case Flag:
		s.Word = 1
		if l.flag(n) {
			s.Word = 2
		}
	case Choice:
		s.Word = int32(l.oneOf(n, "a value of "+g.ID, g.OneOf...) + 1)
	default:
		x, ok := l.quantityOK(n, g.Unit)
		if s.Number = x; ok && g.Range != nil && (x < g.Range[0] || x > g.Range[1]) {
			l.r.Problem(n, "range", "", "the default is outside the range, %v to %v", g.Range[0], g.Range[1])
		}
	}
	return s
}

func (l *loader) cause(e entry) {
	b := l.base
	f := l.fields(e, "causes")
	c := Cause{ID: e.id, Pos: e.key.Pos, Name: f.must("name"), Part: f.text("part"), Source: f.sourceOf(true), LookAlikes: l.lookAlikes(f.get("look_alikes")), Slot: l.scopeIDs[e.id]}
	if n := f.need("per_thousand"); n != nil {
		c.Prior = l.perThousand(n)
	}
	for _, item := range l.items(f.get("more_likely")) {
		c.MoreLikely = append(c.MoreLikely, l.likelier(item))
	}
	if n := f.get("remedies"); n != nil && f.get("remedy") != nil {
		l.r.Problem(n, "type", "", "%s has a remedy or remedies, not both", e.id)
	}
	for _, key := range []string{"remedy", "remedies"} {
		for _, item := range l.items(f.get(key)) {
			if h, ok := l.helps(item); ok {
				if slices.ContainsFunc(c.Remedies, func(x Helps) bool { return x.Remedy == h.Remedy }) {
					l.r.Problem(item, "twice", "", "the remedy stands here twice")
					continue
				}
				c.Remedies = append(c.Remedies, h)
			}
		}
	}
	b.Causes = append(b.Causes, c)
}

// perThousand is a chance in a thousand as a probability; it stays below 1,
// since odds are made of it.
func (l *loader) perThousand(n *source.Node) float64 {
	if n.Shape == source.Scalar && strings.HasSuffix(n.Text, "%") { // "a number from 0 to 1", which else is advised, would be a thousandth of what is meant
		l.r.Problem(n, "number", "", "a chance in a thousand is a bare number: 1.2 %% is 12")
		return 0
	}
	x, ok := l.numberOK(n)
	if ok && (x < 0 || x >= 1000) {
		l.r.Problem(n, "range", "", "a chance in a thousand is at least 0 and below 1000")
	}
	return x / 1000
}

// lookAlikes are other causes, by id, that show the same.
func (l *loader) lookAlikes(n *source.Node) []string {
	var ids []string
	for _, i := range l.refs(n, KindCause) {
		ids = append(ids, l.sections["causes"][i].id)
	}
	return ids
}

func (l *loader) likelier(n *source.Node) Likelier {
	x := Likelier{Times: 1}
	if n.Shape == source.Map {
		l.allow(n, "a row of more_likely", keyNames()["likelier"])
	}
	if n.Get("when") == nil || n.Get("times") == nil {
		l.r.Problem(n, "shape", "", "a row of more_likely is {when: a condition over givens, times: a number}")
		return x
	}
	x.When = l.expression(n.Get("when"), "more_likely", false, KindGiven)
	times, ok := l.numberOK(n.Get("times"))
	switch {
	case ok && times <= 0:
		l.r.Problem(n.Get("times"), "range", "", "times is above 0")
	case ok:
		x.Times = times
	}
	return x
}

// helps is a remedy of a cause: an id, or {do: id, helps: chance}.
func (l *loader) helps(n *source.Node) (Helps, bool) {
	h := Helps{Chance: 1}
	name := n
	if n.Shape == source.Map {
		l.allow(n, "a remedy of a cause", keyNames()["helps"])
		if name = n.Get("do"); name == nil {
			l.r.Problem(n, "shape", "", "a remedy of a cause is an id, or {do: id, helps: chance}")
			return h, false
		}
		if q := n.Get("helps"); q != nil {
			h.Chance = l.probability(q)
		}
	}
	h.Remedy = l.ref(name, KindRemedy)
	return h, h.Remedy >= 0
}

var downward = []Kind{KindCause, KindCondition, KindGiven}

func (l *loader) condition(e entry) {
	f := l.fields(e, "conditions")
	c := Condition{ID: e.id, Pos: e.key.Pos, Says: f.text("says"), Slot: l.scopeIDs[e.id]}
	c.When = l.expression(f.need("when"), "a condition", false, downward...)
	for _, n := range l.items(f.get("also_when")) {
		c.When = l.either(c.When, l.expression(n, "a condition", false, downward...))
	}
	l.base.Conditions = append(l.base.Conditions, c)
}

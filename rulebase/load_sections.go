package rulebase

import (
	"maps"
	"math"
	"slices"
	"strings"

	"downdrop/rulebase/source"
)

func (l *loader) readHeader() {
	b := l.base
	*b = Base{Digest: b.Digest, FaultsAtMost: 3, Together: 1, Outside: 0.015, Sure: Sureness{Everywhere: 1}, FactFrom: 0.95,
		Effort: Effort{StopsDrop: 5, StopsBus: 30, Visit: 120}, GiveUp: 240, Words: maps.Clone(wordScale), Sources: b.Sources}
	for i, h := range l.header {
		if h == nil {
			continue
		}
		e := entry{"rulebase", h, h, i}
		f := l.fields(e, "name", "version", "format", "extends", "faults_at_most", "together", "outside_per_thousand", "complaint", "sure", "fact_from", "words", "effort", "give_up_minutes")
		if n := f.get("format"); n != nil && l.number(n) != 1 {
			l.r.Problem(n, "format", "", "this program reads format 1; the rulebase is of format %s and needs a newer one", n.Text)
		}
		name := f.must("name")
		if n := f.get("extends"); n != nil {
			if i == 0 {
				l.r.Problem(n, "extends", "", "%s extends %s, which must be laid below it: name that folder first", name, n.Text)
			} else if !slices.Contains(b.Layers, n.Text) {
				l.r.Problem(n, "extends", source.Nearest(n.Text, b.Layers), "no rulebase laid below is called %s", n.Text)
			}
		} else if i > 0 {
			l.r.Problem(h, "extends", "", "%s is laid over another rulebase and must say which: `extends: %s`", name, b.Layers[len(b.Layers)-1])
		}
		b.Layers = append(b.Layers, name)
		b.Name = name
		l.headerNumbers(f)
	}
}

func (l *loader) headerNumbers(f fields) {
	b := l.base
	if n := f.get("version"); n != nil {
		b.Version = l.whole(n, 0, math.MaxInt32)
	}
	if n := f.get("faults_at_most"); n != nil {
		b.FaultsAtMost = l.whole(n, 1, 64)
	}
	if n := f.get("together"); n != nil {
		b.Together = l.within(n, 0, 1000)
	}
	if n := f.get("outside_per_thousand"); n != nil {
		b.Outside = l.within(n, 0, 999.999) / 1000
	}
	if n := f.get("sure"); n != nil {
		b.Sure = *l.sureness(n)
	}
	if n := f.get("fact_from"); n != nil {
		b.FactFrom = l.within(n, 0, 1)
	}
	if n := f.get("give_up_minutes"); n != nil {
		b.GiveUp = l.within(n, 0, 1e6)
	}
	if n := f.get("words"); n != nil {
		for i, k := range n.Keys {
			if !isID(k.Text) {
				l.r.Problem(k, "id", "", "a word of the scale is written like an id")
			}
			b.Words[k.Text] = l.within(n.Items[i], 0, 1)
		}
	}
	if n := f.get("effort"); n != nil {
		l.effort(n, &b.Effort)
	}
}

func (l *loader) effort(n *source.Node, e *Effort) {
	l.allow(n, "effort", []string{"stops_drop", "stops_bus", "visit", "note"})
	for key, into := range map[string]*float64{"stops_drop": &e.StopsDrop, "stops_bus": &e.StopsBus, "visit": &e.Visit} {
		if x := n.Get(key); x != nil {
			*into = l.within(x, 0, 1e6)
		}
	}
}

func (l *loader) source(e entry) {
	f := l.fields(e, "says", "kind")
	if l.sources == nil {
		l.sources = map[string]bool{}
	}
	l.sources[e.id] = true
	l.base.Sources = append(l.base.Sources, Source{ID: e.id, Pos: e.key.Pos, Says: f.text("says"), Kind: f.text("kind")})
}

func (l *loader) warning(e entry) {
	f := l.fields(e, "level", "says", "because")
	w := Warning{ID: e.id, Pos: e.key.Pos, Says: f.must("says"), Because: f.text("because"), Source: f.sourceOf(false)}
	levels := []string{string(DangerLevel), string(WarningLevel), string(CautionLevel), string(NoticeLevel)}
	if n := f.get("level"); n == nil {
		l.missing(e, "level")
	} else if i := l.oneOf(n, "a level", levels...); i >= 0 {
		w.Level = Level(levels[i])
	}
	l.base.Warnings = append(l.base.Warnings, w)
}

// filledBy are the things the program knows of itself.
var filledBy = []string{"at", "who", "alone", "loss_of_bus", "extent"}

func (l *loader) given(e entry) {
	b := l.base
	f := l.fields(e, "ask", "unit", "range", "one_of", "default", "filled_by")
	g := Given{ID: e.id, Pos: e.key.Pos, Ask: f.text("ask"), Unit: f.text("unit"), Name: len(b.Names), Source: f.sourceOf(false)}
	name := Name{ID: e.id, Kind: KindGiven, Index: len(b.Givens), Unit: g.Unit}
	switch {
	case f.get("one_of") != nil:
		g.Type, g.OneOf = Choice, l.valueNames(f.get("one_of"))
		name.Words = g.OneOf
		for _, key := range []string{"unit", "range"} {
			if n := f.get(key); n != nil {
				l.r.Problem(n, "type", "", "%s is one of some words; it cannot have a %s", e.id, key)
			}
		}
	case f.get("unit") != nil || f.get("range") != nil:
		g.Type = Number
	default:
		name.Words = []string{"false", "true"}
		if d := f.get("default"); d != nil && decimal.MatchString(d.Text) {
			g.Type, name.Words = Number, nil
		}
	}
	name.Type = g.Type
	if n := f.get("range"); n != nil {
		g.Range = l.rangeOf(n, g.Unit)
	}
	if n := f.get("default"); n != nil {
		g.Default = l.defaultOf(n, &g)
	}
	if n := f.get("filled_by"); n != nil {
		g.FilledBy = l.text(n)
		if !slices.Contains(filledBy, g.FilledBy) && !strings.HasPrefix(g.FilledBy, "line.") {
			l.r.Problem(n, "filled-by", source.Nearest(g.FilledBy, filledBy), "the program knows nothing called %q; it knows %s, and line.* from an installation sheet", g.FilledBy, strings.Join(filledBy, ", "))
		}
	}
	b.Givens = append(b.Givens, g)
	b.Names = append(b.Names, name)
}

func (l *loader) rangeOf(n *source.Node, unit string) *[2]float64 {
	if n.Shape != source.List || len(n.Items) != 2 {
		l.r.Problem(n, "shape", "", "a range is two numbers, [least, most]")
		return nil
	}
	r := &[2]float64{l.quantity(n.Items[0], unit), l.quantity(n.Items[1], unit)}
	if r[0] >= r[1] {
		l.r.Problem(n, "range", "", "the range does not rise")
	}
	return r
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
		s.Number = l.quantity(n, g.Unit)
		if g.Range != nil && (s.Number < g.Range[0] || s.Number > g.Range[1]) {
			l.r.Problem(n, "range", "", "the default is outside the range")
		}
	}
	return s
}

var rowKeys = []string{"when", "because", "source", "note"}

// valueNames are the words of a choice: at least two, each once, without blanks.
func (l *loader) valueNames(n *source.Node) []string {
	var words []string
	for _, item := range l.items(n) {
		w := l.text(item)
		switch {
		case w == "" || strings.ContainsFunc(w, func(r rune) bool { return r <= ' ' }):
			l.r.Problem(item, "value-name", "", "a value is one word without blanks; join words with _")
		case slices.Contains(rowKeys, w):
			l.r.Problem(item, "value-name", "", "a value cannot be called %s", w)
		case slices.Contains(words, w):
			l.r.Problem(item, "value-name", "", "%s stands here twice", w)
		default:
			words = append(words, w)
		}
	}
	if len(words) < 2 && n.Shape == source.List {
		l.r.Problem(n, "value-name", "", "at least two values are wanted")
	}
	return words
}

// symptomValues reads what a symptom can be; its rows come when all names are known.
func (l *loader) symptomValues(e entry) {
	b := l.base
	f := l.fields(e, "ask", "unit", "values", "bands", "shows", "combine", "sure", "by", "mistaken_for")
	s := Symptom{ID: e.id, Pos: e.key.Pos, Ask: f.must("ask"), Unit: f.text("unit"), Slot: len(b.Names), MistakenFor: l.texts(f.get("mistaken_for")), Source: f.sourceOf(false)}
	name := Name{ID: e.id, Kind: KindSymptom, Index: len(b.Symptoms), Type: Choice, Unit: s.Unit}
	values, bands := f.get("values"), f.get("bands")
	switch {
	case values != nil && bands != nil:
		l.r.Problem(bands, "type", "", "%s has values or bands, not both", e.id)
	case bands != nil:
		name.Type = Banded
		s.Values = l.bandNames(bands)
	case values != nil:
		s.Values = l.valueNames(values)
		if n := f.get("unit"); n != nil {
			l.r.Problem(n, "type", "", "%s has values, which have no unit; readings have bands", e.id)
		}
	default:
		l.r.Problem(e.key, "missing-key", "", "%s needs values, or bands for a reading", e.id)
	}
	name.Words = s.Values
	s.Sure = l.sureness(f.get("sure"))
	if n := f.get("by"); n != nil {
		s.By = By(l.oneOf(n, "a way to have a symptom", "asking", "looking") + 1)
	}
	if n := f.get("combine"); n != nil && l.oneOf(n, "a way to combine rows", "independent") >= 0 {
		s.Independent = true
		if len(s.Values) != 2 || !slices.Contains(s.Values, "yes") || !slices.Contains(s.Values, "no") {
			l.r.Problem(n, "combine", "", "rows that show a symptom independently need the values \"yes\" and \"no\", in quotes")
		}
	}
	b.Symptoms = append(b.Symptoms, s)
	b.Names = append(b.Names, name)
}

func (l *loader) bandNames(n *source.Node) []string {
	var names []string
	items := l.items(n)
	for i, item := range items {
		word := item
		if item.Shape == source.Map && len(item.Keys) == 1 {
			word = item.Keys[0]
		}
		last := i == len(items)-1
		if (item.Shape == source.Map) == last || item.Shape == source.List {
			l.r.Problem(item, "bands", "", "bands are {name: limit} in rising order, and a bare name last, which holds all above")
			continue
		}
		if slices.Contains(names, word.Text) || strings.ContainsAny(word.Text, " \t") || word.Text == "" || slices.Contains(rowKeys, word.Text) {
			l.r.Problem(word, "value-name", "", "%q cannot be the name of a band here: one word, once", word.Text)
		}
		names = append(names, word.Text)
	}
	if len(names) < 2 {
		l.r.Problem(n, "bands", "", "at least two bands are wanted")
	}
	return names
}

// facts finds the plain facts: what rules set and no section declares. Their
// type is that of the values given to them.
func (l *loader) facts() {
	b := l.base
	b.Rules = make([]Rule, len(l.sections["rules"]))
	type fact struct {
		key   *source.Node
		words []string
		typ   Type
		first bool
	}
	all := map[string]*fact{}
	var order []string
	for _, e := range l.sections["rules"] {
		then := e.node.Get("then")
		if then == nil || then.Shape != source.Map {
			continue
		}
		for i, k := range then.Keys {
			v := then.Items[i]
			if is := l.kind[k.Text]; is != KindNone || v.Shape != source.Scalar {
				continue
			}
			if !l.goodID(k) {
				continue
			}
			x := all[k.Text]
			if x == nil {
				x = &fact{key: k, first: true}
				all[k.Text] = x
				order = append(order, k.Text)
			}
			typ := Choice
			switch {
			case decimal.MatchString(v.Text) && !v.Quoted:
				typ = Number
			case slices.Contains([]string{"true", "false", "yes", "no"}, strings.ToLower(v.Text)) && !v.Quoted:
				typ = Flag
			case !slices.Contains(x.words, v.Text):
				x.words = append(x.words, v.Text)
			}
			if !x.first && typ != x.typ {
				l.r.Problem(v, "type", "", "%s is given values of different kinds; elsewhere on line %d", k.Text, x.key.Pos.Line)
			}
			x.typ, x.first = typ, false
		}
	}
	for _, id := range order {
		x := all[id]
		n := Name{ID: id, Kind: KindFact, Type: x.typ, Words: x.words}
		if x.typ == Flag {
			n.Words = []string{"false", "true"}
		}
		b.index[id] = Ref{KindFact, len(b.Names)}
		b.Names = append(b.Names, n)
	}
}

func (l *loader) cause(e entry) {
	b := l.base
	f := l.fields(e, "name", "part", "per_thousand", "remedy", "remedies", "more_likely", "look_alikes")
	c := Cause{ID: e.id, Pos: e.key.Pos, Name: f.must("name"), Part: f.must("part"), Source: f.sourceOf(true), LookAlikes: l.lookAlikes(f.get("look_alikes")), Slot: l.scopeIDs[e.id]}
	if n := f.get("per_thousand"); n == nil {
		l.missing(e, "per_thousand")
	} else if x := l.number(n); x < 0 || x >= 1000 {
		l.r.Problem(n, "range", "", "per_thousand is at least 0 and below 1000")
	} else {
		c.Prior = x / 1000
	}
	for _, item := range l.items(f.get("more_likely")) {
		c.MoreLikely = append(c.MoreLikely, l.likelier(item))
	}
	if f.get("remedy") != nil && f.get("remedies") != nil {
		l.r.Problem(f.get("remedies"), "type", "", "%s has a remedy or remedies, not both", e.id)
	}
	for _, key := range []string{"remedy", "remedies"} {
		for _, item := range l.items(f.get(key)) {
			if h, ok := l.helps(item); ok {
				if slices.ContainsFunc(c.Remedies, func(x Helps) bool { return x.Remedy == h.Remedy }) {
					l.r.Problem(item, "twice", "", "the remedy stands here twice")
				}
				c.Remedies = append(c.Remedies, h)
			}
		}
	}
	b.Causes = append(b.Causes, c)
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
	if n.Shape != source.Map || n.Get("when") == nil || n.Get("times") == nil {
		l.r.Problem(n, "shape", "", "a row of more_likely is {when: a condition over givens, times: a number}")
		return x
	}
	l.allow(n, "a row of more_likely", append([]string{"when", "times", "because"}, everywhere...))
	x.When = l.expression(n.Get("when"), "more_likely", false, KindGiven)
	if x.Times = l.number(n.Get("times")); x.Times <= 0 {
		l.r.Problem(n.Get("times"), "range", "", "times is above 0")
		x.Times = 1
	}
	return x
}

func (l *loader) helps(n *source.Node) (Helps, bool) {
	h := Helps{Chance: 1}
	name := n
	if n.Shape == source.Map {
		l.allow(n, "a remedy of a cause", append([]string{"do", "helps"}, everywhere...))
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
	f := l.fields(e, "when", "says")
	c := Condition{ID: e.id, Pos: e.key.Pos, Says: f.text("says"), Slot: l.scopeIDs[e.id]}
	if n := f.get("when"); n == nil {
		l.missing(e, "when")
	} else {
		c.When = l.expression(n, "a condition", false, downward...)
	}
	l.base.Conditions = append(l.base.Conditions, c)
}

// shows reads the limits of a symptom's bands and its rows.
func (l *loader) shows(e entry, s *Symptom) {
	if e.node.Shape != source.Map {
		return
	}
	if n := e.node.Get("bands"); n != nil && n.Shape == source.List {
		s.Limits = []*Expression{}
		for _, item := range n.Items {
			if item.Shape == source.Map && len(item.Items) == 1 {
				s.Limits = append(s.Limits, l.expression(item.Items[0], "the limit of a band", true, KindGiven))
			}
		}
		l.risingConstants(n, s)
	}
	n := e.node.Get("shows")
	if n == nil {
		if s.Independent {
			l.r.Problem(e.key, "combine", "", "%s combines rows but has no shows", e.id)
		}
		return
	}
	s.Weighs = true
	open := false
	for _, item := range l.items(n) {
		if item.Shape != source.Map {
			l.r.Problem(item, "shape", "", "a row is {when: a condition, value: probability, ...}")
			continue
		}
		if open && !s.Independent {
			l.r.Problem(item, "unreachable-row", "", "this row is never reached: the one before has no `when` and always counts")
			break
		}
		row := Row{Pos: item.Pos}
		if w := item.Get("when"); w != nil {
			row.When = l.expression(w, "a row", false, downward...)
		} else {
			open = true
		}
		row.P = l.row(item, s)
		s.Shows = append(s.Shows, row)
	}
	if len(s.Shows) == 0 {
		l.r.Problem(n, "shape", "", "shows is a list of rows")
	}
}

// risingConstants refuses limits that are numbers and do not rise.
func (l *loader) risingConstants(n *source.Node, s *Symptom) {
	last := math.Inf(-1)
	for i, e := range s.Limits {
		if e == nil || e.Root.Op != OpConstant {
			continue
		}
		if e.Root.Number <= last {
			l.r.Problem(n.Items[i], "bands", "", "the limits of bands rise; %v is not above %v", e.Root.Number, last)
		}
		last = e.Root.Number
	}
}

// row reads the probabilities of one row: those named, what is left shared
// evenly by the others.
func (l *loader) row(n *source.Node, s *Symptom) []float64 {
	p := make([]float64, len(s.Values))
	named := make([]bool, len(s.Values))
	sum, count := 0.0, 0
	for i, k := range n.Keys {
		if slices.Contains(rowKeys, k.Text) {
			continue
		}
		v := slices.Index(s.Values, k.Text)
		switch {
		case v < 0:
			l.r.Problem(k, "unknown-value", source.Nearest(k.Text, s.Values), "%s is not a value of %s (%s)", k.Text, s.ID, strings.Join(s.Values, ", "))
			continue
		case s.Independent && k.Text != "yes":
			l.r.Problem(k, "combine", "", "rows that show a symptom independently name only yes")
			continue
		}
		p[v], named[v] = l.probability(n.Items[i]), true
		sum += p[v]
		count++
	}
	if count == 0 && len(l.r.Problems.List) == 0 {
		l.r.Problem(n, "row", "", "the row names no value of %s (%s)", s.ID, strings.Join(s.Values, ", "))
	}
	switch rest := len(p) - count; {
	case s.Independent:
		for v := range p {
			if !named[v] {
				p[v] = 1 - sum
			}
		}
	case rest == 0 && sum == 0:
		l.r.Problem(n, "row", "", "every value of the row is 0: %s", rowText(s.Values, p))
	case rest == 0:
		for v := range p {
			p[v] /= sum
		}
	case sum > 1+1e-9:
		l.r.Problem(n, "row", "", "the values named add up to more than 1, and %d are not named; with every value named: %s", rest, scaledRow(s.Values, p))
	default:
		for v := range p {
			if !named[v] {
				p[v] = max(0, 1-sum) / float64(rest)
			}
		}
	}
	return p
}

func scaledRow(values []string, p []float64) string {
	sum := 0.0
	for _, x := range p {
		sum += x
	}
	q := make([]float64, len(p))
	for i := range p {
		q[i] = p[i] / sum
	}
	return rowText(values, q)
}

var upward = []Kind{KindGiven, KindSymptom, KindFact}

func (l *loader) rule(e entry, r *Rule) {
	f := l.fields(e, "when", "then", "rules_out", "establishes", "tell", "because", "again")
	*r = Rule{ID: e.id, Pos: e.key.Pos, Tell: f.text("tell"), Because: f.text("because"), Source: f.sourceOf(true)}
	if n := f.get("when"); n == nil {
		l.missing(e, "when")
	} else {
		r.When = l.expression(n, "a rule", false, upward...)
	}
	r.RulesOut, r.Establishes = l.refs(f.get("rules_out"), KindCause), l.refs(f.get("establishes"), KindCause)
	if n := f.get("again"); n != nil && l.flag(n) {
		if r.Again = true; r.Because == "" {
			l.r.Problem(n, "again", "", "%s lets evidence count twice and must say why: give it a `because`", e.id)
		}
	}
	then := f.get("then")
	if then == nil && f.get("rules_out") == nil && f.get("establishes") == nil && f.get("tell") == nil {
		l.r.Problem(e.key, "missing-key", "", "%s concludes nothing: it needs then, rules_out, establishes or tell", e.id)
	}
	if then == nil {
		return
	}
	if then.Shape != source.Map || len(then.Keys) == 0 {
		l.r.Problem(then, "shape", "", "then is {name: value, ...}")
		return
	}
	for i, k := range then.Keys {
		if a, ok := l.assignment(k, then.Items[i]); ok {
			r.Then = append(r.Then, a)
		}
	}
}

func (l *loader) assignment(k, v *source.Node) (Assignment, bool) {
	name, ok := l.scopeIDs[k.Text]
	if !ok || !slices.Contains(upward, l.base.Names[name].Kind) {
		if is := l.kind[k.Text]; is != KindNone {
			l.r.Problem(k, "wrong-kind", "", "%s is a %s; a rule sets givens, symptoms and plain facts", k.Text, kindWords[is])
		}
		return Assignment{}, false
	}
	n := &l.base.Names[name]
	if n.Kind == KindGiven && l.base.Givens[n.Index].Default != nil {
		l.r.Problem(k, "default-and-rule", "", "%s is set by a rule and so cannot have a default", k.Text)
	}
	value := Value{Word: l.text(v)}
	if (n.Type == Number || n.Type == Banded) && v.Shape == source.Scalar && !slices.Contains(n.Words, v.Text) {
		value = Value{Word: v.Text, IsNumber: true, Number: l.quantity(v, n.Unit)}
	}
	slot, ok := l.base.SlotOf(name, value)
	if !ok {
		l.r.Problem(v, "unknown-value", source.Nearest(v.Text, n.Words), "%s is not a value of %s (%s)", v.Text, k.Text, strings.Join(n.Words, ", "))
	}
	slot.Rank = FromRules
	return Assignment{name, slot, v.Text}, ok
}

var placeWords = []string{"phone", "field", "bench"}

var outcomes = []string{"adjusted", "rewired", "part_replaced", "module_out", "unit_out", "not_a_fault", "escalate"}

func (l *loader) step(e entry, kind Kind) Step {
	keys := []string{"do", "minutes", "needs", "at", "who", "stops", "hazard", "puts_right", "brings_back", "only_if", "warnings", "steps"}
	if kind == KindTest {
		keys = append(keys, "yields")
	} else {
		keys = append(keys, "ends_as", "proof", "temporary")
	}
	f := l.fields(e, keys...)
	s := Step{ID: e.id, Kind: kind, Pos: e.key.Pos, Do: f.must("do"), Needs: l.texts(f.get("needs")), Who: Operator, Steps: l.texts(f.get("steps")), Source: f.sourceOf(false)}
	if n := f.get("minutes"); n == nil {
		l.missing(e, "minutes")
	} else {
		s.Minutes = l.within(n, 0, 1e6)
	}
	for _, item := range l.items(f.get("at")) {
		if i := l.oneOf(item, "a place", placeWords...); i >= 0 {
			s.At = append(s.At, Place(placeWords[i]))
		}
	}
	if n := f.get("who"); n != nil {
		s.Who = Who(max(0, l.oneOf(n, "a person", whoWords[1:]...)) + 1)
	}
	if n := f.get("stops"); n != nil {
		s.Stops = Stops(max(0, l.oneOf(n, "something to stop", stopsWords...)))
	}
	s.Hazard = l.hazard(f.get("hazard"))
	s.PutsRight = l.refs(f.get("puts_right"), KindCause)
	s.BringsBack = f.get("brings_back") != nil && l.flag(f.get("brings_back"))
	s.OnlyIf = l.expression(f.get("only_if"), "only_if", false, upward...)
	s.Warnings = l.refs(f.get("warnings"), KindWarning)
	if (s.Hazard != 0 || s.BringsBack) && len(l.items(f.get("warnings"))) == 0 {
		what := "is hazardous"
		if s.Hazard == 0 {
			what = "may bring a silent drop back on line"
		}
		l.r.Problem(e.key, "no-warning", "", "%s %s and has no warning; add what must be said before the step", e.id, what)
	}
	if kind == KindTest {
		if s.Yields = l.refs(f.get("yields"), KindSymptom); f.get("yields") == nil && len(s.PutsRight) == 0 {
			l.missing(e, "yields")
		}
		return s
	}
	l.remedy(f, &s)
	return s
}

func (l *loader) remedy(f fields, s *Step) {
	if n := f.get("ends_as"); n != nil {
		if i := l.oneOf(n, "an outcome of a remedy", outcomes...); i >= 0 {
			s.EndsAs = Outcome(outcomes[i])
		}
	}
	s.Temporary = f.get("temporary") != nil && l.flag(f.get("temporary"))
	if s.EndsAs == "" && f.get("ends_as") == nil && !s.Temporary {
		l.missing(f.e, "ends_as")
	}
	n := f.get("proof")
	if n == nil {
		return
	}
	if n.Shape != source.Map || n.Get("watch") == nil {
		l.r.Problem(n, "shape", "", "proof is {watch: a symptom, minutes: how long}")
		return
	}
	l.allow(n, "proof", append([]string{"watch", "minutes"}, everywhere...))
	s.Proof = &Proof{Watch: l.ref(n.Get("watch"), KindSymptom)}
	if m := n.Get("minutes"); m != nil {
		s.Proof.Minutes = l.within(m, 0, 1e6)
	}
}

func (l *loader) hazard(n *source.Node) Hazard {
	if n == nil || n.Shape == source.Scalar && n.Text == "none" {
		return 0
	}
	var h Hazard
	for _, item := range l.items(n) {
		if i := l.oneOf(item, "a hazard", append([]string{"none"}, hazardWords...)...); i > 0 {
			h |= 1 << (i - 1)
		}
	}
	return h
}

func (l *loader) complaint() {
	for _, h := range l.header {
		if h == nil || h.Shape != source.Map || h.Get("complaint") == nil {
			continue
		}
		n := h.Get("complaint")
		symptom, bad, well := n.Get("symptom"), n.Get("bad"), n.Get("well")
		if n.Shape != source.Map || symptom == nil || bad == nil || well == nil {
			l.r.Problem(n, "shape", "", "complaint is {symptom: id, bad: value, well: value}")
			continue
		}
		l.allow(n, "complaint", []string{"symptom", "bad", "well", "note"})
		i := l.ref(symptom, KindSymptom)
		if i < 0 {
			continue
		}
		s := &l.base.Symptoms[i]
		c := &Complaint{Symptom: i, Bad: l.oneOf(bad, "a value of "+s.ID, s.Values...), Well: l.oneOf(well, "a value of "+s.ID, s.Values...)}
		if c.Bad == c.Well && c.Bad >= 0 {
			l.r.Problem(well, "complaint", "", "bad and well are the same value")
		}
		l.base.Complaint = c
	}
}

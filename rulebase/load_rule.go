package rulebase

import (
	"slices"
	"strings"

	"downdrop/rulebase/source"
)

// A plainFact is what the rules give to a name that no section declares.
type plainFact struct {
	key   *source.Node // where it is set first
	typ   Type
	words []string
}

// facts finds the plain facts: what rules set and no section declares. Their
// type is that of the values given to them.
func (l *loader) facts() {
	b := l.base
	b.Rules = make([]Rule, len(l.sections["rules"]))
	all := map[string]*plainFact{}
	var order []string
	for _, e := range l.sections["rules"] {
		then := e.node.Get("then")
		if then == nil || then.Shape != source.Map {
			continue
		}
		for i, k := range then.Keys {
			v := then.Items[i]
			if l.kind[k.Text] != KindNone || v.Shape != source.Scalar || v.Empty || !l.goodID(k) {
				continue
			}
			x := all[k.Text]
			if x == nil {
				x = &plainFact{key: k, typ: typeOf(v)}
				all[k.Text] = x
				order = append(order, k.Text)
			}
			l.factValue(x, k, v)
		}
	}
	for _, id := range order {
		b.index[id] = Ref{KindFact, len(b.Names)}
		b.Names = append(b.Names, Name{ID: id, Kind: KindFact, Type: all[id].typ, Words: wordsOf(all[id].typ, all[id].words)})
	}
}

// typeOf is the type of a value by its looks.
func typeOf(v *source.Node) Type {
	switch {
	case v.Quoted:
		return Choice
	case decimal().MatchString(v.Text):
		return Number
	case slices.Contains([]string{"true", "false", "yes", "no"}, strings.ToLower(v.Text)):
		return Flag
	}
	return Choice
}

func (l *loader) factValue(x *plainFact, k, v *source.Node) {
	typ := typeOf(v)
	if typ != x.typ {
		l.r.Problem(v, "type", "", "%s is %s here and %s at %s", k.Text, typeWords[typ], typeWords[x.typ], positionOf(x.key))
		return
	}
	if typ == Choice && len(x.words) < mostValues && !slices.Contains(x.words, v.Text) && l.valueName(v, nil) {
		x.words = append(x.words, v.Text)
	}
}

var typeWords = map[Type]string{Flag: "true or false", Choice: "a word", Number: "a number", Banded: "a reading"}

var upward = []Kind{KindGiven, KindSymptom, KindFact}

func (l *loader) rule(e entry, r *Rule) {
	f := l.fields(e, "rules")
	*r = Rule{ID: e.id, Pos: e.key.Pos, Tell: f.text("tell"), Because: f.text("because"), Source: f.sourceOf(true)}
	r.When = l.expression(f.need("when"), "a rule", false, upward...)
	r.RulesOut, r.Establishes = l.refs(f.get("rules_out"), KindCause), l.refs(f.get("establishes"), KindCause)
	if n := f.get("again"); n != nil && l.flag(n) {
		if r.Again = true; r.Because == "" {
			l.r.Problem(n, "again", "", "%s lets evidence count twice and must say why: give it a `because`", e.id)
		}
	}
	then := f.get("then")
	if !f.broken && then == nil && f.get("rules_out") == nil && f.get("establishes") == nil && f.get("tell") == nil {
		l.r.Problem(e.key, "missing-key", "", "%s concludes nothing: it needs then, rules_out, establishes or tell", e.id)
	}
	if then == nil || then.Empty {
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

// assignment is one conclusion of a rule.
func (l *loader) assignment(k, v *source.Node) (Assignment, bool) {
	none := Assignment{}
	if is := l.kind[k.Text]; is != KindNone && !slices.Contains(upward, is) {
		l.r.Problem(k, "wrong-kind", "", "%s is a %s, at %s; a rule sets givens, symptoms and plain facts", k.Text, kindWords[is], positionOf(l.seen[k.Text].key))
		return none, false
	}
	if v.Shape != source.Scalar || v.Empty {
		l.r.Problem(v, "shape", "", "one value is wanted for %s", k.Text)
		return none, false
	}
	name, ok := l.scopeIDs[k.Text]
	if !ok {
		return none, false // it is no id, which was said
	}
	n := &l.base.Names[name]
	if n.Kind == KindFact && n.Type != typeOf(v) {
		return none, false // said where the facts were found
	}
	if n.Kind == KindGiven && l.base.Givens[n.Index].Default != nil {
		l.r.Problem(k, "default-and-rule", "", "%s is set by a rule here and so cannot have a default, as it has at %s", k.Text, positionOf(l.seen[k.Text].key))
	}
	value := Value{Word: v.Text}
	if (n.Type == Number || n.Type == Banded) && !slices.Contains(n.Words, v.Text) {
		x, ok := l.quantityOK(v, n.Unit)
		if !ok {
			return none, false
		}
		value = Value{Word: v.Text, IsNumber: true, Number: x}
	}
	slot, ok := l.base.SlotOf(name, value)
	if !ok && len(n.Words) > 0 {
		l.r.Problem(v, "unknown-value", l.nearest(v.Text, n.Words), "%q is not a value of %s (%s)", v.Text, k.Text, strings.Join(n.Words, ", "))
	}
	slot.Rank = FromRules
	return Assignment{name, slot, v.Text}, ok
}

package rulebase

import (
	"slices"
	"strings"

	"downdrop/rulebase/source"
)

// An OnSite is what a site calls an entry: its lamp, its wires and terminals, the
// message its controller shows. It adds to what a person reads and moves no number.
type OnSite struct {
	ID     string // of a symptom, test, remedy or cause
	Pos    Position
	Called string            // "lamp H4 on door 2"; "" where only the values have names
	Where  string            // where it is found; ""
	Values map[string]string // of a symptom: what the site calls a value
}

// Text is what the site calls it and where it is; "" where it says neither.
func (o OnSite) Text() string {
	if o.Called != "" && o.Where != "" {
		return o.Called + ", " + o.Where
	}
	return o.Called + o.Where
}

// SiteName is what the site calls an entry; the zero OnSite where it has no name
// for it.
func (b *Base) SiteName(id string) OnSite {
	if i, ok := slices.BinarySearchFunc(b.OnSite, id, func(o OnSite, id string) int { return strings.Compare(o.ID, id) }); ok {
		return b.OnSite[i]
	}
	return OnSite{}
}

// onSiteKinds are what a site can name.
var onSiteKinds = []Kind{KindSymptom, KindTest, KindRemedy, KindCause}

// onSite reads what the site calls an entry.
func (l *loader) onSite(e entry) {
	f := l.fields(e, "on_site")
	if !l.siteNames(e.key) {
		return
	}
	o := OnSite{ID: e.id, Pos: e.key.Pos, Called: f.text("called"), Where: f.text("where")}
	values := f.get("values")
	if values != nil {
		o.Values = l.siteValues(values, e.id)
	}
	if !f.broken && f.node.Get("called") == nil && f.node.Get("where") == nil && f.node.Get("values") == nil {
		l.r.Problem(e.key, "missing-key", "", "%s is given no name here: it needs called, where or values", e.id)
	}
	l.base.OnSite = append(l.base.OnSite, o)
}

// siteNames says that an id is one that a site can name.
func (l *loader) siteNames(key *source.Node) bool {
	is := l.kind[key.Text]
	if slices.Contains(onSiteKinds, is) {
		return true
	}
	if is != KindNone {
		l.r.Problem(key, "wrong-kind", "", "%s is a %s; a site names symptoms, tests, remedies and causes", key.Text, kindWords[is])
		return false
	}
	var ids []string
	for _, kind := range onSiteKinds {
		ids = append(ids, l.ids(kind)...)
	}
	l.r.Problem(key, "unknown-id", l.nearest(key.Text, ids), "no symptom, test, remedy or cause is called %q", key.Text)
	return false
}

// siteValues are {value of the symptom: what the site calls it}. Two values of one
// name could not be told apart by whoever reads or says it.
func (l *loader) siteValues(n *source.Node, id string) map[string]string {
	ref := l.base.index[id]
	if ref.Kind != KindSymptom {
		l.r.Problem(n, "type", "", "%s is a %s; only a symptom has values", id, kindWords[ref.Kind])
		return nil
	}
	if n.Shape != source.Map {
		l.r.Problem(n, "shape", "", "values are {value: what it is called here, ...}")
		return nil
	}
	s := &l.base.Symptoms[ref.Index]
	names, by := map[string]string{}, map[string]string{}
	for i, k := range n.Keys {
		switch {
		case k.Text == "note":
			continue
		case k.Text == "source":
			l.sourceID(n.Items[i])
			continue
		case !slices.Contains(s.Values, k.Text):
			l.notAValue(k, n.Items[i], s)
			continue
		case n.Items[i].Empty:
			l.r.Problem(k, "empty", "", "%s has nothing behind it; write the value, or take the key out", k.Text)
			continue
		}
		name := l.text(n.Items[i])
		if other, taken := by[strings.ToLower(name)]; taken {
			l.r.Problem(n.Items[i], "twice", "", "%s is called the same as %s; whoever says %q must mean one of them", k.Text, other, name)
		}
		if word := strings.ReplaceAll(strings.ToLower(name), " ", "_"); word != k.Text && slices.Contains(s.Values, word) {
			l.r.Problem(n.Items[i], "twice", "", "%s is called what another value of %s is; whoever says %q must mean one of them", k.Text, id, name)
		}
		names[k.Text], by[strings.ToLower(name)] = name, k.Text
	}
	return names
}

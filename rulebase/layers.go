package rulebase

import (
	"slices"
	"strings"

	"downdrop/rulebase/source"
)

// An Entry is an entry of a section as one layer writes it.
type Entry struct {
	Section string
	ID      string
	Pos     Position
	Layer   int
	Over    *Overlaid // what it stands for; nil where the layer adds it
}

// Overlaid is what an entry of a layer did to the one of a lower layer.
type Overlaid struct {
	Pos     Position // of the lower one
	Layer   int
	Whole   bool        // it replaces the whole entry; else it changes some keys
	Fields  []KeyChange // those that differ; none where it says what the lower one said
	Repeats []string    // keys that a whole entry writes again as they stood below: they no longer follow it
}

// A KeyChange is a key of an entry whose value a layer has changed. Of a list only
// what went and what came is kept.
type KeyChange struct {
	Key      string
	Old, New string // in one line of YAML; "" where there was, or is, none
	Went     []string
	Came     []string
}

// Entries are the entries of all layers as written, the lowest layer first, those
// included that a higher one replaces.
func (b *Base) Entries() []Entry { return b.positions.entries }

// HeaderChanges are the settings of a layer's header that differ from what holds
// below it; of the lowest layer none.
func (b *Base) HeaderChanges(layer int) []KeyChange { return b.positions.headerChanges[layer] }

// Overlays counts the entries that stand for one of a lower layer.
func (b *Base) Overlays() int {
	n := 0
	for _, e := range b.positions.entries {
		if e.Over != nil {
			n++
		}
	}
	return n
}

// An overlay is the key by which an entry stands for one of a lower layer.
type overlay string

const (
	overlayNone     overlay = ""
	overlayReplaces overlay = "replaces" // the whole entry
	overlayChanges  overlay = "changes"  // the keys that it writes
)

// overlay reads how an entry is laid over a lower one.
func (l *loader) overlay(e entry) overlay {
	how := overlayNone
	for _, o := range []overlay{overlayReplaces, overlayChanges} {
		n := e.node.Get(string(o))
		switch {
		case n == nil || !l.flag(n):
		case how != overlayNone:
			l.r.Problem(n, "type", "", "%s replaces the lower entry or changes it, not both", e.id)
		default:
			how = o
		}
	}
	return how
}

// layOver is the entry that holds from here on, and records what has changed.
func (l *loader) layOver(section string, before, e entry, how overlay) entry {
	if how == overlayChanges {
		e.node = changed(before.node, e.node)
	}
	over := &Overlaid{Repeats: repeated(section, before.node, e.node, how), Pos: before.key.Pos, Layer: before.layer, Whole: how == overlayReplaces, Fields: differing(section, before.node, e.node)}
	l.entries = append(l.entries, Entry{Section: section, ID: e.id, Pos: e.key.Pos, Layer: e.layer, Over: over})
	return e
}

// partners are the keys that stand for one another: who writes one means the
// other to go.
var partners = map[string]string{"remedy": "remedies", "remedies": "remedy", "values": "bands", "bands": "values"}

// added are the keys whose lists a layer adds to a lower one's: its own come first.
var added = []string{"also_when", "shows_first"}

// changed is a lower entry with the keys that a higher one writes.
func changed(lower, upper *source.Node) *source.Node {
	if lower.Shape != source.Map || upper.Shape != source.Map {
		return upper // said where the entry is read
	}
	n := *upper
	n.Keys, n.Items = slices.Clone(upper.Keys), slices.Clone(upper.Items)
	for i, k := range lower.Keys {
		switch at := slices.IndexFunc(upper.Keys, func(o *source.Node) bool { return o.Text == k.Text }); {
		case at >= 0 && slices.Contains(added, k.Text):
			n.Items[at] = joined(upper.Items[at], lower.Items[i])
		case at >= 0, upper.Get(partners[k.Text]) != nil, slices.Contains(keyNames()["overlaying"], k.Text):
		default:
			n.Keys, n.Items = append(n.Keys, k), append(n.Items, lower.Items[i])
		}
	}
	return &n
}

// joined is a list of what stands in two.
func joined(first, second *source.Node) *source.Node {
	n := *first
	n.Shape, n.Text, n.Items = source.List, "", nil
	for _, part := range []*source.Node{first, second} {
		if part.Shape == source.List {
			n.Items = append(n.Items, part.Items...)
		} else {
			n.Items = append(n.Items, part)
		}
	}
	return &n
}

// differing are the keys whose values differ, in the order of the format.
func differing(section string, before, after *source.Node) []KeyChange {
	var fields []KeyChange
	for _, key := range keyNames()[section] {
		if f, differs := fieldOf(key, before.Get(key), after.Get(key)); differs {
			fields = append(fields, f)
		}
	}
	return fields
}

// repeated are the keys that an entry that replaces the whole lower one writes as
// they stand there.
func repeated(section string, before, after *source.Node, how overlay) []string {
	var all []string
	for _, key := range keyNames()[section] {
		if old := before.Get(key); how == overlayReplaces && old != nil && old.Flow() == after.Get(key).Flow() {
			all = append(all, key)
		}
	}
	return all
}

func fieldOf(key string, old, now *source.Node) (KeyChange, bool) {
	f := KeyChange{Key: key, Old: old.Flow(), New: now.Flow()}
	if f.Old == f.New {
		return f, false
	}
	if old != nil && now != nil && old.Shape == source.List && now.Shape == source.List {
		f.Went, f.Came = lacking(old, now), lacking(now, old)
	}
	return f, true
}

// lacking are the items of a list that another lacks.
func lacking(from, in *source.Node) []string {
	var there []string
	for _, item := range in.Items {
		there = append(there, item.Flow())
	}
	var all []string
	for _, item := range from.Items {
		if text := item.Flow(); !slices.Contains(there, text) {
			all = append(all, text)
		}
	}
	return all
}

// notSettings are the keys of a header that are the layer's own.
var notSettings = []string{"name", "version", "format", "extends", "note", "source"}

// ofTheirOwn are the keys of a header whose maps are added to the ones below, key by
// key.
var ofTheirOwn = []string{"words", "effort", "parts"}

// headerChanges are what each header changes of what holds below it.
func (l *loader) headerChanges() [][]KeyChange {
	holds := map[string]*source.Node{}
	all := make([][]KeyChange, len(l.header))
	for i, h := range l.header {
		for _, key := range keyNames()["rulebase"] {
			now := h.Get(key)
			if now == nil || slices.Contains(notSettings, key) {
				continue
			}
			names, values := []string{key}, []*source.Node{now}
			if slices.Contains(ofTheirOwn, key) && now.Shape == source.Map {
				names, values = nil, now.Items
				for _, k := range now.Keys {
					names = append(names, key+"."+k.Text)
				}
			}
			for j, name := range names {
				if f, differs := fieldOf(name, holds[name], values[j]); differs && i > 0 {
					all[i] = append(all[i], f)
				}
				holds[name] = values[j]
			}
		}
	}
	return all
}

// either is a condition that holds where one of two does.
func (l *loader) either(a, b *Expression) *Expression {
	if a == nil || b == nil {
		return a
	}
	scope := &Scope{Names: l.base.Names, ByID: l.scopeIDs, Allow: downward, Where: "a condition"}
	e, problems := ParseExpression(bracketed(a)+" or "+bracketed(b), a.Pos, scope)
	for _, p := range problems { // each by itself is right: together they are too long or too deep
		p.Position = b.Pos
		l.r.Add(p)
	}
	return e
}

// bracketed puts an expression in parentheses, unless it is one name: whoever reads the
// two joined sees which is which.
func bracketed(e *Expression) string {
	if strings.ContainsAny(e.Text, " ") {
		return "(" + e.Text + ")"
	}
	return e.Text
}

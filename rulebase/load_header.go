package rulebase

import (
	"maps"
	"math"
	"slices"

	"downdrop/rulebase/source"
)

func (l *loader) readHeader() {
	b := l.base
	*b = Base{Digest: b.Digest, FaultsAtMost: 3, Together: 1, Outside: 0.015, Sure: Sureness{Everywhere: 1}, FactFrom: 0.95,
		Effort: Effort{StopsDrop: 5, StopsBus: 30, Visit: 120}, GiveUp: 240, Words: maps.Clone(wordScale), Sources: b.Sources}
	for i, h := range l.header {
		if h == nil {
			b.Layers = append(b.Layers, "")
			continue
		}
		e := entry{"the header", l.headerKey[i], h, i}
		f := l.fields(e, "rulebase")
		b.Name = f.must("name")
		l.format(f.get("format"), "the rulebase")
		l.extends(f, i)
		b.Layers = append(b.Layers, b.Name)
		l.headerNumbers(f)
	}
}

// format refuses what a newer program wrote.
func (l *loader) format(n *source.Node, what string) {
	if n == nil {
		return
	}
	if x, ok := l.numberOK(n); ok && x != 1 {
		l.r.Problem(n, "format", "", "this program reads format 1; %s is of format %s", what, n.Text)
	}
}

func (l *loader) extends(f fields, layer int) {
	b, n := l.base, f.get("extends")
	switch {
	case n == nil && layer > 0 && b.Layers[layer-1] == "":
		l.r.Problem(f.e.key, "extends", "", "%s is laid over another rulebase and must say over which, by `extends`", b.Name)
	case n == nil && layer > 0:
		l.r.Problem(f.e.key, "extends", "", "%s is laid over another rulebase and must say over which: `extends: %s`", b.Name, b.Layers[layer-1])
	case n == nil:
	case layer == 0:
		l.r.Problem(n, "extends", "", "%s extends %s, which must be laid below it: name that folder first", b.Name, n.Text)
	case !slices.Contains(b.Layers, n.Text):
		l.r.Problem(n, "extends", l.nearest(n.Text, b.Layers), "no rulebase laid below is called %q", n.Text)
	}
}

func (l *loader) headerNumbers(f fields) {
	b := l.base
	if n := f.get("version"); n != nil {
		b.Version = l.whole(n, 0, math.MaxInt32)
	}
	if n := f.get("faults_at_most"); n != nil {
		b.FaultsAtMost = l.whole(n, 1, 1000)
	}
	if n := f.get("together"); n != nil {
		b.Together = l.within(n, 0, 1000)
	}
	if n := f.get("outside_per_thousand"); n != nil {
		b.Outside = l.perThousand(n)
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
		l.words(n)
	}
	if n := f.get("effort"); n != nil {
		l.effort(n, &b.Effort)
	}
	if n := f.get("parts"); n != nil {
		l.parts(n)
	}
}

// parts are what the weights of the causes of each part add up to: {supply: 150,
// ...}, in a thousand. A part that a lower header names too gets the new weight.
func (l *loader) parts(n *source.Node) {
	if n.Shape != source.Map {
		l.r.Problem(n, "shape", "", "parts are {part: what its causes add up to in a thousand, ...}")
	}
	b := l.base
	for i, k := range n.Keys {
		p := PartWeight{Part: k.Text, PerThousand: l.within(n.Items[i], 0, 1e6), Pos: k.Pos}
		if at := slices.IndexFunc(b.Parts, func(x PartWeight) bool { return x.Part == p.Part }); at >= 0 {
			b.Parts[at] = p
			continue
		}
		b.Parts = append(b.Parts, p)
	}
}

// words changes the scale of words for probabilities.
func (l *loader) words(n *source.Node) {
	if n.Shape != source.Map {
		l.r.Problem(n, "shape", "", "words are {word: probability, ...}")
	}
	for i, k := range n.Keys {
		if !isID(k.Text) {
			l.r.Problem(k, "id", "", "%q cannot be a word of the scale: it is small letters, digits and _", k.Text)
		}
		l.base.Words[k.Text] = l.within(n.Items[i], 0, 1)
	}
}

func (l *loader) effort(n *source.Node, e *Effort) {
	if n.Shape != source.Map {
		l.r.Problem(n, "shape", "", "effort is {stops_drop: minutes, stops_bus: minutes, visit: minutes}")
		return
	}
	l.allow(n, "effort", keyNames()["effort"])
	for i, k := range n.Keys {
		switch k.Text {
		case "stops_drop":
			e.StopsDrop = l.within(n.Items[i], 0, 1e6)
		case "stops_bus":
			e.StopsBus = l.within(n.Items[i], 0, 1e6)
		case "visit":
			e.Visit = l.within(n.Items[i], 0, 1e6)
		}
	}
}

// complaint is read when the symptoms are known; the highest layer's counts.
func (l *loader) complaint() {
	for _, h := range l.header {
		if h == nil {
			continue
		}
		if n := h.Get("complaint"); n != nil && !n.Empty {
			l.base.Complaint = l.oneComplaint(n)
		}
	}
}

func (l *loader) oneComplaint(n *source.Node) *Complaint {
	symptom, bad, well := n.Get("symptom"), n.Get("bad"), n.Get("well")
	l.allow(n, "complaint", keyNames()["complaint"])
	if symptom == nil || bad == nil || well == nil {
		l.r.Problem(n, "shape", "", "complaint is {symptom: id, bad: value, well: value}")
		return nil
	}
	i := l.ref(symptom, KindSymptom)
	if i < 0 || len(l.base.Symptoms[i].Values) == 0 {
		return nil
	}
	s := &l.base.Symptoms[i]
	c := &Complaint{Symptom: i, Bad: l.oneOf(bad, "a value of "+s.ID, s.Values...), Well: l.oneOf(well, "a value of "+s.ID, s.Values...)}
	if c.Bad == c.Well && c.Bad >= 0 {
		l.r.Problem(well, "complaint", "", "bad and well are the same value")
	}
	return c
}

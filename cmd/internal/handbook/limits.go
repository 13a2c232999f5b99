package handbook

import (
	"slices"
	"strings"

	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
)

// A kind is what is known of an installation and decides limits: a word of a
// given, such as the kind of line.
type kind struct {
	given  int // index; -1: nothing said, the defaults
	word   string
	limits [][]float64 // by symptom
}

// kindsOf works out the limits under the defaults, and under every word of every
// choice that the rulebase asks for.
func kindsOf(p *engine.Prepared) []kind {
	kinds := []kind{{given: -1, limits: p.Limits(rulebase.Situation{})}}
	for i := range p.Base().Givens {
		g := &p.Base().Givens[i]
		if g.Type != rulebase.Choice {
			continue
		}
		for _, word := range g.OneOf {
			s := rulebase.Situation{Givens: []rulebase.GivenValue{{ID: g.ID, Value: rulebase.Value{Word: word}}}}
			kinds = append(kinds, kind{given: i, word: word, limits: p.Limits(s)})
		}
	}
	return kinds
}

// limitRows say the bands of a reading: as the rulebase writes them, and in
// figures for each kind of line that changes them.
func (b *builder) limitRows(symptom int) []Row {
	s := &b.base.Symptoms[symptom]
	if !s.Banded() {
		return nil
	}
	var written []Line
	constant := true
	for i, v := range s.Values {
		if i == len(s.Limits) {
			written = append(written, say(sayTopBand(wording.Plain(v))))
			continue
		}
		line := append(say(sayBand(wording.Plain(v))), b.expression(s.Limits[i])...)
		written = append(written, line.then(" "+s.Unit))
		constant = constant && len(s.Limits[i].Reads()) == 0
	}
	rows := []Row{{labelBands, []Block{{List: written}}}}
	if constant {
		return rows
	}
	usual := b.kinds[0].limits[symptom]
	var figures []Line
	for i := 1; i < len(b.kinds); {
		j := i
		for j < len(b.kinds) && b.kinds[j].given == b.kinds[i].given {
			j++
		}
		if same := b.kinds[i:j]; slices.ContainsFunc(same, func(k kind) bool { return !slices.Equal(k.limits[symptom], usual) }) {
			for _, k := range same {
				g := b.base.Givens[k.given].ID
				line := Line{b.ref(g, wording.Plain(g))}.then(wordIs + wording.Plain(k.word) + ": ")
				figures = append(figures, append(line, b.figures(s, k.limits[symptom])...))
			}
		}
		i = j
	}
	if figures == nil {
		figures = []Line{b.figures(s, usual)}
	}
	return append(rows, listRow(labelFigures, figures))
}

// figures are the limits of one kind, in numbers.
func (b *builder) figures(s *rulebase.Symptom, limits []float64) Line {
	if limits != nil {
		words := make([]string, len(limits))
		for i, x := range limits {
			words[i] = sayLimit(wording.Plain(s.Values[i]), figure(x)+" "+s.Unit)
		}
		return say(strings.Join(words, "; ") + ".")
	}
	var read []Span
	for _, l := range s.Limits {
		for _, n := range l.Reads() {
			name := &b.base.Names[n]
			known := name.Kind != rulebase.KindGiven || b.base.Givens[name.Index].Default != nil || b.derived(n)
			if span := b.name(n); !known && !slices.Contains(read, span) {
				read = append(read, span)
			}
		}
	}
	if read == nil {
		return say(sayNoLimits)
	}
	return joined(sayLimitsNeed, read, wordAndPlain)
}

// derived says whether some rule sets a name.
func (b *builder) derived(name int) bool {
	return slices.ContainsFunc(b.base.Rules, func(r rulebase.Rule) bool {
		return slices.ContainsFunc(r.Then, func(a rulebase.Assignment) bool { return a.Name == name })
	})
}

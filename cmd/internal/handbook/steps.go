package handbook

import (
	"slices"

	"downdrop/cmd/internal/wording"
	"downdrop/rulebase"
)

// tests is the chapter of test cards.
func (b *builder) tests() Chapter {
	c := Chapter{ID: chapterTests, Title: titleTests, Intro: paragraph(introTests)}
	for _, s := range b.shelves.tests {
		g := b.group(chapterTests, s.part, sayNoTestPart)
		for _, i := range s.indices {
			g.Entries = append(g.Entries, b.test(&b.base.Tests[i]))
		}
		c.Groups = append(c.Groups, g)
	}
	return c
}

func (b *builder) test(t *rulebase.Step) Entry {
	all := []Row{{labelTest, []Block{{Procedure: b.procedure(t)}}}}
	for _, s := range t.Yields {
		all = append(append(all, b.yields(s)), b.limitRows(s)...)
	}
	if t.Kind == rulebase.KindTest && slices.ContainsFunc(t.Yields, b.told.Weighs) {
		all = append(all, textRow(labelWorth, sayGain(b.gain[t.ID])))
	}
	all = append(all, listRow(labelBestFor, b.bestFor(t)))
	if len(t.PutsRight) > 0 {
		var spans []Span
		for _, c := range t.PutsRight {
			spans = append(spans, b.causeRef(c))
		}
		all = append(all, Row{labelPutsRight, []Block{{List: refs(spans)}}})
	}
	all = append(all, b.sourceRow(t.Source))
	return b.entry(t.ID, t.Do, all...)
}

// yields says which causes each value of a symptom is the sign of: those that,
// alone, show it more often than any other, where a healthy drop does not.
func (b *builder) yields(symptom int) Row {
	s := &b.base.Symptoms[symptom]
	blocks := []Block{{Text: b.asked(symptom)}}
	if !b.told.Weighs(symptom) {
		return Row{labelShows, append(blocks, Block{Text: say(sayWeighsNothing)})}
	}
	usual := b.likeliest(symptom, -1)
	var list []Line
	for v := range s.Values {
		var signOf []int
		for c := range b.base.Causes {
			if v != usual && b.likeliest(symptom, c) == v {
				signOf = append(signOf, c)
			}
		}
		value := Line{strong(capital(wording.Plain(s.Values[v])) + ": ")}
		switch {
		case v == usual:
			list = append(list, value.then(sayUsual))
		case len(signOf) == 0:
			list = append(list, value.then(saySignOfNone))
		default:
			list = append(list, append(value, joined("", b.named(signOf), wordOrPlain).then(".")...))
		}
	}
	return Row{labelShows, append(blocks, Block{List: list})}
}

// named are causes by their names; where there are many, by their ids' words.
func (b *builder) named(causes []int) []Span {
	spans := make([]Span, len(causes))
	for i, c := range causes {
		spans[i] = b.causeRef(c)
		if id := b.base.Causes[c].ID; len(causes) > mostNamed {
			spans[i] = b.ref(id, wording.Plain(id))
		}
	}
	return spans
}

// likeliest is the value that a cause by itself shows most often; -1: that a
// drop shows of which nothing is wrong.
func (b *builder) likeliest(symptom, cause int) int {
	best, most := 0, -1.0
	for v := range b.base.Symptoms[symptom].Values {
		p := 0.0
		if cause < 0 {
			p = b.told.Nothing(symptom, v)
		} else {
			p = b.told.Alone(symptom, v, cause)
		}
		if p > most+1e-12 {
			best, most = v, p
		}
	}
	return best
}

// bestFor are the pairs of look-alikes that no test tells apart better, at some place.
func (b *builder) bestFor(t *rulebase.Step) []Line {
	var lines []Line
	for x := range b.base.Causes {
		for y := x + 1; y < len(b.base.Causes); y++ {
			if !b.declared(x, y) {
				continue
			}
			var at []rulebase.Place
			bits := 0.0
			for p, best := range b.judge(x, y).best {
				if best.test >= 0 && &b.base.Tests[best.test] == t {
					at, bits = append(at, places[p]), best.bits
				}
			}
			if at != nil {
				line := append(say(sayBestAt(at, bits)), b.causeRef(x))
				lines = append(lines, append(line.then(wordFrom), b.causeRef(y)).then("."))
			}
		}
	}
	return lines
}

// remedies is the chapter of what puts causes right.
func (b *builder) remedies() Chapter {
	c := Chapter{ID: chapterRemedies, Title: titleRemedies, Intro: paragraph(introRemedies)}
	for _, s := range b.shelves.remedies {
		g := b.group(chapterRemedies, s.part, sayNoRemedyPart)
		for _, i := range s.indices {
			g.Entries = append(g.Entries, b.remedy(i))
		}
		c.Groups = append(c.Groups, g)
	}
	return c
}

func (b *builder) remedy(i int) Entry {
	r := &b.base.Remedies[i]
	var list []Line
	for c := range b.base.Causes {
		for _, h := range b.base.Causes[c].Remedies {
			if h.Remedy != i {
				continue
			}
			line := Line{b.causeRef(c)}
			if h.Chance < 1 {
				line = line.then(sayHelps(h.Chance))
			}
			list = append(list, line)
		}
	}
	return b.entry(r.ID, r.Do,
		Row{labelRemedyCard, []Block{{Procedure: b.procedure(r)}}},
		listRow(labelPutsRight, list),
		b.sourceRow(r.Source))
}

// procedure is a step as it is carried out, its warnings first.
func (b *builder) procedure(s *rulebase.Step) *Procedure {
	p := &Procedure{Step: s.ID, Facts: b.facts(s)}
	for _, l := range levels { // the gravest first
		for _, w := range s.Warnings {
			if warning := &b.base.Warnings[w]; warning.Level == l.level {
				p.Warnings = append(p.Warnings, b.warning(warning))
			}
		}
	}
	for _, line := range s.Steps {
		p.Steps = append(p.Steps, say(line))
	}
	if len(p.Steps) == 0 {
		p.Steps = []Line{say(sentence(s.Do))}
	}
	if s.Kind == rulebase.KindRemedy {
		if s.Proof != nil {
			watch := b.symptomRef(s.Proof.Watch)
			p.After = append(p.After, append(say(sayProof(s.Proof)), watch))
		}
		if s.Temporary {
			for _, says := range wording.Stopgap(s) {
				p.After = append(p.After, say(says))
			}
		} else if says := endings[s.EndsAs]; says != "" {
			p.After = append(p.After, say(says))
		}
	}
	return p
}

func (b *builder) warning(w *rulebase.Warning) Warning {
	says := say(w.Says)
	if w.Because != "" {
		says = says.then(sayBecause(w.Because))
	}
	return Warning{ID: w.ID, Level: string(w.Level), Says: append(says.then(" "), b.ref(w.ID, ""))}
}

// facts says who does a step, with what, where, how long, and what it stops.
func (b *builder) facts(s *rulebase.Step) []Line {
	lines := []Line{say(sayEffort(s))}
	if len(s.Needs) > 0 {
		lines = append(lines, say(sayNeeds(wording.PlainAll(s.Needs))))
	}
	if says := wording.Stops(s.Stops); says != "" {
		lines = append(lines, say(says))
	}
	if says := wording.Hazards(s.Hazard); says != "" {
		lines = append(lines, say(says))
	}
	if s.BringsBack {
		lines = append(lines, say(sayBringsBack))
	}
	if s.OnlyIf != nil {
		lines = append(lines, append(say(sayOnlyIf), b.expression(s.OnlyIf)...).then("."))
	}
	return lines
}

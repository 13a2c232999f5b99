package handbook

import (
	"context"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"sync"

	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
)

// A builder makes a Book: first the order of all entries, and so the numbers by
// which they name one another; then the entries.
type builder struct {
	base   *rulebase.Base
	told   *engine.Telling
	kinds  []kind             // sets of limits, by what decides them
	gain   map[string]float64 // by test: bits, before anything is seen
	at     map[rulebase.Place]map[string]bool
	parts  []string             // of the drop, in the order of the rulebase
	about  []map[string]float64 // by symptom: how much it tells about a part
	judged map[[2]int]judgement

	shelves struct{ symptoms, causes, tests, remedies []shelf }
	number  map[string]int // by id
}

// A shelf is entries of one section that stand together: those of a part.
type shelf struct {
	part    string // "": none
	indices []int
}

// places in the order in which a book speaks of them.
var places = []rulebase.Place{rulebase.Phone, rulebase.Field, rulebase.Bench}

// New makes the handbook of a rulebase. The error is only ever ctx's.
func New(ctx context.Context, p *engine.Prepared) (*Book, error) {
	b := &builder{base: p.Base(), told: p.Telling(rulebase.Situation{}), kinds: kindsOf(p), gain: map[string]float64{},
		at: map[rulebase.Place]map[string]bool{}, judged: map[[2]int]judgement{}, number: map[string]int{}}
	for _, place := range append([]rulebase.Place{""}, places...) {
		d, err := engine.Diagnose(ctx, p, rulebase.Situation{At: place}, engine.Options{})
		if err != nil {
			return nil, err
		}
		b.take(place, d)
	}
	b.weighParts()
	b.arrange()
	cover := []Block{{Text: say(sayVersion(b.base.Name, b.base.Version))}, {Text: Line{strong(sayLocalFirst)}}}
	book := &Book{Title: clean(sayTitle(b.base.Name)), Cover: cover, Entries: len(b.number)}
	for _, chapter := range []func() Chapter{b.front, b.index, b.symptoms, b.causes, b.tests, b.remedies, b.conditions, b.givens, b.rules, b.warnings, b.sources, b.terms} {
		if c := chapter(); len(c.Groups) > 0 || len(c.Intro) > 0 {
			book.Chapters = append(book.Chapters, c)
		}
	}
	return book, ctx.Err()
}

// take notes from the diagnosis of a case of which nothing is known what its
// steps are worth, and which of them the place allows.
func (b *builder) take(place rulebase.Place, d *engine.Diagnosis) {
	allowed := map[string]bool{}
	for i := range d.Next {
		allowed[d.Next[i].Step.ID] = true
		b.gain[d.Next[i].Step.ID] = d.Next[i].GainBits
	}
	for i := range d.NotOffered {
		w := &d.NotOffered[i]
		allowed[w.Step.ID] = w.Why != engine.WhyPlace && w.Why != engine.WhyPhone && w.Why != engine.WhyPhoneStops
		b.gain[w.Step.ID] = w.GainBits
	}
	b.at[place] = allowed
}

// weighParts works out how much each symptom tells about each part: the bits
// that it is expected to give for its causes against all others.
func (b *builder) weighParts() {
	for i := range b.base.Causes {
		if c := &b.base.Causes[i]; !slices.Contains(b.parts, c.Part) {
			b.parts = append(b.parts, c.Part)
		}
	}
	b.about = make([]map[string]float64, len(b.base.Symptoms))
	for s := range b.base.Symptoms {
		b.about[s] = map[string]float64{}
		if !b.told.Weighs(s) {
			continue
		}
		for c := range b.base.Causes {
			b.about[s][b.base.Causes[c].Part] += b.base.Causes[c].Prior * b.bits(s, c)
		}
	}
}

// bits is how much a symptom is expected to speak for a cause that is there.
func (b *builder) bits(symptom, cause int) float64 {
	sum := 0.0
	for v := range b.base.Symptoms[symptom].Values {
		if p := b.told.With(symptom, v, cause); p > 0 {
			sum += p * math.Log2(math.Min(p/b.told.Rest(symptom, v, cause), mostFactor))
		}
	}
	return sum
}

// home is the part that a symptom tells most about; "": none.
func (b *builder) home(symptom int) string {
	best := ""
	for _, part := range b.parts {
		if x := b.about[symptom][part]; x > 1e-9 && (best == "" || x > b.about[symptom][best]) {
			best = part
		}
	}
	return best
}

// arrange puts every entry in its place and numbers them in the order of the book.
func (b *builder) arrange() {
	b.shelves.symptoms = b.shelve(len(b.base.Symptoms), b.home)
	b.shelves.causes = b.shelve(len(b.base.Causes), func(i int) string { return b.base.Causes[i].Part })
	written := slices.IndexFunc(b.base.Tests, func(s rulebase.Step) bool { return s.Implied })
	if written < 0 {
		written = len(b.base.Tests)
	}
	b.shelves.tests = b.shelve(written, func(i int) string { return b.testPart(&b.base.Tests[i]) })
	b.shelves.remedies = b.shelve(len(b.base.Remedies), b.remedyPart)
	add := func(id string) { b.number[id] = len(b.number) + 1 }
	each(b.shelves.symptoms, func(i int) { add(b.base.Symptoms[i].ID) })
	each(b.shelves.causes, func(i int) { add(b.base.Causes[i].ID) })
	each(b.shelves.tests, func(i int) { add(b.base.Tests[i].ID) })
	each(b.shelves.remedies, func(i int) { add(b.base.Remedies[i].ID) })
	for i := range b.base.Conditions {
		add(b.base.Conditions[i].ID)
	}
	for i := range b.base.Givens {
		add(b.base.Givens[i].ID)
	}
	for i := range b.base.Rules {
		add(b.base.Rules[i].ID)
	}
	for _, n := range b.base.Names {
		if n.Kind == rulebase.KindFact {
			add(n.ID)
		}
	}
	for i := range b.base.Warnings {
		add(b.base.Warnings[i].ID)
	}
	for i := range b.base.Sources {
		add(b.base.Sources[i].ID)
	}
}

// shelve sorts n entries by part, in the order of the parts; those of none come last.
func (b *builder) shelve(n int, part func(int) string) []shelf {
	var all []shelf
	for _, p := range append(slices.Clone(b.parts), "") {
		s := shelf{part: p}
		for i := range n {
			if part(i) == p {
				s.indices = append(s.indices, i)
			}
		}
		if len(s.indices) > 0 {
			all = append(all, s)
		}
	}
	return all
}

func each(shelves []shelf, visit func(i int)) {
	for _, s := range shelves {
		for _, i := range s.indices {
			visit(i)
		}
	}
}

// testPart is the part that a test tells most about, by all that it yields.
func (b *builder) testPart(t *rulebase.Step) string {
	best, most := "", 1e-9
	for _, part := range b.parts {
		sum := 0.0
		for _, s := range t.Yields {
			sum += b.about[s][part]
		}
		if sum > most {
			best, most = part, sum
		}
	}
	return best
}

// remedyPart is the part of the first cause that a remedy is for.
func (b *builder) remedyPart(i int) string {
	for c := range b.base.Causes {
		for _, h := range b.base.Causes[c].Remedies {
			if h.Remedy == i {
				return b.base.Causes[c].Part
			}
		}
	}
	return ""
}

// ref is a span that leads to an entry, in the words given.
func (b *builder) ref(id, words string) Span {
	return Span{Text: clean(words), To: id, Number: b.number[id]}
}

func (b *builder) symptomRef(i int) Span {
	return b.ref(b.base.Symptoms[i].ID, b.base.Symptoms[i].Ask)
}
func (b *builder) causeRef(i int) Span { return b.ref(b.base.Causes[i].ID, b.base.Causes[i].Name) }
func (b *builder) stepRef(s *rulebase.Step) Span {
	return b.ref(s.ID, s.Do)
}

func (b *builder) conditionRef(i int) Span {
	c := &b.base.Conditions[i]
	if c.Says == "" {
		return b.ref(c.ID, wording.Plain(c.ID))
	}
	return b.ref(c.ID, c.Says)
}

// sourceRow says what an entry rests on.
func (b *builder) sourceRow(id string) Row {
	r, ok := b.base.Lookup(id)
	if !ok || r.Kind != rulebase.KindSource {
		return Row{}
	}
	return lineRow(labelSource, Line{b.ref(id, b.base.Sources[r.Index].Says)})
}

// refs are lines of one reference each.
func refs(spans []Span) []Line {
	lines := make([]Line, len(spans))
	for i, s := range spans {
		lines[i] = Line{s}
	}
	return lines
}

// joined is a sentence of references.
func joined(lead string, spans []Span, last string) Line {
	line := say(lead)
	for i, s := range spans {
		switch {
		case i == 0:
		case i == len(spans)-1:
			line = line.then(" " + last + " ")
		default:
			line = line.then(", ")
		}
		line = append(line, s)
	}
	return line
}

// commaed is references in a row.
func commaed(spans []Span) Line {
	var line Line
	for i, s := range spans {
		if i > 0 {
			line = line.then(", ")
		}
		line = append(line, s)
	}
	return line
}

// anchor makes the anchor of something that has no id: letters and digits of its
// name, behind a word and a hyphen, so that it is never an id.
func anchor(kind, name string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(name) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		default:
			b.WriteByte('-')
		}
	}
	return kind + "-" + b.String()
}

// partAnchor is the anchor of a part's group in a chapter. A part that is no
// plain word carries its place, so that no two parts share an anchor.
func (b *builder) partAnchor(chapter, part string) string {
	switch {
	case part == "":
		return chapter + "-of-no-part"
	case plainWord().MatchString(part):
		return chapter + "-" + part
	}
	return anchor(fmt.Sprintf("%s-%d", chapter, slices.Index(b.parts, part)+1), part)
}

var plainWord = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[a-z][a-z0-9_]*$`) })

package handbook

import (
	"slices"
	"strings"
	"unicode/utf8"

	"downdrop/cmd/internal/wording"
	"downdrop/rulebase"
)

// whole is a chapter that is not divided.
func whole(id, title, intro string, entries []Entry) Chapter {
	if len(entries) == 0 {
		return Chapter{}
	}
	return Chapter{ID: id, Title: title, Intro: paragraph(intro), Groups: []Group{{Entries: entries}}}
}

// front says what the book is, how to use it, and what comes before it.
func (b *builder) front() Chapter {
	c := Chapter{ID: chapterFront, Title: titleFront, Intro: paragraph(sayNeverSafe)}
	about := []Line{say(sayCounts(b.base)), say(sayDigest(b.base.Digest))}
	use := make([]Line, len(howToUse))
	for i, s := range howToUse {
		use[i] = say(s)
	}
	all := rows(listRow(labelAbout, about), b.layers(), listRow(labelUse, use), listRow(labelNumbers, sayNumbers()), textRow(labelLevels, sayLevels))
	for _, l := range levels {
		all = append(all, Row{strings.ToUpper(string(l.level)), paragraph(l.says)})
	}
	c.Groups = []Group{{Rows: all}}
	return c
}

// layers says which rulebases lie over one another.
func (b *builder) layers() Row {
	if len(b.base.Layers) < 2 {
		return Row{}
	}
	var lines []Line
	for i, name := range slices.Backward(b.base.Layers) {
		switch {
		case i == 0:
			lines = append(lines, say(sayLowest(name)))
		default:
			lines = append(lines, say(sayLayer(name, b.base.Layers[i-1])))
		}
	}
	return listRow(labelLayers, lines)
}

// conditions is the chapter of what causes do inside the drop.
func (b *builder) conditions() Chapter {
	by := make([][]Span, len(b.base.Conditions))
	for c := range b.base.Causes {
		for _, n := range b.told.Brings(c) {
			by[n] = append(by[n], b.causeRef(c))
		}
	}
	var entries []Entry
	for i := range b.base.Conditions {
		c := &b.base.Conditions[i]
		title := c.Says
		if title == "" {
			title = wording.Plain(c.ID)
		}
		entries = append(entries, b.entry(c.ID, capital(title), lineRow(labelHolds, b.expression(c.When)), listRow(labelBroughtBy, refs(by[i]))))
	}
	return whole(chapterConditions, titleConditions, introConditions, entries)
}

// givens is the chapter of what is asked about the installation and its history.
func (b *builder) givens() Chapter {
	var entries []Entry
	for i := range b.base.Givens {
		g := &b.base.Givens[i]
		var sets []Span
		for r := range b.base.Rules {
			if slices.ContainsFunc(b.base.Rules[r].Then, func(a rulebase.Assignment) bool { return a.Name == g.Name }) {
				sets = append(sets, b.ruleRef(r))
			}
		}
		usual := ""
		if g.Default != nil {
			usual = capital(wording.Plain(b.base.SlotText(g.Name, *g.Default))) + "."
		}
		ask := g.Ask
		if ask == "" {
			ask = capital(wording.Plain(g.ID))
		}
		entries = append(entries, b.entry(g.ID, ask, textRow(labelAnswer, sayGivenAnswer(g)), textRow(labelUsual, usual),
			textRow(labelFilled, sayFilled(g.FilledBy)), listRow(labelSetBy, refs(sets)), b.sourceRow(g.Source)))
	}
	return whole(chapterGivens, titleGivens, introGivens, entries)
}

func (b *builder) ruleRef(i int) Span {
	return b.ref(b.base.Rules[i].ID, wording.Plain(b.base.Rules[i].ID))
}

// rules is the chapter of rules, and of the plain facts that only rules set.
func (b *builder) rules() Chapter {
	c := Chapter{ID: chapterRules, Title: titleRules, Intro: paragraph(introRules)}
	g := Group{ID: "rules-all", Title: titleAllRules}
	for i := range b.base.Rules {
		g.Entries = append(g.Entries, b.rule(i))
	}
	f := Group{ID: "rules-facts", Title: titleFacts}
	for n, name := range b.base.Names {
		if name.Kind == rulebase.KindFact {
			f.Entries = append(f.Entries, b.fact(n))
		}
	}
	for _, x := range []Group{g, f} {
		if len(x.Entries) > 0 {
			c.Groups = append(c.Groups, x)
		}
	}
	if c.Groups == nil {
		return Chapter{}
	}
	return c
}

func (b *builder) rule(i int) Entry {
	r := &b.base.Rules[i]
	var then []Line
	for _, a := range r.Then {
		then = append(then, Line{b.name(a.Name)}.then(wordIs+b.assigned(a)))
	}
	causes := func(list []int) []Line {
		var spans []Span
		for _, c := range list {
			spans = append(spans, b.causeRef(c))
		}
		return refs(spans)
	}
	because := r.Because
	if r.Again {
		because = strings.TrimSpace(because + " " + sayAgain)
	}
	return b.entry(r.ID, capital(wording.Plain(r.ID)), lineRow(labelWhen, b.expression(r.When)), listRow(labelThen, then), listRow(labelRulesOut, causes(r.RulesOut)),
		listRow(labelEstablishes, causes(r.Establishes)), textRow(labelTell, r.Tell), textRow(labelBecause, because), b.sourceRow(r.Source))
}

// assigned is the value that a rule gives.
func (b *builder) assigned(a rulebase.Assignment) string {
	if b.base.Names[a.Name].Type == rulebase.Flag && a.Value.Word > 0 {
		return []string{wordFalse, wordTrue}[a.Value.Word-1]
	}
	if text := b.base.SlotText(a.Name, a.Value); text != "" {
		return wording.Plain(text)
	}
	return wording.Plain(a.Text)
}

// fact is a plain fact: who sets it, and who reads it.
func (b *builder) fact(n int) Entry {
	var sets, reads []Span
	for i := range b.base.Rules {
		r := &b.base.Rules[i]
		if slices.ContainsFunc(r.Then, func(a rulebase.Assignment) bool { return a.Name == n }) {
			sets = append(sets, b.ruleRef(i))
		}
		if slices.Contains(r.When.Reads(), n) {
			reads = append(reads, b.ruleRef(i))
		}
	}
	for _, list := range [][]rulebase.Step{b.base.Tests, b.base.Remedies} {
		for i := range list {
			if e := list[i].OnlyIf; e != nil && slices.Contains(e.Reads(), n) {
				reads = append(reads, b.stepRef(&list[i]))
			}
		}
	}
	id := b.base.Names[n].ID
	return b.entry(id, capital(wording.Plain(id)), listRow(labelSetBy, refs(sets)), listRow(labelReadBy, refs(reads)))
}

// warnings is the chapter of all that can hurt, the gravest first.
func (b *builder) warnings() Chapter {
	var entries []Entry
	for i := range b.base.Warnings {
		w := &b.base.Warnings[i]
		var before []Span
		for _, list := range [][]rulebase.Step{b.base.Tests, b.base.Remedies} {
			for s := range list {
				if slices.Contains(list[s].Warnings, i) {
					before = append(before, b.stepRef(&list[s]))
				}
			}
		}
		entries = append(entries, b.entry(w.ID, capital(wording.Plain(w.ID)), textRow(strings.ToUpper(string(w.Level)), w.Says), textRow(labelBecause, w.Because),
			listRow(labelBefore, refs(before)), b.sourceRow(w.Source)))
	}
	return whole(chapterWarnings, titleWarnings, introWarnings, entries)
}

// sources is the chapter of what all rests on.
func (b *builder) sources() Chapter {
	var entries []Entry
	for i := range b.base.Sources {
		s := &b.base.Sources[i]
		entries = append(entries, b.entry(s.ID, s.Says, textRow(labelKind, saySourceKind(s.Kind)), listRow(labelRests, b.resting(s.ID))))
	}
	return whole(chapterSources, titleSources, introSources, entries)
}

// resting are the entries that name a source; where there are many, how many.
func (b *builder) resting(id string) []Line {
	var spans []Span
	add := func(source string, ref Span) {
		if source == id {
			spans = append(spans, ref)
		}
	}
	for i := range b.base.Causes {
		add(b.base.Causes[i].Source, b.causeRef(i))
	}
	for i := range b.base.Symptoms {
		add(b.base.Symptoms[i].Source, b.symptomRef(i))
	}
	for _, list := range [][]rulebase.Step{b.base.Tests, b.base.Remedies} {
		for i := range list {
			add(list[i].Source, b.stepRef(&list[i]))
		}
	}
	for i := range b.base.Rules {
		add(b.base.Rules[i].Source, b.ruleRef(i))
	}
	for i := range b.base.Givens {
		add(b.base.Givens[i].Source, b.ref(b.base.Givens[i].ID, wording.Plain(b.base.Givens[i].ID)))
	}
	for i := range b.base.Warnings {
		add(b.base.Warnings[i].Source, b.ref(b.base.Warnings[i].ID, wording.Plain(b.base.Warnings[i].ID)))
	}
	const many = 25
	if len(spans) > many {
		return []Line{say(sayRests(len(spans)))}
	}
	return refs(spans)
}

// terms is the index of terms: every word of an id, and every tool, with the
// entries in whose id, or on whose card, it stands.
func (b *builder) terms() Chapter {
	found := map[string][]Span{}
	add := func(term string, span Span) {
		if utf8.RuneCountInString(term) > 1 && !slices.Contains(smallWords, term) && !slices.Contains(found[term], span) {
			found[term] = append(found[term], span)
		}
	}
	ids := make([]string, 0, len(b.number))
	for id := range b.number {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(x, y string) int { return b.number[x] - b.number[y] })
	for _, id := range ids {
		for word := range strings.SplitSeq(id, "_") {
			add(word, b.ref(id, wording.Plain(id)))
		}
	}
	for _, list := range [][]rulebase.Step{b.base.Tests, b.base.Remedies} {
		for i := range list {
			for _, tool := range list[i].Needs {
				add(clean(wording.Plain(tool)), b.ref(list[i].ID, wording.Plain(list[i].ID)))
			}
		}
	}
	words := make([]string, 0, len(found))
	for w := range found {
		words = append(words, w)
	}
	other := func(w string) bool { return w[0] < 'a' || w[0] > 'z' }
	slices.SortFunc(words, func(x, y string) int {
		if other(x) != other(y) { // those that begin with no letter come last
			if other(x) {
				return 1
			}
			return -1
		}
		return strings.Compare(x, y)
	})
	c := Chapter{ID: chapterTerms, Title: titleTerms, Intro: paragraph(introTerms)}
	for _, w := range words {
		letter := strings.ToUpper(w[:1])
		if other(w) {
			letter = sayOtherLetters
		}
		if n := len(c.Groups); n == 0 || c.Groups[n-1].Title != letter {
			c.Groups = append(c.Groups, Group{ID: anchor("terms", letter), Title: letter})
		}
		g := &c.Groups[len(c.Groups)-1]
		g.Rows = append(g.Rows, Row{w, []Block{{Text: commaed(found[w])}}})
	}
	if len(c.Groups) == 0 {
		return Chapter{}
	}
	return c
}

package handbook

import (
	"cmp"
	"slices"

	"downdrop/cmd/internal/wording"
	"downdrop/rulebase"
)

// How much a book says of a value, and what is too little to say.
const (
	mostFor      = 6   // causes that a value speaks for
	mostShort    = 4   // causes that it speaks for, in the index
	mostAgainst  = 4   // causes that it speaks against
	leastFor     = 1.5 // factor on the odds
	leastAgainst = 0.5
	mostFactor   = 1e6 // what only one cause shows counts as this much
	leastShare   = 0.1 // of what the best symptom tells about a part
	mostNamed    = 4   // causes that a result is the sign of, by their full names
	mostAtPlace  = 4   // symptoms of a cause, for each place
	mostTelling  = 9   // symptoms of a part, in the index
)

// symptoms is the chapter of what can be seen, heard, read or measured.
func (b *builder) symptoms() Chapter {
	c := Chapter{ID: chapterSymptoms, Title: titleSymptoms, Intro: introSymptoms()}
	for _, s := range b.shelves.symptoms {
		g := b.group(chapterSymptoms, s.part, sayNoSymptomPart)
		for _, i := range s.indices {
			g.Entries = append(g.Entries, b.symptom(i))
		}
		c.Groups = append(c.Groups, g)
	}
	return c
}

// group is the group of a part in a chapter.
func (b *builder) group(chapter, part, none string) Group {
	title := capital(wording.Plain(part))
	if part == "" {
		title = none
	}
	return Group{ID: b.partAnchor(chapter, part), Title: clean(title), Part: part}
}

func (b *builder) symptom(i int) Entry {
	s := &b.base.Symptoms[i]
	all := []Row{listRow(labelHow, b.waysTo(i))}
	if s.Banded() {
		all = append(all, textRow(labelAnswer, sayReading(s.Unit)))
	} else {
		all = append(all, textRow(labelAnswer, capital(orList(wording.PlainAll(s.Values)))+"."))
	}
	all = append(all, b.limitRows(i)...)
	all = append(all, textRow(labelSure, b.sureness(i)), mistakenRow(s.MistakenFor))
	if !b.told.Weighs(i) {
		all = append(all, textRow(labelTells, sayWeighsNothing))
	}
	for v := range s.Values {
		if b.told.Weighs(i) {
			all = append(all, b.value(i, v))
		}
	}
	all = append(all, b.sourceRow(s.Source))
	return b.entry(s.ID, s.Ask, all...)
}

func (b *builder) entry(id, title string, all ...Row) Entry {
	return Entry{ID: id, Number: b.number[id], Title: clean(title), Rows: rows(append([]Row{b.siteRow(id)}, all...)...)}
}

// siteRow says what the site calls an entry, and the values of a symptom.
func (b *builder) siteRow(id string) Row {
	here := b.base.SiteName(id)
	var lines []Line
	if text := here.Text(); text != "" {
		lines = append(lines, say(sentence(capital(text))))
	}
	if r, ok := b.base.Lookup(id); ok && r.Kind == rulebase.KindSymptom {
		for _, v := range b.base.Symptoms[r.Index].Values {
			if name := here.Values[v]; name != "" {
				lines = append(lines, say(saySiteValue(wording.Plain(v), name)))
			}
		}
	}
	return listRow(labelSite, lines)
}

func mistakenRow(others []string) Row {
	if len(others) == 0 {
		return Row{}
	}
	return textRow(labelMistaken, capital(orList(others))+".")
}

// waysTo are the ways to have a symptom: tests that yield it, asking, looking.
func (b *builder) waysTo(symptom int) []Line {
	var ways []Line
	if b.complaint(symptom) {
		ways = append(ways, say(sayComplaint))
	}
	for i := range b.base.Tests {
		t := &b.base.Tests[i]
		if t.Implied || !slices.Contains(t.Yields, symptom) {
			continue
		}
		ways = append(ways, Line{b.stepRef(t)}.then(sayBriefly(t)))
	}
	switch b.base.Symptoms[symptom].By {
	case rulebase.ByAsking:
		ways = append(ways, say(sayByAsking))
	case rulebase.ByLooking:
		ways = append(ways, say(sayByLooking))
	}
	if ways == nil {
		ways = []Line{say(sayOnlyTaken)}
	}
	return ways
}

// complaint says whether every case begins with a symptom.
func (b *builder) complaint(symptom int) bool {
	return b.base.Complaint != nil && b.base.Complaint.Symptom == symptom
}

// sureness says how sure a report is when nothing is said, place by place.
func (b *builder) sureness(symptom int) string {
	sure := &b.base.Sure
	if own := b.base.Symptoms[symptom].Sure; own != nil {
		sure = own
	}
	if sure.ByPlace == nil {
		return saySureEverywhere(sure.Everywhere)
	}
	words := make([]string, len(places))
	for i, p := range places {
		words[i] = saySureAt(p, sure.At(p))
	}
	return capital(andList(words)) + "."
}

// A voice is a cause that a value speaks for or against.
type voice struct {
	cause  int
	factor float64
}

// value says what one value of a symptom speaks for, and against.
func (b *builder) value(symptom, v int) Row {
	row := Row{Label: clean(capital(wording.Plain(b.base.Symptoms[symptom].Values[v])))}
	var speaksFor, against []voice
	for c := range b.base.Causes {
		switch f := b.told.Factor(symptom, v, c); {
		case f >= leastFor:
			speaksFor = append(speaksFor, voice{c, f})
		case f <= leastAgainst:
			against = append(against, voice{c, f})
		}
	}
	row.Blocks = append(row.Blocks, Block{Text: say(sayNothingWrong(b.told.Nothing(symptom, v)))})
	if len(speaksFor) == 0 && len(against) == 0 {
		row.Blocks = append(row.Blocks, Block{Text: say(sayTellsNothing)})
	}
	row.Blocks = append(row.Blocks, b.voices(sayFor, speaksFor, symptom, v, 1, mostFor)...)
	if 2*len(against) > len(b.base.Causes) { // a list of nearly all tells nobody anything
		says := sayAgainstMost
		if len(speaksFor) > 0 {
			says = sayAgainstOthers
		}
		return Row{row.Label, append(row.Blocks, Block{Text: say(says)})}
	}
	row.Blocks = append(row.Blocks, b.voices(sayAgainst, against, symptom, v, -1, mostAgainst)...)
	return row
}

// voices lists causes by what a value says of them, the strongest first.
func (b *builder) voices(lead string, all []voice, symptom, v, sign, most int) []Block {
	if len(all) == 0 {
		return nil
	}
	b.strongest(all, sign)
	var list []Line
	for _, x := range all[:min(most, len(all))] {
		list = append(list, Line{b.causeRef(x.cause)}.then(sayVoice(x.factor, b.told.Alone(symptom, v, x.cause))))
	}
	if more := len(all) - most; more > 0 {
		list = append(list, say(sayMoreCauses(more)))
	}
	return []Block{{Text: Line{strong(lead)}}, {List: list}}
}

// strongest sorts causes by how far a value speaks for them (sign 1) or against
// (sign -1), then by how common they are.
func (b *builder) strongest(all []voice, sign int) {
	slices.SortStableFunc(all, func(x, y voice) int {
		byFactor := sign * cmp.Compare(rounded(y.factor), rounded(x.factor))
		return cmp.Or(byFactor, cmp.Compare(b.base.Causes[y.cause].Prior, b.base.Causes[x.cause].Prior))
	})
}

// index is the chapter that leads from what is seen to its entry: by place, then by part.
func (b *builder) index() Chapter {
	c := Chapter{ID: chapterIndex, Title: titleIndex, Intro: paragraph(introIndex)}
	for _, place := range places {
		c.Groups = append(c.Groups, b.placeIndex(place))
	}
	c.Groups = append(c.Groups, b.partIndex())
	if g := b.unasked(); len(g.Rows) > 0 {
		c.Groups = append(c.Groups, g)
	}
	return c
}

// placeIndex are the symptoms to be had at a place, by part.
func (b *builder) placeIndex(place rulebase.Place) Group {
	g := Group{ID: anchor("index-at", string(place)), Title: placeTitles[place]}
	for _, s := range b.shelves.symptoms {
		var list []Line
		for _, i := range s.indices {
			if b.hadAt(i, place) {
				list = append(list, b.asked(i))
			}
		}
		g.Rows = append(g.Rows, indexRow(s.part, list)...)
	}
	if g.Rows == nil {
		g.Rows = rows(textRow(labelNothing, sayNothingHere))
	}
	return g
}

// asked is a symptom as it is asked for, with what the site calls it.
func (b *builder) asked(symptom int) Line {
	line := Line{b.symptomRef(symptom)}
	if here := b.base.SiteName(b.base.Symptoms[symptom].ID).Text(); here != "" {
		line = line.then(saySite(here))
	}
	return line
}

func indexRow(part string, list []Line) []Row {
	label := clean(capital(wording.Plain(part)))
	if part == "" {
		label = sayNoSymptomPart
	}
	if len(list) == 0 {
		return nil
	}
	return []Row{{label, []Block{{List: list}}}}
}

// hadAt says whether a symptom can be had at a place: by asking or looking, or by
// a test that the place allows.
func (b *builder) hadAt(symptom int, place rulebase.Place) bool {
	return b.base.Symptoms[symptom].By != rulebase.ByNothing || b.complaint(symptom) || slices.ContainsFunc(b.base.Tests, func(t rulebase.Step) bool {
		return slices.Contains(t.Yields, symptom) && b.at[place][t.ID]
	})
}

// partIndex are, for each part, the symptoms that tell most about it, the best first.
func (b *builder) partIndex() Group {
	g := Group{ID: "index-by-part", Title: titleByPart}
	for _, part := range b.parts {
		var order []int
		for i := range b.base.Symptoms {
			if b.about[i][part] > 1e-9 && !b.complaint(i) {
				order = append(order, i)
			}
		}
		slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(rounded(b.about[y][part]), rounded(b.about[x][part])) })
		row := Row{Label: clean(capital(wording.Plain(part)))}
		for _, i := range order[:min(mostTelling, len(order))] {
			if b.about[i][part] < leastShare*b.about[order[0]][part] {
				break
			}
			row.Blocks = append(row.Blocks, Block{Text: b.asked(i)})
			if values := b.inShort(i, part); values != nil {
				row.Blocks = append(row.Blocks, Block{List: values})
			}
		}
		g.Rows = append(g.Rows, rows(row)...)
	}
	return g
}

// inShort is what the values of a symptom speak for among the causes of a part.
func (b *builder) inShort(symptom int, part string) []Line {
	var lines []Line
	for v, value := range b.base.Symptoms[symptom].Values {
		var all []voice
		for c := range b.base.Causes {
			if f := b.told.Factor(symptom, v, c); b.base.Causes[c].Part == part && f >= leastFor {
				all = append(all, voice{c, f})
			}
		}
		if len(all) == 0 {
			continue
		}
		b.strongest(all, 1)
		var spans []Span
		for _, x := range all[:min(mostShort, len(all))] {
			id := b.base.Causes[x.cause].ID
			spans = append(spans, b.ref(id, wording.Plain(id)))
		}
		line := append(Line{strong(capital(wording.Plain(value)) + ": ")}, commaed(spans)...)
		if more := len(all) - mostShort; more > 0 {
			line = line.then(sayAndMore(more))
		}
		lines = append(lines, line.then("."))
	}
	return lines
}

// unasked are the symptoms that no step on offer yields.
func (b *builder) unasked() Group {
	g := Group{ID: "index-unasked", Title: titleUnasked}
	var spans []Span
	for i := range b.base.Symptoms {
		if !b.complaint(i) && !slices.ContainsFunc(b.base.Tests, func(t rulebase.Step) bool { return slices.Contains(t.Yields, i) }) {
			spans = append(spans, b.symptomRef(i))
		}
	}
	if len(spans) > 0 {
		g.Rows = []Row{{labelSymptoms, []Block{{List: refs(spans)}}}}
	}
	return g
}

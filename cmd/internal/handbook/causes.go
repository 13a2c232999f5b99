package handbook

import (
	"cmp"
	"math"
	"slices"

	"downdrop/cmd/internal/wording"
	"downdrop/rulebase"
)

// leastApart is how many of the one bit between two causes a test must give to
// be named as telling them apart.
const leastApart = 0.1

// causes is the chapter of what can be wrong.
func (b *builder) causes() Chapter {
	c := Chapter{ID: chapterCauses, Title: titleCauses, Intro: introCauses(b.base.Outside)}
	for _, s := range b.shelves.causes {
		g := b.group(chapterCauses, s.part, sayNoPart)
		for _, i := range s.indices {
			g.Entries = append(g.Entries, b.cause(i))
		}
		c.Groups = append(c.Groups, g)
	}
	return c
}

func (b *builder) cause(i int) Entry {
	c := &b.base.Causes[i]
	all := []Row{
		listRow(labelCommon, b.common(c)),
		listRow(labelDoes, b.does(i)),
		listRow(labelSeen, b.seen(i)),
		listRow(labelAlike, b.alike(i)),
		listRow(labelNotApart, b.notApart(i)),
	}
	for n, h := range c.Remedies {
		label := labelRemedy
		if n > 0 {
			label = labelNextRemedy
		}
		r := &b.base.Remedies[h.Remedy]
		p := b.procedure(r)
		p.Name = Line{b.stepRef(r)}
		if h.Chance < 1 {
			p.Name = p.Name.then(sayHelps(h.Chance))
		}
		all = append(all, Row{label, []Block{{Procedure: p}}})
	}
	if len(c.Remedies) == 0 {
		all = append(all, textRow(labelRemedy, sayNoRemedy))
	}
	all = append(all, b.sourceRow(c.Source))
	return b.entry(c.ID, c.Name, all...)
}

// common says how common a cause is, and what makes it more or less so.
func (b *builder) common(c *rulebase.Cause) []Line {
	lines := []Line{say(sayCommon(c.Prior))}
	for _, l := range c.MoreLikely {
		lines = append(lines, append(say(sayTimes(l.Times)), b.expression(l.When)...).then("."))
	}
	return lines
}

// does are the conditions that a cause brings about by itself, in their own words.
func (b *builder) does(cause int) []Line {
	var lines []Line
	for _, n := range b.told.Brings(cause) {
		if b.base.Conditions[n].Says != "" {
			lines = append(lines, Line{b.conditionRef(n)})
		}
	}
	if lines == nil {
		for _, n := range b.told.Brings(cause) {
			lines = append(lines, Line{b.conditionRef(n)})
		}
	}
	return lines
}

// A sight is a value of a symptom that a cause shows.
type sight struct {
	symptom, value int
	worth          float64 // bits that it speaks for the cause, times how often it is seen
}

// seen are the values that tell most for a cause, one of each symptom: the best
// few that can be had at each place, since a bench's are of no use by phone.
func (b *builder) seen(cause int) []Line {
	var all []sight
	for s := range b.base.Symptoms {
		if !b.told.Weighs(s) || b.complaint(s) {
			continue
		}
		best := sight{symptom: s}
		for v := range b.base.Symptoms[s].Values {
			f := math.Min(b.told.Factor(s, v, cause), mostFactor)
			if worth := b.told.With(s, v, cause) * math.Log2(f); f >= leastFor && worth > best.worth {
				best.value, best.worth = v, worth
			}
		}
		if best.worth > 0.01 {
			all = append(all, best)
		}
	}
	slices.SortStableFunc(all, func(x, y sight) int { return cmp.Compare(rounded(y.worth), rounded(x.worth)) })
	taken := map[int]bool{}
	for _, place := range places {
		few := 0
		for _, x := range all {
			if few < mostAtPlace && b.hadAt(x.symptom, place) {
				taken[x.symptom] = true
				few++
			}
		}
	}
	var lines []Line
	for i, x := range all {
		if !taken[x.symptom] && i >= mostAtPlace { // the best few stand there even where no step asks for them
			continue
		}
		line := Line{b.symptomRef(x.symptom)}.then(" ")
		line = append(line, strong(capital(wording.Plain(b.base.Symptoms[x.symptom].Values[x.value]))))
		lines = append(lines, line.then(sayChances(b.told.Alone(x.symptom, x.value, cause), b.told.Rest(x.symptom, x.value, cause))))
	}
	return lines
}

// A judgement is which test tells two causes apart best, place by place.
type judgement struct {
	best        []best // in the order of places
	sameOutcome bool
}

// A best is the test that tells best at a place.
type best struct {
	test int // index into Base.Tests; -1: none does
	bits float64
}

// none says that no test tells the two apart anywhere.
func (j judgement) none() bool {
	return !slices.ContainsFunc(j.best, func(x best) bool { return x.test >= 0 })
}

// judge finds the tests for two causes.
func (b *builder) judge(x, y int) judgement {
	if x > y {
		x, y = y, x
	}
	if j, ok := b.judged[[2]int{x, y}]; ok {
		return j
	}
	j := judgement{best: make([]best, len(places)), sameOutcome: sameRemedies(&b.base.Causes[x], &b.base.Causes[y])}
	for p := range places {
		j.best[p].test = -1
	}
	for i := range b.base.Tests {
		t := &b.base.Tests[i]
		bits := rounded(b.told.Apart(t, x, y))
		if bits < leastApart {
			continue
		}
		for p, place := range places {
			if b.at[place][t.ID] && b.better(i, bits, j.best[p].test, j.best[p].bits) {
				j.best[p] = best{i, bits}
			}
		}
	}
	b.judged[[2]int{x, y}] = j
	return j
}

// better prefers what tells two causes apart more reliably, as it is said in
// words; then what costs less, then what tells more. A test that is a little
// better and takes three times as long is nobody's choice.
func (b *builder) better(i int, bits float64, than int, thanBits float64) bool {
	if than < 0 {
		return true
	}
	order := cmp.Or(cmp.Compare(gradeApart(bits), gradeApart(thanBits)),
		cmp.Compare(b.price(&b.base.Tests[than]), b.price(&b.base.Tests[i])), cmp.Compare(bits, thanBits))
	return order > 0
}

// price is a step's minutes, with what it stops.
func (b *builder) price(s *rulebase.Step) float64 { return b.base.Effort.Price(s) }

func (b *builder) declared(x, y int) bool {
	return slices.Contains(b.base.Causes[x].LookAlikes, b.base.Causes[y].ID) || slices.Contains(b.base.Causes[y].LookAlikes, b.base.Causes[x].ID)
}

func sameRemedies(x, y *rulebase.Cause) bool {
	return len(x.Remedies) > 0 && slices.EqualFunc(x.Remedies, y.Remedies, func(a, b rulebase.Helps) bool { return a.Remedy == b.Remedy })
}

// alike are the causes that the rulebase says look like this one, with what tells
// them apart.
func (b *builder) alike(cause int) []Line {
	var lines []Line
	for other := range b.base.Causes {
		if other == cause || !b.declared(cause, other) {
			continue
		}
		j := b.judge(cause, other)
		line := append(Line{b.causeRef(other)}, b.apart(j)...)
		if j.sameOutcome {
			line = line.then(saySameRemedy)
		}
		lines = append(lines, line)
	}
	return lines
}

// apart says which tests tell two causes apart; one that is the best at several
// places is named once.
func (b *builder) apart(j judgement) Line {
	if j.none() {
		return say(sayNoTest)
	}
	line := say(sayApart)
	begun := false
	for p, x := range j.best {
		first := slices.IndexFunc(j.best, func(y best) bool { return y.test == x.test })
		if x.test < 0 || first != p {
			continue
		}
		var at []rulebase.Place
		for q, y := range j.best {
			if y.test == x.test {
				at = append(at, places[q])
			}
		}
		if begun {
			line = line.then("; ")
		}
		begun = true
		line = append(line.then(sayApartAt(at, x.bits)), b.stepRef(&b.base.Tests[x.test]))
	}
	return line.then(".")
}

// notApart are other causes from which no single test tells this one, where the
// remedies differ.
func (b *builder) notApart(cause int) []Line {
	var lines []Line
	for other := range b.base.Causes {
		if other == cause || b.declared(cause, other) {
			continue
		}
		if j := b.judge(cause, other); j.none() && !j.sameOutcome {
			lines = append(lines, Line{b.causeRef(other)})
		}
	}
	return lines
}

// rounded keeps the last digits, which differ between machines, from deciding an order.
func rounded(x float64) float64 {
	if x == 0 || math.IsInf(x, 0) || math.IsNaN(x) {
		return x
	}
	scale := math.Pow(10, 9-math.Ceil(math.Log10(math.Abs(x))))
	return math.Round(x*scale) / scale
}

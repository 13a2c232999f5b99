package rulebase

import (
	"math"
	"slices"
	"strings"
	"unicode"

	"downdrop/rulebase/source"
)

// rowKeys are the keys of a row that are no values, and so no value's name.
func rowKeys() []string { return keyNames()["row"] }

// valueName checks the name of a value or band: one word, once.
func (l *loader) valueName(n *source.Node, before []string) bool {
	w := n.Text
	switch {
	case n.Shape != source.Scalar || w == "" || strings.ContainsFunc(w, unicode.IsSpace):
		l.r.Problem(n, "value-name", "", "a value is one word without blanks; join words with _")
	case slices.Contains(rowKeys(), w):
		l.r.Problem(n, "value-name", "", "a value cannot be called %s, which means something else in a row", w)
	case slices.Contains(before, w):
		l.r.Problem(n, "value-name", "", "%s stands here twice", w)
	default:
		return true
	}
	return false
}

// mostValues is how many values something can have; who has more wants bands.
const mostValues = 250

func (l *loader) tooManyValues(n *source.Node) bool {
	if len(n.Items) > mostValues {
		l.r.Problem(n, "value-name", "", "there are more than %d values here", mostValues)
		return true
	}
	return false
}

// valueNames are the words of a choice: at least two.
func (l *loader) valueNames(n *source.Node) []string {
	var words []string
	if l.tooManyValues(n) {
		return nil
	}
	good := true
	for _, item := range l.items(n) {
		if l.valueName(item, words) {
			words = append(words, item.Text)
		} else {
			good = false
		}
	}
	if good && len(words) < 2 && n.Shape != source.Map {
		l.r.Problem(n, "value-name", "", "at least two values are wanted, as in [lit, dark]")
	}
	return words
}

// symptomValues reads what a symptom can be; its rows come when all names are known.
func (l *loader) symptomValues(e entry) {
	b := l.base
	f := l.fields(e, "symptoms")
	s := Symptom{ID: e.id, Pos: e.key.Pos, Ask: f.must("ask"), Unit: f.text("unit"), Slot: len(b.Names), MistakenFor: l.texts(f.get("mistaken_for")), Source: f.sourceOf(false)}
	name := Name{ID: e.id, Kind: KindSymptom, Index: len(b.Symptoms), Type: Choice, Unit: s.Unit}
	values, bands := f.get("values"), f.get("bands")
	switch {
	case values != nil && bands != nil:
		l.r.Problem(bands, "type", "", "%s has values or bands, not both", e.id)
		s.Values = l.valueNames(values)
	case bands != nil:
		name.Type = Banded
		s.Values = l.bandNames(bands)
	case values != nil:
		s.Values = l.valueNames(values)
	case !f.broken:
		l.r.Problem(e.key, "missing-key", "", "%s needs values, or bands for a reading", e.id)
	}
	name.Words = s.Values
	s.HeardAs = l.sayings(f.get("heard_as"), &s)
	s.Sure = l.sureness(f.get("sure"))
	if n := f.get("by"); n != nil {
		s.By = By(l.oneOf(n, "a way to have a symptom", "asking", "looking") + 1)
	}
	if n := f.get("combine"); n != nil && l.oneOf(n, "a way to combine rows", "independent") >= 0 {
		l.independent(f, n, &s)
	}
	b.Symptoms = append(b.Symptoms, s)
	b.Names = append(b.Names, name)
}

// sayings are {value: what people say, ...}. The same words for two values of one symptom would say neither.
func (l *loader) sayings(n *source.Node, s *Symptom) []Saying {
	if n == nil {
		return nil
	}
	if n.Shape != source.Map {
		l.r.Problem(n, "shape", "", "what people say is {value: [their words, other words of theirs], ...}")
		return nil
	}
	var all []Saying
	taken := map[string]string{}
	for i, k := range n.Keys {
		item := n.Items[i]
		switch {
		case !slices.Contains(s.Values, k.Text):
			l.notAValue(k, item, s)
			continue
		case item.Empty:
			l.r.Problem(k, "empty", "", "%s has nothing behind it; write what people say, or take the key out", k.Text)
			continue
		}
		says := Saying{Value: k.Text}
		for _, one := range l.items(item) {
			words := l.text(one)
			same := strings.Join(strings.Fields(strings.ToLower(words)), " ")
			if other, twice := taken[same]; twice {
				l.r.Problem(one, "twice", "", "%q is said of %s already; whoever says it must mean one value", words, other)
				continue
			}
			if value := strings.ReplaceAll(same, " ", "_"); value != k.Text && slices.Contains(s.Values, value) {
				l.r.Problem(one, "twice", "", "%q is what another value of %s is called; whoever says it means that one", words, s.ID)
				continue
			}
			taken[same] = k.Text
			says.Words = append(says.Words, words)
		}
		all = append(all, says)
	}
	return all
}

func (l *loader) independent(f fields, n *source.Node, s *Symptom) {
	s.Independent = true
	if len(s.Values) != 2 || !slices.Contains(s.Values, "yes") || !slices.Contains(s.Values, "no") || f.get("bands") != nil {
		l.r.Problem(n, "combine", "", "rows that are independent of one another show the values yes and no: `values: [\"yes\", \"no\"]`")
	}
	if f.get("shows") == nil && f.get("shows_first") == nil {
		l.r.Problem(n, "combine", "", "%s combines rows but has no shows", s.ID)
	}
}

// bandNames are the names of bands: {name: limit}, and a bare name last.
func (l *loader) bandNames(n *source.Node) []string {
	var names []string
	items := l.items(n)
	if l.tooManyValues(n) {
		return nil
	}
	good := true
	for i, item := range items {
		word := item
		if item.Shape == source.Map && len(item.Keys) == 1 {
			word = item.Keys[0]
		}
		switch last := i == len(items)-1; {
		case item.Shape == source.Map && len(item.Keys) != 1:
			l.r.Problem(item, "bands", "", "each band stands by itself: `- {low: 10}`, `- {good: 20}`, `- high`")
			good = false
		case last && item.Shape != source.Scalar:
			l.r.Problem(item, "bands", "", "the last band holds all above the others: a bare name without a limit")
			good = false
		case !last && item.Shape != source.Map:
			l.r.Problem(item, "bands", "", "this band needs its limit, as in {name: limit}; only the last has none")
			good = false
		case decimal().MatchString(word.Text):
			l.r.Problem(word, "value-name", "", "a band is a word; %s would be taken for a reading", word.Text)
			good = false
		case l.valueName(word, names):
			names = append(names, word.Text)
		default:
			good = false
		}
	}
	if good && len(names) < 2 && n.Shape != source.Map {
		l.r.Problem(n, "bands", "", "at least two bands are wanted")
	}
	return names
}

// shows reads the limits of a symptom's bands and its rows.
func (l *loader) shows(e entry, s *Symptom) {
	if n := e.node.Get("bands"); n != nil && n.Shape == source.List {
		s.Limits = []*Expression{}
		for _, item := range n.Items {
			if item.Shape == source.Map && len(item.Items) == 1 {
				s.Limits = append(s.Limits, l.expression(item.Items[0], "the limit of a band", true, KindGiven))
			}
		}
		l.risingConstants(n, s)
	}
	rows := l.rowsOf(e, "shows_first")
	s.ShowsFirst = len(rows)
	rows = append(rows, l.rowsOf(e, "shows")...)
	s.Weighs = e.node.Get("shows") != nil || e.node.Get("shows_first") != nil
	open := (*source.Node)(nil)
	for _, item := range rows {
		if item.Shape != source.Map {
			l.r.Problem(item, "shape", "", "a row is {when: a condition, value: probability, ...}")
			continue
		}
		if open != nil && !s.Independent {
			l.r.Problem(item, "unreachable-row", "", "this row is never reached: the one on line %d has no `when` and always counts", open.Pos.Line)
		}
		row := Row{Pos: item.Pos}
		if w := item.Get("when"); w != nil {
			row.When = l.expression(w, "a row", false, downward...)
		} else {
			open = item
		}
		row.P = l.row(item, s)
		if w := item.Get("source"); w != nil {
			row.Source = w.Text
		}
		s.Shows = append(s.Shows, row)
	}
}

// rowsOf are the rows under a key of a symptom.
func (l *loader) rowsOf(e entry, key string) []*source.Node {
	n := e.node.Get(key)
	if n == nil {
		return nil
	}
	rows := l.items(n)
	if n.Shape != source.Map && len(rows) == 0 {
		l.r.Problem(n, "shape", "", "%s is a list of rows, each {when: a condition, value: probability, ...}", key)
	}
	return slices.Clip(rows)
}

// risingConstants refuses limits that are numbers and do not rise.
func (l *loader) risingConstants(n *source.Node, s *Symptom) {
	last := math.Inf(-1)
	for i, e := range s.Limits {
		if e == nil || e.Root.Op != OpConstant {
			continue
		}
		if e.Root.Number <= last {
			l.r.Problem(n.Items[i], "bands", "", "the limits of bands rise; %v is not above %v", e.Root.Number, last)
		}
		last = e.Root.Number
	}
}

// row reads the probabilities of one row: those named, what is left shared
// evenly by the others.
func (l *loader) row(n *source.Node, s *Symptom) []float64 {
	p, named := make([]float64, len(s.Values)), make([]bool, len(s.Values))
	sum, count, good := 0.0, 0, len(s.Values) > 0
	for i, k := range n.Keys {
		if slices.Contains(rowKeys(), k.Text) {
			if k.Text == "source" {
				l.sourceID(n.Items[i])
			}
			continue
		}
		v := slices.Index(s.Values, k.Text)
		if v < 0 || s.Independent && k.Text != "yes" {
			l.notAValue(k, n.Items[i], s)
			good = false
			continue
		}
		x, ok := l.probabilityOK(n.Items[i])
		p[v], named[v] = x, true
		sum += x
		count++
		good = good && ok
	}
	if !good {
		return p
	}
	switch rest := len(p) - count; {
	case s.Independent && count == 0:
		l.r.Problem(n, "row", "", "the row says nothing of yes")
	case rest == 0 && sum == 0:
		l.r.Problem(n, "row", "", "every value of the row is 0: %s", rowText(s.Values, p))
	case rest == 0:
		for v := range p {
			p[v] /= sum
		}
	case sum > 1+1e-9:
		l.r.Problem(n, "row", "", "the values named add up to %.4g and leave nothing for %s; with every value named: %s",
			sum, strings.Join(unnamed(s.Values, named), ", "), scaledRow(s.Values, p, sum))
	default:
		for v := range p {
			if !named[v] {
				p[v] = max(0, 1-sum) / float64(rest)
			}
		}
	}
	return p
}

func unnamed(values []string, named []bool) []string {
	var left []string
	for i, v := range values {
		if !named[i] {
			left = append(left, v)
		}
	}
	return left
}

func (l *loader) notAValue(k, item *source.Node, s *Symptom) {
	switch {
	case len(s.Values) == 0: // said already
	case s.Independent && slices.Contains(s.Values, k.Text):
		l.r.Problem(k, "combine", "", "rows that are independent of one another name only yes")
	case item.Empty && strings.ContainsAny(k.Text, " ?:"):
		l.unquoted(k)
	default:
		l.r.Problem(k, "unknown-value", l.nearest(k.Text, s.Values), "%q is not a value of %s (%s)", k.Text, s.ID, strings.Join(s.Values, ", "))
	}
}

func scaledRow(values []string, p []float64, sum float64) string {
	q := make([]float64, len(p))
	for i := range p {
		q[i] = p[i] / sum
	}
	return rowText(values, q)
}

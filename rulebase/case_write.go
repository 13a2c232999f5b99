package rulebase

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode"

	"downdrop/rulebase/quantity"
)

// WriteCase writes a situation as a case file, which reads back to the same
// situation. Findings made as of now are written as made after the last work done.
func (b *Base) WriteCase(s Situation) []byte {
	w := &caseWriter{b: b}
	if s.Case != "" {
		w.line("case: %s", yamlText(s.Case))
	}
	w.circumstances(&s)
	w.givens(s.Givens)
	if len(s.Findings) > 0 {
		w.line("findings:")
		for i := range s.Findings {
			w.line("  - {%s}", w.finding(&s.Findings[i], s.Done))
		}
	}
	if len(s.Done) > 0 {
		w.line("done:")
		for _, d := range s.Done {
			drop := ""
			if d.Drop != NotSaid {
				drop = ", drop: " + string(d.Drop)
			}
			w.line("  - {id: %s%s}", d.ID, drop)
		}
	}
	w.drops(&s)
	if s.Expect != nil {
		w.expect(s.Expect)
	}
	if w.out.Len() == 0 {
		return []byte("{}\n")
	}
	return []byte(w.out.String())
}

type caseWriter struct {
	b   *Base
	out strings.Builder
}

func (w *caseWriter) line(format string, args ...any) {
	fmt.Fprintf(&w.out, format+"\n", args...)
}

func (w *caseWriter) circumstances(s *Situation) {
	if s.At != "" {
		w.line("at: %s", s.At)
	}
	if s.Who != Anybody {
		w.line("who: %s", s.Who)
	}
	if s.Tools != nil {
		w.line("tools: [%s]", joinTexts(s.Tools))
	}
	if s.Alone {
		w.line("alone: true")
	}
	if len(s.Confirmed) > 0 {
		w.line("confirmed: [%s]", strings.Join(s.Confirmed, ", "))
	}
	if s.Sheet != "" {
		w.line("sheet: %s", yamlText(s.Sheet))
	}
	if e := s.Effort; e != nil {
		w.line("effort: {stops_drop: %s, stops_bus: %s, visit: %s}", numberText(e.StopsDrop), numberText(e.StopsBus), numberText(e.Visit))
	}
}

// givens writes the last value of each, since the last counts.
func (w *caseWriter) givens(all []GivenValue) {
	var parts []string
	for i, g := range all {
		if !slices.ContainsFunc(all[i+1:], func(later GivenValue) bool { return later.ID == g.ID }) {
			parts = append(parts, g.ID+": "+valueText(g.Value, w.unitOf(g.ID)))
		}
	}
	if len(parts) > 0 {
		w.line("givens: {%s}", strings.Join(parts, ", "))
	}
}

// valueText is a value as files write it: as it was written where that reads
// back to the same number in the unit of what is asked, else the number plainly.
func valueText(v Value, unit string) string {
	if !v.IsNumber {
		return yamlText(v.Word)
	}
	if x, err := quantity.Parse(v.Word, unit); err == nil && x == v.Number {
		return yamlText(v.Word)
	}
	return numberText(v.Number)
}

func numberText(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// unitOf is the unit that a given or symptom is asked in.
func (w *caseWriter) unitOf(id string) string {
	switch ref := w.b.index[id]; ref.Kind {
	case KindGiven:
		return w.b.Givens[ref.Index].Unit
	case KindSymptom:
		return w.b.Symptoms[ref.Index].Unit
	}
	return ""
}

func (w *caseWriter) finding(f *Finding, done []Done) string {
	parts := []string{"symptom: " + f.Symptom, "value: " + valueText(f.Value, w.unitOf(f.Symptom))}
	if f.Sure != nil {
		parts = append(parts, "sure: "+numberText(*f.Sure))
	}
	if f.At != "" {
		parts = append(parts, "at: "+string(f.At))
	}
	if f.By != "" {
		parts = append(parts, "by: "+yamlText(f.By))
	}
	switch {
	case f.Now && len(done) > 0:
		parts = append(parts, "after: "+done[len(done)-1].ID)
	case !f.Now && f.After != "":
		parts = append(parts, "after: "+f.After)
	}
	if f.Drop != 0 {
		parts = append(parts, "drop: "+strconv.Itoa(f.Drop))
	}
	if f.Read != "" {
		parts = append(parts, "read: "+yamlText(f.Read))
	}
	return strings.Join(parts, ", ")
}

func (w *caseWriter) drops(s *Situation) {
	if s.Drop != 0 {
		w.line("drop: %d", s.Drop)
	}
	if len(s.Drops) > 0 {
		var addresses []int
		for a := range s.Drops {
			addresses = append(addresses, a)
		}
		slices.Sort(addresses)
		parts := make([]string, len(addresses))
		for i, a := range addresses {
			parts[i] = fmt.Sprintf("%d: %s", a, s.Drops[a])
		}
		w.line("drops: {%s}", strings.Join(parts, ", "))
	}
	if len(s.Order) > 0 {
		w.line("order: [%s]", joinNumbers(s.Order))
	}
	if len(s.Supplies) > 0 {
		groups := make([]string, len(s.Supplies))
		for i, g := range s.Supplies {
			groups[i] = "[" + joinNumbers(g) + "]"
		}
		w.line("supplies: [%s]", strings.Join(groups, ", "))
	}
}

func joinNumbers(all []int) string {
	parts := make([]string, len(all))
	for i, n := range all {
		parts[i] = strconv.Itoa(n)
	}
	return strings.Join(parts, ", ")
}

func joinTexts(all []string) string {
	parts := make([]string, len(all))
	for i, t := range all {
		parts[i] = yamlText(t)
	}
	return strings.Join(parts, ", ")
}

// expect writes what a rule test expects.
func (w *caseWriter) expect(x *Expectation) {
	w.line("expect:")
	before := w.out.Len()
	w.word("first", x.First)
	if len(x.InFirst) > 0 {
		w.line("  in_first:")
		for _, n := range slices.Sorted(maps.Keys(x.InFirst)) {
			w.line("    %d: [%s]", n, strings.Join(x.InFirst[n], ", "))
		}
	}
	w.numbers("at_least", x.AtLeast)
	w.numbers("at_most", x.AtMost)
	w.word("outcome", string(x.Outcome))
	w.word("next", x.Next)
	w.texts("not_offered", x.NotOffered)
	w.texts("says", x.Says)
	w.numbers("causes", x.Causes)
	w.numbers("now", x.Now)
	w.numbers("conditions", x.Conditions)
	for _, one := range []struct {
		key string
		p   *float64
	}{{"none", x.None}, {"outside", x.Outside}, {"unit_out", x.UnitOut}, {"evidence", x.Evidence}} {
		if one.p != nil {
			w.line("  %s: %s", one.key, numberText(*one.p))
		}
	}
	if x.Top != nil {
		w.line("  top: {causes: [%s], probability: %s}", strings.Join(x.Top.Causes, ", "), numberText(x.Top.Probability))
	}
	w.numbers("gain_bits", x.GainBits)
	if w.out.Len() == before {
		w.line("  {}")
	}
}

func (w *caseWriter) word(key, word string) {
	if word != "" {
		w.line("  %s: %s", key, word)
	}
}

func (w *caseWriter) texts(key string, all []string) {
	if len(all) > 0 {
		w.line("  %s: [%s]", key, joinTexts(all))
	}
}

// numbers writes numbers by id; none at all is not the same as an empty list.
func (w *caseWriter) numbers(key string, all map[string]float64) {
	if all == nil {
		return
	}
	parts := make([]string, 0, len(all))
	for _, id := range slices.Sorted(maps.Keys(all)) {
		parts = append(parts, id+": "+numberText(all[id]))
	}
	w.line("  %s: {%s}", key, strings.Join(parts, ", "))
}

// yamlWords are words that other readers of YAML than ours take for something else.
var yamlWords = []string{"true", "false", "yes", "no", "on", "off", "null", "y", "n"}

// bare is a text that YAML and its readers take as it stands.
var bare = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_.-]*( [A-Za-z0-9_.-]+)*$`) })

// yamlText is a text as YAML: bare where it is plain words, else in quotes, with
// escapes for what cannot be seen.
func yamlText(s string) string {
	if bare().MatchString(s) && !slices.Contains(yamlWords, strings.ToLower(s)) {
		return s
	}
	var q strings.Builder
	q.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			q.WriteByte('\\')
			q.WriteRune(r)
		case r == '\n':
			q.WriteString(`\n`)
		case r == '\t':
			q.WriteString(`\t`)
		case unicode.IsPrint(r):
			q.WriteRune(r)
		case r > 0xffff:
			fmt.Fprintf(&q, `\U%08x`, r)
		default:
			fmt.Fprintf(&q, `\u%04x`, r)
		}
	}
	q.WriteByte('"')
	return q.String()
}

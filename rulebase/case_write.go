package rulebase

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
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
		w.line("effort: {stops_drop: %v, stops_bus: %v, visit: %v}", e.StopsDrop, e.StopsBus, e.Visit)
	}
}

// givens writes the last value of each, since the last counts.
func (w *caseWriter) givens(all []GivenValue) {
	var parts []string
	for i, g := range all {
		if !slices.ContainsFunc(all[i+1:], func(later GivenValue) bool { return later.ID == g.ID }) {
			parts = append(parts, g.ID+": "+valueText(g.Value))
		}
	}
	if len(parts) > 0 {
		w.line("givens: {%s}", strings.Join(parts, ", "))
	}
}

// valueText is a value as files write it: a number plainly, in the unit of what is asked.
func valueText(v Value) string {
	if v.IsNumber {
		return strconv.FormatFloat(v.Number, 'g', -1, 64)
	}
	return yamlText(v.Word)
}

func (w *caseWriter) finding(f *Finding, done []Done) string {
	parts := []string{"symptom: " + f.Symptom, "value: " + valueText(f.Value)}
	if f.Sure != nil {
		parts = append(parts, "sure: "+strconv.FormatFloat(*f.Sure, 'g', -1, 64))
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

// yamlText is a text as YAML: bare where it is a plain word, else in quotes.
func yamlText(s string) string {
	if isID(s) && !slices.Contains([]string{"true", "false", "yes", "no", "on", "off", "null", "y", "n"}, s) {
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
		case r < ' ' || r == 0x7f || r == 0x85 || r == 0xa0 || r == 0x2028 || r == 0x2029 || r == 0xfeff:
			fmt.Fprintf(&q, `\u%04x`, r)
		default:
			q.WriteRune(r)
		}
	}
	q.WriteByte('"')
	return q.String()
}

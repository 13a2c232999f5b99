package learn

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"downdrop/rulebase"
)

// PatchName is the name of the layer that a patch is.
const PatchName = "learned"

// Patch is the YAML of a layer that sets what disagrees with experience to what follows
// from it, with what stood there before and the cases behind each change; "" where nothing disagrees.
func (l *Lessons) Patch() string {
	var b strings.Builder
	below := l.Base.Name // the uppermost layer's
	header := fmt.Sprintf("rulebase: {name: %s, version: 1, extends: %s", PatchName, yamlWord(below))
	var causes, outside []string
	for i := range l.Weights {
		w := &l.Weights[i]
		if !w.Disagrees() {
			continue
		}
		says := fmt.Sprintf("before %s, after %s: %s.", figure(w.PerThousand), figure(w.AfterPerThousand), l.sayCases(&w.Number, w.Cases, "proven in"))
		if w.Cause < 0 {
			header += ", outside_per_thousand: " + figure(w.AfterPerThousand)
			outside = append(outside, comment("# outside_per_thousand: ", says))
			continue
		}
		causes = append(causes, comment("  # ", says)+fmt.Sprintf("  %s: {changes: true, per_thousand: %s}\n", l.Base.Causes[w.Cause].ID, figure(w.AfterPerThousand)))
	}
	symptoms := l.patchSymptoms()
	if len(causes)+len(outside)+len(symptoms) == 0 {
		return ""
	}
	b.WriteString(comment("# ", fmt.Sprintf("Proposed by \"downdrop learn\" from %d closed cases for rulebase %s, version %d. Nothing was applied: read it, change what you doubt, and lay it over the rulebase as a folder of its own. Rows that did not change stand here as they were, without their comments.",
		l.Cases, l.Base.Name, l.Base.Version)))
	b.WriteString(strings.Join(outside, ""))
	b.WriteString(header + "}\n")
	for _, section := range []struct {
		name    string
		entries []string
	}{{"causes", causes}, {"symptoms", symptoms}} {
		if len(section.entries) > 0 {
			b.WriteString("\n" + section.name + ":\n" + strings.Join(section.entries, ""))
		}
	}
	return b.String()
}

func (l *Lessons) patchSymptoms() []string {
	changed := map[int]map[int]*Row{}
	var order []int
	for i := range l.Rows {
		r := &l.Rows[i]
		if !r.Disagrees() {
			continue
		}
		if changed[r.Symptom] == nil {
			changed[r.Symptom] = map[int]*Row{}
			order = append(order, r.Symptom)
		}
		changed[r.Symptom][r.Row] = r
	}
	var out []string
	for _, symptom := range order {
		s := &l.Base.Symptoms[symptom]
		var b strings.Builder
		for i := range s.ShowsFirst {
			if r := changed[symptom][i]; r != nil {
				b.WriteString(comment("  # ", fmt.Sprintf("Not in this patch, since a layer cannot change what stands under shows_first: %s at %s:%d should be %s. %s",
					s.ID, path.Base(s.Shows[i].Pos.File), s.Shows[i].Pos.Line, rowText(s, &s.Shows[i], r.After), l.sayRow(s, r))))
				delete(changed[symptom], i)
			}
		}
		if len(changed[symptom]) > 0 {
			fmt.Fprintf(&b, "  %s:\n    changes: true\n    shows:\n", s.ID)
			for i := s.ShowsFirst; i < len(s.Shows); i++ {
				p := s.Shows[i].P
				if r := changed[symptom][i]; r != nil {
					b.WriteString(comment("      # ", l.sayRow(s, r)))
					p = r.After
				}
				b.WriteString("      - " + rowText(s, &s.Shows[i], p) + "\n")
			}
		}
		out = append(out, b.String())
	}
	return out
}

func (l *Lessons) sayRow(s *rulebase.Symptom, r *Row) string {
	var says []string
	for i := range r.Numbers {
		n := &r.Numbers[i]
		if n.Disagrees() {
			says = append(says, fmt.Sprintf("%s before %s, after %s: %s of %s reports (interval %s to %s)", s.Values[n.Value], figure(n.Rulebase), figure(r.After[n.Value]), figure(n.Hits), figure(n.Trials), short(n.Low), short(n.High)))
		}
	}
	return strings.Join(says, "; ") + "; cases: " + listed(r.Cases) + "."
}

func (l *Lessons) sayCases(n *Number, ids []string, did string) string {
	says := fmt.Sprintf("%s %s of %s, where %s were expected (interval of the share %s to %s)", did, figure(n.Hits), figure(n.Trials), short(n.Rulebase*n.Trials), short(n.Low), short(n.High))
	if len(ids) > 0 {
		says += "; cases: " + listed(ids)
	}
	return says
}

// listed names cases, up to forty.
func listed(ids []string) string {
	const most = 40
	ids = slices.Clone(ids)
	slices.Sort(ids)
	if len(ids) > most {
		return strings.Join(ids[:most], ", ") + fmt.Sprintf(" and %d more", len(ids)-most)
	}
	return strings.Join(ids, ", ")
}

var plainWord = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_]*$`) })

// yamlWord is a word as YAML: bare where it can stand so.
func yamlWord(s string) string {
	if plainWord().MatchString(s) {
		return s
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b) // a JSON text is a YAML text
	enc.SetEscapeHTML(false)
	_ = enc.Encode(s)
	return strings.TrimSpace(b.String())
}

func rowText(s *rulebase.Symptom, row *rulebase.Row, p []float64) string {
	var parts []string
	if row.When != nil {
		parts = append(parts, "when: "+yamlWord(row.When.Text))
	}
	for v, x := range p {
		parts = append(parts, yamlWord(s.Values[v])+": "+strconv.FormatFloat(rounded(x), 'f', -1, 64))
	}
	if row.Source != "" {
		parts = append(parts, "source: "+row.Source)
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

// rounded is a chance with four digits: nobody knows more of it.
func rounded(x float64) float64 {
	y, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 4, 64), 64)
	return y
}

// figure is a number with at most four digits.
func figure(x float64) string {
	if math.Abs(x) >= 10000 {
		return strconv.FormatFloat(x, 'f', 0, 64)
	}
	return strconv.FormatFloat(rounded(x), 'f', -1, 64)
}

// short is a number of a comment.
func short(x float64) string { return strconv.FormatFloat(x, 'g', 2, 64) }

// comment folds a text into comment lines.
func comment(lead, text string) string {
	const width = 110
	under := strings.TrimRight(lead[:strings.IndexByte(lead, '#')+1], " ") + " "
	var b strings.Builder
	line := lead
	begun := false
	for _, word := range strings.Fields(strings.Map(plain, text)) {
		if begun && len(line)+1+len(word) > width {
			b.WriteString(strings.TrimRight(line, " ") + "\n")
			line, begun = under, false
		}
		if begun {
			line += " "
		}
		line += word
		begun = true
	}
	b.WriteString(strings.TrimRight(line, " ") + "\n")
	return b.String()
}

// plain keeps what somebody typed as an id from spoiling a comment. What else ends a line is a blank to [strings.Fields].
func plain(r rune) rune {
	if r < ' ' || r == 0x7f {
		return ' '
	}
	return r
}

// Patched is a rulebase with a patch laid over it. The bundle is the rulebase's (rulebase.Base.Bundle).
func Patched(bundle []byte, patch string) (*rulebase.Base, error) {
	text := slices.Concat(bundle, []byte(PatchName+".yaml"), []byte{0}, []byte(patch), []byte{0})
	return rulebase.LoadBundle(text)
}

package rulebase

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"downdrop/rulebase/quantity"
	"downdrop/rulebase/source"
)

// ReadCase reads a case file. The error is a *Problems with all that is wrong.
func (b *Base) ReadCase(file string, text []byte) (Situation, error) {
	c := newCaseReader(b)
	doc := c.r.Read(file, text)
	var s Situation
	if doc != nil {
		s = c.situation(doc)
	}
	return s, c.r.Err()
}

// ReadCases reads a file that is a list of cases, as rule tests are.
func (b *Base) ReadCases(file string, text []byte) ([]Situation, error) {
	c := newCaseReader(b)
	doc := c.r.Read(file, text)
	var all []Situation
	switch {
	case doc == nil || doc.Empty:
	case doc.Shape != source.List:
		c.r.Problem(doc, "shape", "", "a list of cases is wanted here, each beginning with `- case:`")
	default:
		for _, item := range doc.Items {
			all = append(all, c.situation(item))
		}
	}
	return all, c.r.Err()
}

// A caseReader reads case files against a rulebase.
type caseReader struct {
	loader
	done []string
}

func newCaseReader(b *Base) *caseReader {
	c := &caseReader{loader: loader{r: source.NewReader(), base: b, kind: map[string]Kind{}}}
	for id, ref := range b.index {
		c.kind[id] = ref.Kind
	}
	return c
}

var caseKeys = []string{"case", "format", "at", "who", "tools", "alone", "confirmed", "givens", "findings", "done", "drop", "drops", "order", "supplies", "sheet", "effort", "expect", "note"}

func (c *caseReader) situation(n *source.Node) Situation {
	s := Situation{Pos: n.Pos}
	if n.Shape != source.Map {
		c.r.Problem(n, "shape", "", "a case is keys and values: %s", strings.Join(caseKeys, ", "))
		return s
	}
	c.allow(n, "a case", caseKeys)
	if f := n.Get("format"); f != nil && c.number(f) != 1 {
		c.r.Problem(f, "format", "", "this program reads case files of format 1")
	}
	if x := n.Get("case"); x != nil {
		s.Case = c.text(x)
	}
	c.done = nil
	c.who(n, &s)
	c.work(n.Get("done"), &s)
	c.givens(n.Get("givens"), &s)
	for _, item := range c.items(n.Get("findings")) {
		if f, ok := c.finding(item); ok {
			s.Findings = append(s.Findings, f)
		}
	}
	c.line(n, &s)
	if x := n.Get("expect"); x != nil {
		s.Expect = c.expect(x)
	}
	return s
}

func (c *caseReader) who(n *source.Node, s *Situation) {
	if x := n.Get("at"); x != nil && c.oneOf(x, "a place", placeWords...) >= 0 {
		s.At = Place(x.Text)
	}
	if x := n.Get("who"); x != nil {
		s.Who = Who(c.oneOf(x, "a person", whoWords[1:]...) + 1)
	}
	if x := n.Get("tools"); x != nil {
		s.Tools = append([]string{}, c.texts(x)...)
	}
	if x := n.Get("alone"); x != nil {
		s.Alone = c.flag(x)
	}
	for _, i := range c.refs(n.Get("confirmed"), KindWarning) {
		s.Confirmed = append(s.Confirmed, c.base.Warnings[i].ID)
	}
	if x := n.Get("effort"); x != nil {
		e := c.base.Effort
		c.effort(x, &e)
		s.Effort = &e
	}
	if x := n.Get("sheet"); x != nil {
		s.Sheet = c.text(x)
	}
}

// work reads what was done: remedies, and tests that put something right.
func (c *caseReader) work(n *source.Node, s *Situation) {
	for _, item := range c.items(n) {
		d := Done{Pos: item.Pos}
		id := item
		if item.Shape == source.Map {
			c.allow(item, "an entry of done", []string{"id", "drop", "note"})
			if id = item.Get("id"); id == nil {
				c.r.Problem(item, "missing-key", "", "an entry of done is {id: what was done, drop: still_down or well}")
				continue
			}
			if x := item.Get("drop"); x != nil && c.oneOf(x, "what the drop did", string(StillDown), string(Well)) >= 0 {
				d.Drop = DropNow(x.Text)
			}
		}
		d.ID = c.text(id)
		c.done = append(c.done, d.ID)
		if c.workID(id) {
			s.Done = append(s.Done, d)
		}
	}
}

func (c *caseReader) workID(n *source.Node) bool {
	ref := c.base.index[n.Text]
	switch {
	case ref.Kind == KindRemedy:
		return true
	case ref.Kind == KindTest && len(c.base.Tests[ref.Index].PutsRight) > 0:
		return true
	case ref.Kind == KindTest:
		c.r.Problem(n, "puts-nothing-right", "", "the test %s puts nothing right; give what it showed as findings, not as done", n.Text)
	case ref.Kind != KindNone:
		c.r.Problem(n, "wrong-kind", "", "%s is a %s; what was done is a remedy, or a test that puts something right", n.Text, kindWords[ref.Kind])
	default:
		c.r.Problem(n, "unknown-id", source.Nearest(n.Text, append(c.ids(KindRemedy), c.ids(KindTest)...)), "no remedy or test is called %q", n.Text)
	}
	return false
}

func (c *caseReader) givens(n *source.Node, s *Situation) {
	if n == nil || n.Empty {
		return
	}
	if n.Shape != source.Map {
		c.r.Problem(n, "shape", "", "givens are {id: value, ...}")
		return
	}
	for i, k := range n.Keys {
		at := c.ref(k, KindGiven)
		if at < 0 {
			continue
		}
		if v, ok := c.givenValue(&c.base.Givens[at], n.Items[i]); ok {
			s.Givens = append(s.Givens, GivenValue{k.Text, v, k.Pos})
		}
	}
}

func (c *caseReader) givenValue(g *Given, n *source.Node) (Value, bool) {
	if n.Shape != source.Scalar {
		c.r.Problem(n, "shape", "", "one value is wanted for %s", g.ID)
		return Value{}, false
	}
	switch g.Type {
	case Flag:
		before := len(c.r.Problems.List)
		word := "false"
		if c.flag(n) {
			word = "true"
		}
		return Value{Word: word}, len(c.r.Problems.List) == before
	case Choice:
		return Value{Word: n.Text}, c.oneOf(n, "a value of "+g.ID, g.OneOf...) >= 0
	}
	x, err := quantity.Parse(n.Text, g.Unit)
	if err != nil {
		c.r.Problem(n, "quantity", "", "%v", err)
		return Value{}, false
	}
	if g.Range != nil && (x < g.Range[0] || x > g.Range[1]) {
		c.r.Problem(n, "range", "", "%s is outside what is plausible for %s: %v to %v%s", n.Text, g.ID, g.Range[0], g.Range[1], blank(g.Unit))
		return Value{}, false
	}
	return Value{Word: n.Text, IsNumber: true, Number: x}, true
}

func blank(unit string) string {
	if unit == "" {
		return ""
	}
	return " " + unit
}

func (c *caseReader) finding(n *source.Node) (Finding, bool) {
	f := Finding{Pos: n.Pos}
	symptom, value := n.Get("symptom"), n.Get("value")
	if n.Shape != source.Map || symptom == nil || value == nil {
		c.r.Problem(n, "shape", "", "a finding is {symptom: id, value: what was seen}")
		return f, false
	}
	c.allow(n, "a finding", []string{"symptom", "value", "sure", "at", "by", "after", "drop", "read", "note"})
	at := c.ref(symptom, KindSymptom)
	if at < 0 {
		return f, false
	}
	f.Symptom = symptom.Text
	ok := false
	f.Value, ok = c.symptomValue(&c.base.Symptoms[at], value)
	if x := n.Get("sure"); x != nil {
		s := c.sure(x)
		f.Sure = &s
	}
	if x := n.Get("at"); x != nil && c.oneOf(x, "a place", placeWords...) >= 0 {
		f.At = Place(x.Text)
	}
	if x := n.Get("by"); x != nil {
		f.By = c.text(x)
	}
	if x := n.Get("read"); x != nil {
		f.Read = c.text(x)
	}
	if x := n.Get("drop"); x != nil {
		f.Drop = c.whole(x, 0, 65535)
	}
	if x := n.Get("after"); x != nil {
		if f.After = c.text(x); !slices.Contains(c.done, f.After) {
			c.r.Problem(x, "unknown-id", source.Nearest(f.After, c.done), "nothing called %q stands under done", f.After)
		}
	}
	return f, ok
}

func (c *caseReader) symptomValue(s *Symptom, n *source.Node) (Value, bool) {
	switch {
	case n.Shape != source.Scalar:
		c.r.Problem(n, "shape", "", "one value is wanted for %s", s.ID)
		return Value{}, false
	case slices.Contains(s.Values, n.Text):
		return Value{Word: n.Text}, true
	case !s.Banded():
		c.r.Problem(n, "unknown-value", source.Nearest(n.Text, s.Values), "%q is not a value of %s (%s)", n.Text, s.ID, strings.Join(s.Values, ", "))
		return Value{}, false
	}
	x, err := quantity.Parse(n.Text, s.Unit)
	if err != nil {
		near := ""
		if n.Text != "" && !strings.ContainsAny(n.Text[:1], "-+.0123456789") {
			near = source.Nearest(n.Text, s.Values)
		}
		c.r.Problem(n, "quantity", near, "%v; or give the band it lies in (%s)", err, strings.Join(s.Values, ", "))
		return Value{}, false
	}
	return Value{Word: n.Text, IsNumber: true, Number: x}, true
}

// line reads what is known of the other drops.
func (c *caseReader) line(n *source.Node, s *Situation) {
	if x := n.Get("drop"); x != nil {
		s.Drop = c.whole(x, 0, 65535)
	}
	if x := n.Get("drops"); x != nil && !x.Empty {
		if x.Shape != source.Map {
			c.r.Problem(x, "shape", "", "drops are {address: good, dead or comes_and_goes, ...}")
		}
		s.Drops = map[int]string{}
		for i, k := range x.Keys {
			if c.oneOf(x.Items[i], "the state of a drop", "good", "dead", "comes_and_goes") >= 0 {
				s.Drops[c.whole(k, 0, 65535)] = x.Items[i].Text
			}
		}
	}
	for _, item := range c.items(n.Get("order")) {
		s.Order = append(s.Order, c.whole(item, 0, 65535))
	}
	for _, group := range c.items(n.Get("supplies")) {
		var drops []int
		for _, item := range c.items(group) {
			drops = append(drops, c.whole(item, 0, 65535))
		}
		s.Supplies = append(s.Supplies, drops)
	}
}

var expectKeys = []string{"first", "in_first", "at_least", "at_most", "outcome", "next", "not_offered", "says", "causes", "now", "conditions", "none", "outside", "unit_out", "evidence", "top", "gain_bits", "note"}

func (c *caseReader) expect(n *source.Node) *Expectation {
	x := &Expectation{Pos: n.Pos}
	if n.Shape != source.Map {
		c.r.Problem(n, "shape", "", "expect is keys and values: %s", strings.Join(expectKeys, ", "))
		return x
	}
	c.allow(n, "expect", expectKeys)
	if v := n.Get("first"); v != nil && c.ref(v, KindCause) >= 0 {
		x.First = v.Text
	}
	if v := n.Get("in_first"); v != nil {
		x.InFirst = map[int][]string{}
		for i, k := range v.Keys {
			for _, at := range c.refs(v.Items[i], KindCause) {
				x.InFirst[c.whole(k, 1, 1000)] = append(x.InFirst[c.whole(k, 1, 1000)], c.base.Causes[at].ID)
			}
		}
	}
	x.AtLeast, x.AtMost = c.chances(n.Get("at_least"), true), c.chances(n.Get("at_most"), true)
	if v := n.Get("outcome"); v != nil && c.oneOf(v, "an outcome", append(slices.Clone(outcomes), "nothing_found", "outside")...) >= 0 {
		x.Outcome = Outcome(v.Text)
	}
	if v := n.Get("next"); v != nil {
		x.Next = c.stepID(v)
	}
	for _, item := range c.items(n.Get("not_offered")) {
		x.NotOffered = append(x.NotOffered, c.stepID(item))
	}
	x.Says = c.texts(n.Get("says"))
	c.exact(n, x)
	return x
}

func (c *caseReader) exact(n *source.Node, x *Expectation) {
	x.Causes, x.Now, x.Conditions = c.chances(n.Get("causes"), false), c.chances(n.Get("now"), false), c.chances(n.Get("conditions"), false)
	x.GainBits = c.chances(n.Get("gain_bits"), false)
	for key, into := range map[string]**float64{"none": &x.None, "outside": &x.Outside, "unit_out": &x.UnitOut, "evidence": &x.Evidence} {
		if v := n.Get(key); v != nil {
			p := c.number(v)
			*into = &p
		}
	}
	if v := n.Get("top"); v != nil && v.Shape == source.Map && v.Get("causes") != nil && v.Get("probability") != nil {
		x.Top = &TopSet{Probability: c.number(v.Get("probability")), Causes: []string{}}
		for _, at := range c.refs(v.Get("causes"), KindCause) {
			x.Top.Causes = append(x.Top.Causes, c.base.Causes[at].ID)
		}
	}
}

// chances is {id: number}; with scale, words of the rulebase's scale are numbers too.
func (c *caseReader) chances(n *source.Node, scale bool) map[string]float64 {
	if n == nil || n.Empty {
		return nil
	}
	all := map[string]float64{}
	for i, k := range n.Keys {
		switch {
		case c.base.index[k.Text].Kind == KindNone:
			ids := make([]string, 0, len(c.base.index))
			for id := range c.base.index {
				ids = append(ids, id)
			}
			slices.Sort(ids)
			c.r.Problem(k, "unknown-id", source.Nearest(k.Text, ids), "nothing in the rulebase is called %q", k.Text)
		case scale:
			all[k.Text] = c.probability(n.Items[i])
		default:
			all[k.Text] = c.number(n.Items[i])
		}
	}
	return all
}

// stepID is the id of a test, a remedy, or a symptom offered by itself.
func (c *caseReader) stepID(n *source.Node) string {
	id := c.text(n)
	switch c.base.index[id].Kind {
	case KindTest, KindRemedy, KindSymptom:
	default:
		c.r.Problem(n, "unknown-id", source.Nearest(id, append(c.ids(KindTest), c.ids(KindRemedy)...)), "no test or remedy is called %q", id)
	}
	return id
}

// ReadGiven reads a flag of the form id=value.
func (b *Base) ReadGiven(flag string) (GivenValue, error) {
	id, value, ok := strings.Cut(flag, "=")
	if !ok {
		return GivenValue{}, fmt.Errorf("%q is not of the form id=value", flag)
	}
	c := newCaseReader(b)
	at := c.ref(&source.Node{Text: strings.TrimSpace(id)}, KindGiven)
	if at < 0 {
		return GivenValue{}, c.flagError(flag)
	}
	v, ok := c.givenValue(&b.Givens[at], &source.Node{Text: strings.TrimSpace(value)})
	if !ok {
		return GivenValue{}, c.flagError(flag)
	}
	return GivenValue{ID: b.Givens[at].ID, Value: v}, nil
}

// ReadSee reads a flag of the form id=value or id=value@sureness; the last @
// followed by a number is the sureness. What is seen is seen as of now.
func (b *Base) ReadSee(flag string) (Finding, error) {
	id, value, ok := strings.Cut(flag, "=")
	if !ok {
		return Finding{}, fmt.Errorf("%q is not of the form id=value", flag)
	}
	f := Finding{Now: true}
	if i := strings.LastIndexByte(value, '@'); i >= 0 {
		if p, err := strconv.ParseFloat(value[i+1:], 64); err == nil {
			if !(p > 0 && p <= 1) {
				return f, fmt.Errorf("%q: a sureness is above 0 and at most 1", flag)
			}
			f.Sure, value = &p, value[:i]
		}
	}
	c := newCaseReader(b)
	at := c.ref(&source.Node{Text: strings.TrimSpace(id)}, KindSymptom)
	if at < 0 {
		return f, c.flagError(flag)
	}
	f.Symptom, f.Read = b.Symptoms[at].ID, strings.TrimSpace(value)
	if f.Value, ok = c.symptomValue(&b.Symptoms[at], &source.Node{Text: f.Read}); !ok {
		return f, c.flagError(flag)
	}
	return f, nil
}

func (c *caseReader) flagError(flag string) error {
	p := c.r.Problems.List[0]
	if p.Meant != "" {
		return fmt.Errorf("%q: %s; did you mean %q?", flag, p.Says, p.Meant)
	}
	return fmt.Errorf("%q: %s", flag, p.Says)
}

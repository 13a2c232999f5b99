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

func (c *caseReader) situation(n *source.Node) Situation {
	s := Situation{Pos: n.Pos}
	if n.Shape != source.Map {
		c.r.Problem(n, "shape", "", "a case is keys and values: %s", worthListing(keyNames()["case"]))
		return s
	}
	c.known(n, "a case", keyNames()["case"]) // a key with nothing behind it, as on a form, says nothing
	c.format(filled(n, "format"), "the case file")
	if x := filled(n, "case"); x != nil {
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
	if x := filled(n, "expect"); x != nil {
		s.Expect = c.expect(x)
	}
	return s
}

// filled is the value of a key; nil where it is lacking or has nothing behind it.
func filled(n *source.Node, key string) *source.Node { return fields{node: n}.get(key) }

func (c *caseReader) who(n *source.Node, s *Situation) {
	if x := filled(n, "at"); x != nil && c.oneOf(x, "a place", placeWords...) >= 0 {
		s.At = Place(x.Text)
	}
	if x := filled(n, "who"); x != nil {
		s.Who = Who(c.oneOf(x, "a person", whoWords[1:]...) + 1)
	}
	if x := filled(n, "tools"); x != nil {
		s.Tools = append([]string{}, c.texts(x)...)
	}
	if x := filled(n, "alone"); x != nil {
		s.Alone = c.flag(x)
	}
	for _, i := range c.refs(n.Get("confirmed"), KindWarning) {
		s.Confirmed = append(s.Confirmed, c.base.Warnings[i].ID)
	}
	if x := filled(n, "effort"); x != nil {
		e := c.base.Effort
		c.effort(x, &e)
		s.Effort = &e
	}
	if x := filled(n, "sheet"); x != nil {
		s.Sheet = c.text(x)
	}
}

// work reads what was done: remedies, and tests that put something right.
func (c *caseReader) work(n *source.Node, s *Situation) {
	for _, item := range c.items(n) {
		d := Done{Pos: item.Pos}
		id := item
		if item.Shape == source.Map {
			c.allow(item, "an entry of done", keyNames()["done"])
			if id = filled(item, "id"); id == nil {
				c.r.Problem(item, "missing-key", "", "an entry of done is {id: what was done, drop: still_down or well}")
				continue
			}
			if x := filled(item, "drop"); x != nil && c.oneOf(x, "what the drop did", string(StillDown), string(Well)) >= 0 {
				d.Drop = DropNow(x.Text)
			}
		}
		if id.Shape != source.Scalar {
			c.r.Problem(id, "shape", "", "an entry of done is {id: what was done, drop: still_down or well}")
			continue
		}
		d.ID = id.Text
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
		c.r.Problem(n, "unknown-id", c.nearest(n.Text, append(c.ids(KindRemedy), c.ids(KindTest)...)), "no remedy or test is called %q", n.Text)
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
	if n.Shape != source.Scalar || n.Empty {
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
	c.allow(n, "a finding", keyNames()["finding"])
	symptom, value := filled(n, "symptom"), filled(n, "value")
	if symptom == nil || value == nil {
		c.r.Problem(n, "shape", "", "a finding is {symptom: id, value: what was seen}")
		return f, false
	}
	at := c.ref(symptom, KindSymptom)
	if at < 0 {
		return f, false
	}
	f.Symptom = symptom.Text
	ok := false
	f.Value, ok = c.symptomValue(&c.base.Symptoms[at], value)
	c.circumstance(n, &f)
	return f, ok
}

// circumstance reads where, when and by whom a finding was made.
func (c *caseReader) circumstance(n *source.Node, f *Finding) {
	if x := filled(n, "sure"); x != nil {
		s := c.sure(x)
		f.Sure = &s
	}
	if x := filled(n, "at"); x != nil && c.oneOf(x, "a place", placeWords...) >= 0 {
		f.At = Place(x.Text)
	}
	if x := filled(n, "by"); x != nil {
		f.By = c.text(x)
	}
	if x := filled(n, "read"); x != nil {
		f.Read = c.text(x)
	}
	if x := filled(n, "drop"); x != nil {
		f.Drop = c.address(x)
	}
	if x := filled(n, "after"); x != nil {
		if f.After = c.text(x); !slices.Contains(c.done, f.After) {
			c.r.Problem(x, "unknown-id", c.nearest(f.After, c.done), "nothing called %q stands under done", f.After)
		}
	}
}

// highestAddress of a drop is what fits into sixteen bits.
const highestAddress = 65535

// address is the address of a drop, never 0: that is what a unit has that was given none.
func (c *caseReader) address(n *source.Node) int { return c.whole(n, 1, highestAddress) }

func (c *caseReader) symptomValue(s *Symptom, n *source.Node) (Value, bool) {
	switch {
	case n.Shape != source.Scalar || n.Empty:
		c.r.Problem(n, "shape", "", "one value is wanted for %s", s.ID)
		return Value{}, false
	case slices.Contains(s.Values, n.Text):
		return Value{Word: n.Text}, true
	case !s.Banded():
		c.r.Problem(n, "unknown-value", c.nearest(n.Text, s.Values), "%q is not a value of %s (%s)", n.Text, s.ID, strings.Join(s.Values, ", "))
		return Value{}, false
	}
	x, err := quantity.Parse(n.Text, s.Unit)
	if err != nil {
		near := ""
		if n.Text != "" && !strings.ContainsAny(n.Text[:1], "-+.0123456789") {
			near = c.nearest(n.Text, s.Values)
		}
		c.r.Problem(n, "quantity", near, "%v; or give the band it lies in (%s)", err, strings.Join(s.Values, ", "))
		return Value{}, false
	}
	return Value{Word: n.Text, IsNumber: true, Number: x}, true
}

// dropStates are what may be said of another drop.
var dropStates = []string{DropGood, DropDead, DropComesAndGoes}

// line reads what is known of the other drops.
func (c *caseReader) line(n *source.Node, s *Situation) {
	if x := filled(n, "drop"); x != nil {
		s.Drop = c.address(x)
	}
	if x := filled(n, "drops"); x != nil {
		if x.Shape != source.Map {
			c.r.Problem(x, "shape", "", "drops are {address: good, dead or comes_and_goes, ...}")
		}
		s.Drops = map[int]string{}
		for i, k := range x.Keys {
			if a := c.address(k); c.oneOf(x.Items[i], "the state of a drop", dropStates...) >= 0 {
				s.Drops[a] = x.Items[i].Text
			}
		}
	}
	seen := map[int]bool{}
	for _, item := range c.items(filled(n, "order")) {
		s.Order = append(s.Order, c.once(item, seen, "in the order along the cable"))
	}
	seen = map[int]bool{}
	for _, group := range c.items(filled(n, "supplies")) {
		if group.Shape != source.List {
			c.r.Problem(group, "shape", "", "supplies are lists of the drops that share one, as in [[1, 3], [5]]")
			continue
		}
		var drops []int
		for _, item := range group.Items {
			drops = append(drops, c.once(item, seen, "under the supplies"))
		}
		s.Supplies = append(s.Supplies, drops)
	}
}

// once is the address of a drop that may stand in some place only once.
func (c *caseReader) once(n *source.Node, seen map[int]bool, where string) int {
	a, ok := c.wholeOK(n, 1, highestAddress)
	if ok && seen[a] {
		c.r.Problem(n, "twice", "", "drop %d stands %s twice", a, where)
	}
	seen[a] = seen[a] || ok
	return a
}

func (c *caseReader) expect(n *source.Node) *Expectation {
	x := &Expectation{Pos: n.Pos}
	if n.Shape != source.Map {
		c.r.Problem(n, "shape", "", "expect is keys and values: %s", worthListing(keyNames()["expectation"]))
		return x
	}
	c.allow(n, "expect", keyNames()["expectation"])
	if v := filled(n, "first"); v != nil && c.ref(v, KindCause) >= 0 {
		x.First = v.Text
	}
	if v := filled(n, "in_first"); v != nil {
		x.InFirst = c.inFirst(v)
	}
	x.AtLeast, x.AtMost = c.chances(filled(n, "at_least"), true, KindCause, KindCondition), c.chances(filled(n, "at_most"), true, KindCause, KindCondition)
	if v := filled(n, "outcome"); v != nil && c.oneOf(v, "an outcome", Words(Outcomes)...) >= 0 {
		x.Outcome = Outcome(v.Text)
	}
	if v := filled(n, "next"); v != nil {
		x.Next = c.stepID(v)
	}
	for _, item := range c.items(filled(n, "not_offered")) {
		x.NotOffered = append(x.NotOffered, c.stepID(item))
	}
	x.Says = c.texts(filled(n, "says"))
	c.exact(n, x)
	return x
}

// inFirst is {n: [ids]}: causes that stand among the first n.
func (c *caseReader) inFirst(n *source.Node) map[int][]string {
	if n.Shape != source.Map {
		c.r.Problem(n, "shape", "", "in_first is {3: [causes that stand among the first three]}")
		return nil
	}
	all := map[int][]string{}
	for i, k := range n.Keys {
		first := c.whole(k, 1, 1000)
		for _, at := range c.refs(n.Items[i], KindCause) {
			all[first] = append(all[first], c.base.Causes[at].ID)
		}
	}
	return all
}

// exact reads what is held to 1e-9.
func (c *caseReader) exact(n *source.Node, x *Expectation) {
	x.Causes, x.Now = c.chances(filled(n, "causes"), false, KindCause), c.chances(filled(n, "now"), false, KindCause)
	x.Conditions = c.chances(filled(n, "conditions"), false, KindCondition)
	x.GainBits = c.chances(filled(n, "gain_bits"), false, KindTest, KindRemedy, KindSymptom)
	x.None, x.Outside, x.UnitOut, x.Evidence = c.exactly(n, "none"), c.exactly(n, "outside"), c.exactly(n, "unit_out"), c.exactly(n, "evidence")
	v := filled(n, "top")
	if v == nil {
		return
	}
	c.allow(v, "top", keyNames()["top"])
	if v.Get("causes") == nil || v.Get("probability") == nil {
		c.r.Problem(v, "shape", "", "top is {causes: [ids], probability: number}")
		return
	}
	x.Top = &TopSet{Probability: c.number(v.Get("probability")), Causes: []string{}}
	for _, at := range c.refs(v.Get("causes"), KindCause) {
		x.Top.Causes = append(x.Top.Causes, c.base.Causes[at].ID)
	}
}

func (c *caseReader) exactly(n *source.Node, key string) *float64 {
	if v := filled(n, key); v != nil {
		p := c.number(v)
		return &p
	}
	return nil
}

// chances is {id: number}; with scale, words of the rulebase's scale are numbers too.
func (c *caseReader) chances(n *source.Node, scale bool, kinds ...Kind) map[string]float64 {
	if n == nil {
		return nil
	}
	if n.Shape != source.Map {
		c.r.Problem(n, "shape", "", "numbers are wanted here by id: {id: number, ...}")
		return nil
	}
	all := map[string]float64{}
	for i, k := range n.Keys {
		if !c.anyOf(k, kinds...) {
			continue
		}
		if scale {
			all[k.Text] = c.probability(n.Items[i])
		} else {
			all[k.Text] = c.number(n.Items[i])
		}
	}
	return all
}

// anyOf says whether an id is of one of some kinds.
func (c *caseReader) anyOf(n *source.Node, kinds ...Kind) bool {
	is := c.base.index[n.Text].Kind
	if n.Shape == source.Scalar && slices.Contains(kinds, is) {
		return true
	}
	var words, ids []string
	for _, k := range kinds {
		words = append(words, kindWords[k])
		ids = append(ids, c.ids(k)...)
	}
	wanted := strings.Join(words, " or ")
	switch {
	case n.Shape != source.Scalar:
		c.r.Problem(n, "shape", "", "the id of a %s is wanted here", wanted)
	case is != KindNone:
		c.r.Problem(n, "wrong-kind", "", "%s is a %s; a %s is wanted here", n.Text, kindWords[is], wanted)
	default:
		c.r.Problem(n, "unknown-id", c.nearest(n.Text, ids), "no %s is called %q", wanted, n.Text)
	}
	return false
}

// stepID is the id of a test, a remedy, or a symptom offered by itself.
func (c *caseReader) stepID(n *source.Node) string {
	c.anyOf(n, KindTest, KindRemedy, KindSymptom)
	return n.Text
}

// flagNode is a part of a flag, read like a scalar of a file.
func flagNode(text string) *source.Node {
	text = strings.TrimSpace(text)
	return &source.Node{Text: text, Empty: text == ""}
}

// ReadGiven reads a flag of the form id=value.
func (b *Base) ReadGiven(flag string) (GivenValue, error) {
	id, value, ok := strings.Cut(flag, "=")
	if !ok {
		return GivenValue{}, fmt.Errorf("%q is not of the form id=value", flag)
	}
	c := newCaseReader(b)
	at := c.ref(flagNode(id), KindGiven)
	if at < 0 {
		return GivenValue{}, c.flagError(flag)
	}
	v, ok := c.givenValue(&b.Givens[at], flagNode(value))
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
		if p, err := strconv.ParseFloat(value[i+1:], 64); err == nil && decimal().MatchString(value[i+1:]) {
			if !(p > 0 && p <= 1) {
				return f, fmt.Errorf("%q: a sureness is above 0 and at most 1", flag)
			}
			f.Sure, value = &p, value[:i]
		}
	}
	c := newCaseReader(b)
	at := c.ref(flagNode(id), KindSymptom)
	if at < 0 {
		return f, c.flagError(flag)
	}
	f.Symptom, f.Read = b.Symptoms[at].ID, strings.TrimSpace(value)
	if f.Value, ok = c.symptomValue(&b.Symptoms[at], flagNode(value)); !ok {
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

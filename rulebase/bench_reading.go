package rulebase

import (
	"slices"
	"strings"

	"downdrop/rulebase/source"
)

// kindsByKey says what sort of answer a reading has by the key that says so.
var kindsByKey = []struct {
	key  string
	kind BenchKind
}{{"unit", ReadsNumber}, {"one_of", ReadsWord}, {"points", ReadsPoints}, {"messages", ReadsErrors}, {"text", ReadsText}}

// keysOfKind are the keys that only some kinds of readings have.
var keysOfKind = map[string][]BenchKind{
	"least": {ReadsNumber}, "most": {ReadsNumber}, "equal": {ReadsNumber}, "with": {ReadsNumber, ReadsErrors}, "finding": {ReadsNumber},
	"passes": {ReadsWord, ReadsYesNo}, "error_rate": {ReadsErrors}, "means": {ReadsNumber, ReadsWord, ReadsYesNo, ReadsPoints, ReadsErrors},
}

// benchTexts are the texts that are only written down.
var benchTexts = []string{"serial", "complaint", "words"}

func (r *benchReader) reading(n *source.Node) BenchReading {
	g := BenchReading{Pos: n.Pos, Kind: ReadsYesNo, Slot: -1}
	if n.Shape != source.Map {
		r.r.Problem(n, "shape", "", "a reading is keys and values: %s", worthListing(benchKeyNames("bench_reading")))
		return g
	}
	r.allow(n, "a reading", benchKeyNames("bench_reading"))
	r.kindOf(n, &g)
	g.Ask = r.must(n, "ask", "the question")
	g.Source, g.With = r.maybe(n, "source"), r.maybe(n, "with")
	g.When = r.expr(filled(n, "when"), "when of a reading", false)
	g.Least, g.Most, g.Equal = r.expr(filled(n, "least"), "a limit", true), r.expr(filled(n, "most"), "a limit", true), r.expr(filled(n, "equal"), "a limit", true)
	g.Points, g.Messages, g.ErrorRate = r.expr(filled(n, "points"), "points", true), r.expr(filled(n, "messages"), "messages", true), r.expr(filled(n, "error_rate"), "error_rate", true)
	if g.Kind == ReadsErrors && n.Get("error_rate") == nil {
		r.r.Problem(n, "missing-key", "", `"error_rate" is missing here: the share of wrong messages that the count must show not to be reached`)
	}
	if x := filled(n, "equal"); x != nil && (n.Get("least") != nil || n.Get("most") != nil) {
		r.r.Problem(x, "twice", "", "equal stands alone, without least and most")
	}
	r.words(n, &g)
	r.findings(n, &g)
	if x := r.needs(n, "reading", "its id"); x != nil && r.goodID(x) {
		if _, taken := r.ids[x.Text]; taken {
			r.r.Problem(x, "duplicate-id", "", "%s is already a fact of a unit profile or a reading before", x.Text)
		} else {
			g.ID = x.Text
			g.Slot = r.name(g.named())
		}
	}
	return g
}

// named is what later expressions read of a reading.
func (g *BenchReading) named() Name {
	n := Name{ID: g.ID, Kind: KindFact, Type: Number, Unit: g.Unit}
	switch g.Kind {
	case ReadsWord:
		n.Type, n.Words = Choice, g.OneOf
	case ReadsYesNo, ReadsPoints, ReadsText:
		n.Type, n.Words = Flag, flagWords
	}
	return n
}

// kindOf finds what sort of answer is wanted, and refuses what goes with another.
func (r *benchReader) kindOf(n *source.Node, g *BenchReading) {
	said := ""
	for _, k := range kindsByKey {
		if filled(n, k.key) == nil {
			continue
		}
		if said != "" {
			r.r.Problem(n.Get(k.key), "twice", "", "%s and %s are answers of two kinds; keep one", said, k.key)
			continue
		}
		said, g.Kind = k.key, k.kind
	}
	for key, kinds := range keysOfKind {
		if x := n.Get(key); x != nil && !slices.Contains(kinds, g.Kind) {
			r.r.Problem(x, "wrong-kind", "", "%s does not go with an answer that is %s", key, kindSays[g.Kind])
		}
	}
	if g.Kind == ReadsNumber {
		if g.Unit = r.text(n.Get("unit")); g.Unit == "1" {
			g.Unit = ""
		}
	}
	if g.Kind == ReadsText {
		if x := n.Get("text"); r.oneOf(x, "a text", benchTexts...) >= 0 {
			g.Text = x.Text
		}
	}
}

var kindSays = map[BenchKind]string{ReadsNumber: "a number", ReadsWord: "a word", ReadsYesNo: "yes or no", ReadsPoints: "a list of points", ReadsErrors: "a count of errors", ReadsText: "a text"}

// words reads the answers of a reading and which of them pass.
func (r *benchReader) words(n *source.Node, g *BenchReading) {
	switch g.Kind {
	case ReadsWord:
		for _, item := range r.items(n.Get("one_of")) {
			w := r.text(item)
			if !isID(w) || slices.Contains(g.OneOf, w) {
				r.r.Problem(item, "word", "", "%q cannot be an answer: small letters, digits and _, each word once", w)
			}
			g.OneOf = append(g.OneOf, w)
		}
		if len(g.OneOf) == 0 {
			return // it is no list, which was said
		}
	case ReadsYesNo:
		g.OneOf, g.Passes = []string{"yes", "no"}, []string{"yes"}
	default:
		return
	}
	if x := filled(n, "passes"); x != nil {
		g.Passes = nil
		for _, item := range r.items(x) {
			if r.oneOf(item, "an answer of this reading", g.OneOf...) >= 0 {
				g.Passes = append(g.Passes, item.Text)
			}
		}
	} else if g.Kind == ReadsWord {
		r.r.Problem(n, "missing-key", "", `"passes" is missing here: the answers that pass (all of them, where it is only written down)`)
	}
}

// Outcomes are what a reading can come to, for what it means.
func (g *BenchReading) Outcomes() []string {
	switch g.Kind {
	case ReadsNumber:
		if g.Equal != nil {
			return []string{"pass", "fail"}
		}
		return []string{"below", "inside", "above", "fail"}
	case ReadsWord, ReadsYesNo:
		return append(slices.Clone(g.OneOf), "fail")
	}
	return []string{"pass", "fail"}
}

// findings reads what a reading says to a diagnosis, checked against the rulebase.
func (r *benchReader) findings(n *source.Node, g *BenchReading) {
	if x := filled(n, "finding"); x != nil && g.Kind == ReadsNumber {
		if i := r.ref(x, KindSymptom); i >= 0 {
			s := &r.base.Symptoms[i]
			if !s.Banded() || s.Unit != g.Unit {
				r.r.Problem(x, "wrong-kind", "", "%s takes no reading in %s; say what the outcomes mean instead", s.ID, quantityName(g.Unit))
			}
			g.Finding = s.ID
		}
	}
	x := filled(n, "means")
	if x == nil {
		return
	}
	if x.Shape != source.Map {
		r.r.Problem(x, "shape", "", "means is {an outcome: {symptom: value}}; the outcomes are %s", strings.Join(g.Outcomes(), ", "))
		return
	}
	for i, k := range x.Keys {
		if r.oneOf(k, "an outcome of this reading", g.Outcomes()...) < 0 {
			continue
		}
		at := x.Items[i]
		if at.Shape != source.Map {
			r.r.Problem(at, "shape", "", "an outcome means {symptom: value}")
			continue
		}
		for j, symptom := range at.Keys {
			if s := r.ref(symptom, KindSymptom); s >= 0 && r.oneOf(at.Items[j], "a value of "+symptom.Text, r.base.Symptoms[s].Values...) >= 0 {
				g.Means = append(g.Means, BenchMeaning{k.Text, symptom.Text, at.Items[j].Text})
			}
		}
	}
}

func quantityName(unit string) string {
	if unit == "" {
		return "a bare number"
	}
	return unit
}

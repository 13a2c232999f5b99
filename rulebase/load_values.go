package rulebase

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"downdrop/rulebase/quantity"
	"downdrop/rulebase/source"
)

// fields are the keys of an entry, checked against those it may have.
type fields struct {
	l    *loader
	e    entry
	node *source.Node
}

// keys of all entries, besides their own.
var everywhere = []string{"note", "source", "replaces"}

func (l *loader) fields(e entry, allowed ...string) fields {
	f := fields{l, e, e.node}
	if e.node.Shape != source.Map && !e.node.Empty {
		l.r.Problem(e.node, "shape", "", "%s wants keys: %s", e.id, strings.Join(allowed, ", "))
		f.node = &source.Node{Pos: e.node.Pos, Shape: source.Map}
		return f
	}
	l.allow(e.node, e.id, append(slices.Clone(allowed), everywhere...))
	return f
}

func (l *loader) allow(node *source.Node, of string, allowed []string) {
	for i, k := range node.Keys {
		if slices.Contains(allowed, k.Text) {
			continue
		}
		if node.Items[i].Empty && strings.ContainsAny(k.Text, " ?") {
			l.r.Problem(k, "unquoted-text", "", "%q stands alone as a key: a comma inside braces ends a text; put the text in quotes", k.Text)
			continue
		}
		l.r.Problem(k, "unknown-key", source.Nearest(k.Text, allowed), "%s cannot have %q; it can have %s", of, k.Text, strings.Join(allowed, ", "))
	}
}

func (f fields) get(key string) *source.Node { return f.node.Get(key) }

func (f fields) text(key string) string {
	n := f.get(key)
	if n == nil {
		return ""
	}
	return f.l.text(n)
}

// must is a text that has to be there.
func (f fields) must(key string) string {
	if n := f.get(key); n != nil && !n.Empty {
		return f.l.text(n)
	}
	f.l.missing(f.e, key)
	return ""
}

func (l *loader) missing(e entry, key string) {
	l.r.Problem(e.key, "missing-key", "", "%s needs %q", e.id, key)
}

func (l *loader) text(n *source.Node) string {
	if n.Shape != source.Scalar {
		l.r.Problem(n, "shape", "", "a text is wanted here; put it in quotes if it holds braces or brackets")
		return ""
	}
	return n.Text
}

// texts is a list of texts, or one text.
func (l *loader) texts(n *source.Node) []string {
	if n == nil || n.Empty {
		return nil
	}
	if n.Shape == source.Scalar {
		return []string{n.Text}
	}
	var all []string
	for _, item := range n.Items {
		all = append(all, l.text(item))
	}
	if n.Shape == source.Map {
		l.r.Problem(n, "shape", "", "a list is wanted here")
	}
	return all
}

// items are the nodes of a list, or a single scalar as one.
func (l *loader) items(n *source.Node) []*source.Node {
	switch {
	case n == nil || n.Empty:
		return nil
	case n.Shape == source.Scalar:
		return []*source.Node{n}
	case n.Shape == source.Map:
		l.r.Problem(n, "shape", "", "a list is wanted here")
		return nil
	}
	return n.Items
}

var decimal = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][-+]?[0-9]+)?$`)

func (l *loader) number(n *source.Node) float64 {
	if n.Shape != source.Scalar || !decimal.MatchString(n.Text) {
		says := "a number is wanted here, with a decimal point if need be"
		switch {
		case regexp.MustCompile(`^-?0[0-9]`).MatchString(n.Text):
			says = "a number does not begin with a zero (YAML would read it in base 8)"
		case strings.Contains(n.Text, ","):
			says = "a number has a decimal point, not a comma, and no group marks"
		case strings.Contains(n.Text, "_"):
			says = "a number is written without _"
		}
		l.r.Problem(n, "number", "", "%s", says)
		return 0
	}
	x, err := strconv.ParseFloat(n.Text, 64)
	if err != nil {
		l.r.Problem(n, "number", "", "the number is too large")
		return 0
	}
	return x
}

func (l *loader) within(n *source.Node, low, high float64) float64 {
	x := l.number(n)
	if x < low || x > high {
		l.r.Problem(n, "range", "", "%s is outside %v to %v", n.Text, low, high)
		return low
	}
	return x
}

func (l *loader) whole(n *source.Node, low, high int) int {
	x := l.within(n, float64(low), float64(high))
	if x != float64(int(x)) {
		l.r.Problem(n, "number", "", "a whole number is wanted here")
	}
	return int(x)
}

func (l *loader) flag(n *source.Node) bool {
	switch strings.ToLower(n.Text) {
	case "true", "yes":
		return true
	case "false", "no":
		return false
	}
	l.r.Problem(n, "flag", "", "true or false is wanted here")
	return false
}

func (l *loader) quantity(n *source.Node, unit string) float64 {
	if n.Shape != source.Scalar {
		l.r.Problem(n, "shape", "", "a number is wanted here")
		return 0
	}
	x, err := quantity.Parse(n.Text, unit)
	if err != nil {
		l.r.Problem(n, "quantity", "", "%v", err)
	}
	return x
}

// oneOf is a word of a list.
func (l *loader) oneOf(n *source.Node, what string, words ...string) int {
	text := l.text(n)
	i := slices.Index(words, text)
	if i < 0 && n.Shape == source.Scalar {
		l.r.Problem(n, "word", source.Nearest(text, words), "%q is not %s; it is one of %s", text, what, strings.Join(words, ", "))
	}
	return i
}

// refs are ids of one section, as places in it.
func (l *loader) refs(n *source.Node, kind Kind) []int {
	var all []int
	for _, item := range l.items(n) {
		if i := l.ref(item, kind); i >= 0 {
			if slices.Contains(all, i) {
				l.r.Problem(item, "twice", "", "%s stands in this list twice", item.Text)
				continue
			}
			all = append(all, i)
		}
	}
	return all
}

func (l *loader) ref(n *source.Node, kind Kind) int {
	id := l.text(n)
	if r, ok := l.base.index[id]; ok && r.Kind == kind {
		return r.Index
	}
	if n.Shape != source.Scalar {
		return -1
	}
	if is := l.kind[id]; is != KindNone {
		l.r.Problem(n, "wrong-kind", "", "%s is a %s; a %s is wanted here", id, kindWords[is], kindWords[kind])
		return -1
	}
	l.r.Problem(n, "unknown-id", source.Nearest(id, l.ids(kind)), "no %s is called %q", kindWords[kind], id)
	return -1
}

func (l *loader) ids(kind Kind) []string {
	var ids []string
	for id, k := range l.kind {
		if k == kind {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	return ids
}

// expression reads an expression that may read names of the kinds given.
func (l *loader) expression(n *source.Node, where string, number bool, allow ...Kind) *Expression {
	if n == nil {
		return nil
	}
	if n.Shape != source.Scalar {
		l.r.Problem(n, "shape", "", "an expression is wanted here; put it in quotes if it holds brackets, braces or a colon")
		return nil
	}
	scope := &Scope{Names: l.base.Names, ByID: l.scopeIDs, Allow: allow, Where: where, Number: number}
	pos := n.Pos
	if n.Quoted {
		pos = l.r.Place(n, 0)
	}
	e, problems := ParseExpression(n.Text, pos, scope)
	for _, p := range problems {
		p.Position = l.r.Place(n, offsetOf(n.Text, pos, p.Position))
		l.r.Add(p)
	}
	return e
}

// offsetOf turns a place that was counted along an expression's text into the
// offset of a rune: quotes and folded lines put it elsewhere in the file.
func offsetOf(text string, begin, at Position) int {
	if at.Line == begin.Line {
		return at.Column - begin.Column
	}
	offset := 0
	for range at.Line - begin.Line {
		i := strings.IndexByte(text, '\n')
		offset += utf8.RuneCountInString(text[:i+1])
		text = text[i+1:]
	}
	return offset
}

var wordScale = map[string]float64{"always": .99, "almost_always": .95, "usually": .85, "often": .65, "half": .5, "sometimes": .3, "seldom": .12, "rarely": .05, "never": .005}

// probability is a number in [0, 1] or a word of the scale.
func (l *loader) probability(n *source.Node) float64 {
	if p, ok := l.base.Words[n.Text]; ok && n.Shape == source.Scalar {
		return p
	}
	if n.Shape == source.Scalar && n.Text != "" && !strings.ContainsAny(n.Text[:1], "-.0123456789") {
		words := make([]string, 0, len(l.base.Words))
		for w := range l.base.Words {
			words = append(words, w)
		}
		slices.Sort(words)
		l.r.Problem(n, "probability", source.Nearest(n.Text, words), "%q is neither a number from 0 to 1 nor a word of the scale (%s)", n.Text, strings.Join(words, ", "))
		return 0
	}
	return l.within(n, 0, 1)
}

func (l *loader) sureness(n *source.Node) *Sureness {
	if n == nil {
		return nil
	}
	if n.Shape != source.Map {
		return &Sureness{Everywhere: l.sure(n)}
	}
	s := &Sureness{Everywhere: 1, ByPlace: map[Place]float64{}}
	for i, k := range n.Keys {
		if l.oneOf(k, "a place", "phone", "field", "bench") >= 0 {
			s.ByPlace[Place(k.Text)] = l.sure(n.Items[i])
		}
	}
	return s
}

func (l *loader) sure(n *source.Node) float64 {
	p := l.within(n, 0, 1)
	if p == 0 {
		l.r.Problem(n, "range", "", "a sureness is above 0 and at most 1")
	}
	return p
}

// sourceOf checks an entry's source. common_practice need not be declared.
func (f fields) sourceOf(required bool) string {
	n := f.get("source")
	if n == nil {
		if required {
			f.l.r.Problem(f.e.key, "no-source", "", "%s needs a source: where it is known from (common_practice, if nothing is written)", f.e.id)
		}
		return ""
	}
	id := f.l.text(n)
	if id != "common_practice" && !f.l.sources[id] && n.Shape == source.Scalar {
		var known []string
		for s := range f.l.sources {
			known = append(known, s)
		}
		slices.Sort(known)
		f.l.r.Problem(n, "unknown-id", source.Nearest(id, known), "no source is called %q", id)
	}
	return id
}

// rowText prints a row with every value named, for a message.
func rowText(values []string, p []float64) string {
	parts := make([]string, len(values))
	for i, v := range values {
		parts[i] = fmt.Sprintf("%s: %.4g", v, p[i])
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

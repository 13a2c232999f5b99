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
	"unicode/utf8"

	"downdrop/rulebase/quantity"
	"downdrop/rulebase/source"
)

// readOne reads a file that is one thing, a sheet say. The error is a *Problems with all that is wrong.
func readOne[T any](r *source.Reader, file string, text []byte, read func(*source.Node) *T) (*T, error) {
	var one *T
	if doc := r.Read(file, text); doc != nil {
		one = read(doc)
	}
	if err := r.Err(); err != nil {
		return nil, err
	}
	return one, nil
}

// fields are the keys of an entry, checked against those it may have.
type fields struct {
	l      *loader
	e      entry
	node   *source.Node
	broken bool // the entry is no map; what it lacks is not worth saying
}

// fields takes an entry of a section, whose keys are those of the section.
func (l *loader) fields(e entry, section string) fields {
	allowed := keyNames()[section]
	if e.node.Shape != source.Map && !e.node.Empty {
		l.r.Problem(e.node, "shape", "", "%s wants keys: %s", e.id, worthListing(allowed))
		return fields{l, e, &source.Node{Pos: e.node.Pos, Shape: source.Map}, true}
	}
	if section != "rulebase" {
		allowed = append(allowed, keyNames()["overlaying"]...)
	}
	l.allow(e.node, e.id, allowed)
	return fields{l, e, e.node, false}
}

// allow refuses keys that do not belong there, and keys without a value.
func (l *loader) allow(node *source.Node, of string, allowed []string) {
	l.known(node, of, allowed)
	for i, k := range node.Keys {
		if node.Items[i].Empty && k.Text != "note" && slices.Contains(allowed, k.Text) {
			l.r.Problem(k, "empty", "", "%s has nothing behind it; write the value, or take the key out", k.Text)
		}
	}
}

// known refuses keys that do not belong there.
func (l *loader) known(node *source.Node, of string, allowed []string) {
	for i, k := range node.Keys {
		item := node.Items[i]
		switch {
		case k.Text == "source" && l.used != nil && !item.Empty:
			l.sourceID(item)
		case slices.Contains(allowed, k.Text):
		case item.Empty && i > 0 && digits(k.Text) && digits(node.Items[i-1].Text):
			l.r.Problem(k, "number", "", "a number has a decimal point, not a comma: %s.%s", node.Items[i-1].Text, k.Text)
		case item.Empty && strings.ContainsAny(k.Text, " ?:"):
			l.unquoted(k)
		default:
			l.r.Problem(k, "unknown-key", l.nearest(k.Text, allowed), "%s cannot have %q; it can have %s", of, k.Text, worthListing(allowed))
		}
	}
}

// worthListing lists keys without those that may stand anywhere.
func worthListing(allowed []string) string {
	seldom := func(key string) bool {
		return key == "note" || slices.Contains(keyNames()["overlaying"], key)
	}
	return strings.Join(slices.DeleteFunc(slices.Clone(allowed), seldom), ", ")
}

// digits says that a text is nothing but digits.
func digits(text string) bool { return text != "" && strings.Trim(text, "0123456789") == "" }

// unquoted explains a key that is the second half of a text, or a key and value in one.
func (l *loader) unquoted(k *source.Node) {
	if word, rest, ok := strings.Cut(k.Text, ":"); ok && rest != "" && isID(word) {
		l.r.Problem(k, "colon", "", "a colon wants a blank behind it: %s: %s", word, rest)
		return
	}
	l.r.Problem(k, "unquoted-text", "", "%q stands alone: inside braces a comma ends a text; put the whole text in quotes", k.Text)
}

// get is the value of a key; nil where it is lacking or has nothing behind it.
func (f fields) get(key string) *source.Node {
	if n := f.node.Get(key); n != nil && !n.Empty {
		return n
	}
	return nil
}

func (f fields) text(key string) string {
	if n := f.get(key); n != nil {
		return f.l.text(n)
	}
	return ""
}

// need is the value of a key that has to be there.
func (f fields) need(key string) *source.Node {
	n := f.node.Get(key)
	if n == nil && !f.broken {
		f.l.r.Problem(f.e.key, "missing-key", "", "%s needs %q", f.e.id, key)
	}
	return f.get(key)
}

// must is a text that has to be there.
func (f fields) must(key string) string {
	if n := f.need(key); n != nil {
		return f.l.text(n)
	}
	return ""
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
	var all []string
	for _, item := range l.items(n) {
		all = append(all, l.text(item))
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
		l.r.Problem(n, "shape", "", "a list is wanted here: [one, two], or lines that begin with a dash")
		return nil
	}
	return n.Items
}

var decimal = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][-+]?[0-9]+)?$`) })

// crooked says what is wrong with a number that is not written as one.
type crooked struct {
	pattern *regexp.Regexp
	says    string
}

var crookeds = sync.OnceValue(func() []crooked {
	return []crooked{
		{regexp.MustCompile(`^[-+]?0[0-9]`), "a number does not begin with a zero (elsewhere YAML would read it in base 8)"},
		{regexp.MustCompile(`^[-+]?[0-9]+,[0-9]+`), "a number has a decimal point, not a comma, and no group marks"},
		{regexp.MustCompile(`^[-+]?[0-9]+_`), "a number is written without _"},
		{regexp.MustCompile(`^[-+]?0[xXoObB]`), "a number is written in ordinary digits"},
		{regexp.MustCompile(`^[-+]?\.[0-9]`), "a digit stands before the decimal point, as in 0.5"},
		{regexp.MustCompile(`^[-+]?[0-9]+\.($|[^0-9])`), "a digit stands behind the decimal point, as in 5.0"},
		{regexp.MustCompile(`^\+`), "a number is written without a plus sign"},
		{regexp.MustCompile(`^[-+.]*(?i:nan|inf|infinity)$`), "this is no number that can be reckoned with"},
		{regexp.MustCompile(`^[-+]?[0-9.]+ *%$`), "a percentage is written as a number from 0 to 1"},
		{regexp.MustCompile(`^[-+]?[0-9.]+ *[^0-9.]`), "a bare number is wanted here, without a unit or words"},
	}
})

// numberOK is a number; ok is false, and the problem said, where it is none.
func (l *loader) numberOK(n *source.Node) (x float64, ok bool) {
	if n.Shape != source.Scalar || !decimal().MatchString(n.Text) {
		says := "a number is wanted here"
		for _, c := range crookeds() {
			if n.Shape == source.Scalar && c.pattern.MatchString(n.Text) {
				says = c.says
				break
			}
		}
		l.r.Problem(n, "number", "", "%s", says)
		return 0, false
	}
	x, err := strconv.ParseFloat(n.Text, 64)
	if err != nil {
		l.r.Problem(n, "number", "", "the number is too large")
		return 0, false
	}
	return x, true
}

func (l *loader) number(n *source.Node) float64 {
	x, _ := l.numberOK(n)
	return x
}

func (l *loader) withinOK(n *source.Node, low, high float64) (float64, bool) {
	x, ok := l.numberOK(n)
	if ok && (x < low || x > high) {
		l.r.Problem(n, "range", "", "%s is outside %s to %s", n.Text, plain(low), plain(high))
		ok = false
	}
	if !ok {
		return low, false
	}
	return x, true
}

// plain is a number without an exponent.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func (l *loader) within(n *source.Node, low, high float64) float64 {
	x, _ := l.withinOK(n, low, high)
	return x
}

func (l *loader) whole(n *source.Node, low, high int) int {
	x, _ := l.wholeOK(n, low, high)
	return x
}

// wholeOK is a whole number; ok is false, and the problem said, where it is none.
func (l *loader) wholeOK(n *source.Node, low, high int) (int, bool) {
	x, ok := l.withinOK(n, float64(low), float64(high))
	if ok && x != float64(int(x)) {
		l.r.Problem(n, "number", "", "a whole number is wanted here")
		ok = false
	}
	return int(x), ok
}

func (l *loader) flag(n *source.Node) bool {
	switch strings.ToLower(n.Text) {
	case "true", "yes":
		return true
	case "false", "no":
		return false
	}
	l.r.Problem(n, "flag", "", "true or false (yes or no) is wanted here")
	return false
}

// quantityOK is a number in a unit; ok is false, and the problem said, where it is none.
func (l *loader) quantityOK(n *source.Node, unit string) (float64, bool) {
	if n.Shape != source.Scalar {
		l.r.Problem(n, "shape", "", "one number is wanted here")
		return 0, false
	}
	x, err := quantity.Parse(n.Text, unit)
	if err != nil {
		l.r.Problem(n, "quantity", "", "%v", err)
	}
	return x, err == nil
}

// oneOf is a word of a list.
func (l *loader) oneOf(n *source.Node, what string, words ...string) int {
	text := l.text(n)
	i := slices.Index(words, text)
	if i < 0 && n.Shape == source.Scalar {
		l.r.Problem(n, "word", l.nearest(text, words), "%q is not %s; it is one of %s", text, what, strings.Join(words, ", "))
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
	l.r.Problem(n, "unknown-id", l.nearest(id, l.ids(kind)), "no %s is called %q", kindWords[kind], id)
	return -1
}

// ids are those of one kind, for near misses.
func (l *loader) ids(kind Kind) []string {
	if l.byKind == nil {
		l.byKind = map[Kind][]string{}
		for id, k := range l.kind {
			l.byKind[k] = append(l.byKind[k], id)
		}
	}
	return l.byKind[kind]
}

// nearest is the near miss of a word; among very many problems it is no longer
// looked for.
func (l *loader) nearest(word string, candidates []string) string {
	if l.tooMany() {
		return ""
	}
	return source.Nearest(word, candidates)
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
	barred := slices.ContainsFunc(problems, func(p Problem) bool { return p.Kind == "not-readable-here" })
	for _, p := range problems {
		if barred && p.Kind == "unknown-name" && p.Meant == "" {
			continue // the value that the barred name was compared with
		}
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

// probabilityOK is a number in [0, 1] or a word of the scale; ok is false, and
// the problem said, where it is neither.
func (l *loader) probabilityOK(n *source.Node) (float64, bool) {
	if n.Shape == source.Scalar {
		if p, ok := l.base.Words[n.Text]; ok {
			return p, true
		}
		if r, _ := utf8.DecodeRuneInString(n.Text); unicode.IsLetter(r) {
			words := slices.Sorted(maps.Keys(l.base.Words))
			l.r.Problem(n, "probability", l.nearest(n.Text, words), "%q is neither a number from 0 to 1 nor a word of the scale (%s)", n.Text, strings.Join(words, ", "))
			return 0, false
		}
	}
	return l.withinOK(n, 0, 1)
}

func (l *loader) probability(n *source.Node) float64 {
	p, _ := l.probabilityOK(n)
	return p
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
		if l.oneOf(k, "a place", placeWords...) >= 0 {
			s.ByPlace[Place(k.Text)] = l.sure(n.Items[i])
		}
	}
	return s
}

// sure is above 0 and at most 1: what is not sure at all is no finding.
func (l *loader) sure(n *source.Node) float64 {
	p, ok := l.numberOK(n)
	if ok && (p <= 0 || p > 1) {
		l.r.Problem(n, "range", "", "a sureness is above 0 and at most 1")
	}
	return p
}

// commonPractice is the source of what everybody in the trade knows and nobody
// wrote down; it need not be declared.
const commonPractice = "common_practice"

// sourceOf checks an entry's source.
func (f fields) sourceOf(required bool) string {
	n := f.get("source")
	if n == nil {
		if required && f.node.Get("source") == nil && !f.broken {
			f.l.r.Problem(f.e.key, "no-source", "", "%s needs a source: where it is known from (common_practice, if nothing is written)", f.e.id)
		}
		return ""
	}
	return n.Text // checked with the keys
}

// sourceID notes that a source is used, and says where there is none of that name.
func (l *loader) sourceID(n *source.Node) {
	id := l.text(n)
	l.used[id] = true
	if id != commonPractice && !l.sources[id] && n.Shape == source.Scalar {
		l.r.Problem(n, "unknown-id", l.nearest(id, slices.Sorted(maps.Keys(l.sources))), "no source is called %q", id)
	}
}

// rowText prints a row with every value named, for a message.
func rowText(values []string, p []float64) string {
	parts := make([]string, len(values))
	for i, v := range values {
		parts[i] = fmt.Sprintf("%s: %.4g", v, p[i])
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

package rulebase

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"downdrop/rulebase/source"
)

//go:embed drop/*.yaml drop/bench/*.yaml drop/bench/units/*.yaml
var drop embed.FS

// Shipped is the rulebase that comes with the program, with its rule tests.
func Shipped() fs.FS {
	sub, err := fs.Sub(drop, "drop")
	if err != nil {
		panic(err) // the folder is embedded above
	}
	return sub
}

// A Layer is a folder of rulebase files. Name is printed before the files' names in problems.
type Layer struct {
	Name string
	FS   fs.FS
}

// shippedName is the name of the shipped rulebase, which others may extend.
const shippedName = "drop"

func shippedLayer() Layer { return Layer{shippedName, Shipped()} }

// LoadShipped loads the rulebase that comes with the program.
func LoadShipped() (*Base, error) { return Load(shippedLayer()) }

// LoadFolder loads folders laid over one another, the lowest first.
func LoadFolder(folders ...string) (*Base, error) {
	layers := make([]Layer, len(folders))
	for i, f := range folders {
		info, err := os.Stat(f)
		if err != nil {
			return nil, fmt.Errorf("open rulebase %s: %w", f, err)
		}
		if !info.IsDir() {
			return nil, fmt.Errorf("open rulebase %s: it is a file; a rulebase is a folder of .yaml files: %w", f, fs.ErrInvalid)
		}
		layers[i] = Layer{f, os.DirFS(f)}
	}
	return Load(layers...)
}

// IsRuleFile says whether a file of a rulebase folder belongs to the rulebase:
// every .yaml file but the rule tests.
func IsRuleFile(name string) bool {
	return strings.HasSuffix(name, ".yaml") && !strings.HasSuffix(name, "_test.yaml")
}

// Load reads and checks layers laid over one another, the lowest first. The
// error is a *Problems with all that is wrong in all files, or the error of a
// file that could not be read. A rulebase with problems never loads half. Where
// the lowest layer says `extends: drop`, the shipped rulebase is laid below it.
func Load(layers ...Layer) (*Base, error) {
	l := &loader{r: source.NewReader(), base: &Base{}, header: make([]*source.Node, len(layers)), headerKey: make([]*source.Node, len(layers)), sections: map[string][]entry{}, seen: map[string]entry{}, kind: map[string]Kind{}, seenOnSite: map[string]entry{}, sources: map[string]bool{}, used: map[string]bool{}}
	digest := sha256.New()
	if len(layers) == 0 {
		return nil, &Problems{List: []Problem{{Kind: "no-header", Says: "no folder of a rulebase was named"}}}
	}
	var texts []text
	for i, layer := range layers {
		more, err := readLayer(i, layer)
		if err != nil {
			return nil, err
		}
		texts = append(texts, more...)
	}
	l.parse(texts)
	if extendsShipped(texts) {
		return Load(append([]Layer{shippedLayer()}, layers...)...)
	}
	for _, t := range texts {
		digest.Write(bytes.Join([][]byte{[]byte(path.Base(t.name)), t.bytes, nil}, []byte{0}))
		l.r.Absorb(t.reader)
		if t.doc != nil {
			l.collect(t.layer, t.doc)
		}
	}
	for i, layer := range layers {
		l.needHeader(i, layer, texts)
	}
	l.base.Digest = hex.EncodeToString(digest.Sum(nil))
	l.build()
	l.forgive()
	if err := l.r.Err(); err != nil {
		return nil, err
	}
	l.base.sourcesUsed = l.used
	l.base.positions = l.positionsOf(layers, texts)
	return l.base, nil
}

// positionsOf is where things stand in the files that were read.
func (l *loader) positionsOf(layers []Layer, texts []text) positions {
	p := positions{text: l.r, layers: layers, layerOf: map[string]int{}, entries: l.entries, headerChanges: l.headerChanges()}
	for _, t := range texts {
		p.layerOf[t.name] = t.layer
		for _, key := range t.doc.Keys {
			p.sections = append(p.sections, key.Pos)
		}
	}
	for _, key := range l.headerKey {
		p.headers = append(p.headers, key.Pos)
	}
	return p
}

// becauseUnread are the kinds of problems that a file that could not be read may
// be the reason for: what it declares is not known.
var becauseUnread = []string{"unknown-id", "unknown-name", "unknown-value", "no-header", "extends", "replaces-nothing", "wrong-kind"}

// forgive keeps what is missing only because a file could not be read out of the
// problems. Those of the files that could be read are all said in the same run.
func (l *loader) forgive() {
	if l.r.Unread > 0 {
		l.r.Problems.List = slices.DeleteFunc(l.r.Problems.List, func(p Problem) bool { return slices.Contains(becauseUnread, p.Kind) })
	}
}

// extendsShipped says that the lowest layer says it extends the shipped
// rulebase, which itself extends nothing: then the shipped one is laid below, so
// that a shop need not have its folder.
func extendsShipped(texts []text) bool {
	for _, t := range texts {
		if t.layer > 0 || t.doc == nil || t.doc.Shape != source.Map {
			continue
		}
		if h := t.doc.Get("rulebase"); h != nil && h.Shape == source.Map {
			if e := h.Get("extends"); e != nil && e.Text == shippedName {
				return true
			}
		}
	}
	return false
}

// An entry is an entry of a section, as it stands in a file.
type entry struct {
	id    string
	key   *source.Node
	node  *source.Node
	layer int
}

// A loader goes from files to a Base: first all entries and their ids, then
// names, then each section.
type loader struct {
	r          *source.Reader
	base       *Base
	header     []*source.Node // by layer
	headerKey  []*source.Node
	sections   map[string][]entry
	seen       map[string]entry // by id, of all sections
	kind       map[string]Kind
	scopeIDs   map[string]int
	sources    map[string]bool
	byKind     map[Kind][]string
	entries    []Entry
	seenOnSite map[string]entry // as seen, for on_site, whose ids are those of other sections
	used       map[string]bool  // sources that something rests on; nil in case files, which name none
}

var sectionNames = []string{"rulebase", "givens", "causes", "conditions", "symptoms", "rules", "tests", "remedies", "warnings", "sources", "on_site"}

var sectionKinds = map[string]Kind{"givens": KindGiven, "causes": KindCause, "conditions": KindCondition, "symptoms": KindSymptom,
	"rules": KindRule, "tests": KindTest, "remedies": KindRemedy, "warnings": KindWarning, "sources": KindSource, "on_site": KindOnSite}

// A text is a file of a rulebase: as it stands, and as it was parsed.
type text struct {
	layer  int
	name   string // with its layer's
	bytes  []byte
	reader *source.Reader
	doc    *source.Node
}

// readLayer reads the files of a layer, in the order of their names.
func readLayer(n int, layer Layer) ([]text, error) {
	files, err := fs.ReadDir(layer.FS, ".")
	if err != nil {
		return nil, fmt.Errorf("open rulebase %s: %w", layer.Name, err)
	}
	var texts []text
	for _, f := range files {
		if f.IsDir() || !IsRuleFile(f.Name()) {
			continue
		}
		t := text{layer: n, name: path.Join(layer.Name, f.Name())}
		if t.bytes, err = readFile(layer.FS, f.Name()); err != nil {
			return nil, fmt.Errorf("read rulebase file %s: %w", t.name, err)
		}
		texts = append(texts, t)
	}
	slices.SortFunc(texts, func(a, b text) int { return strings.Compare(a.name, b.name) })
	return texts, nil
}

// parse parses all files, as many at a time as there are processors: most of a
// start of the program is spent here. Each file has a reader of its own, so that
// the order of what they find is that of the files.
func (l *loader) parse(texts []text) {
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(len(texts), runtime.GOMAXPROCS(0)) {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(texts); i = int(next.Add(1)) - 1 {
				t := &texts[i]
				t.reader = source.NewReader()
				t.doc = t.reader.Read(t.name, t.bytes)
			}
		})
	}
	wait.Wait()
}

// needHeader refuses a layer without a header, and one without files.
func (l *loader) needHeader(n int, layer Layer, texts []text) {
	if l.header[n] != nil {
		return
	}
	says := "no file of this rulebase has a `rulebase:` header; add one with at least a name"
	if !slices.ContainsFunc(texts, func(t text) bool { return t.layer == n }) {
		says = "there is no rulebase here: a rulebase is a folder of .yaml files"
	}
	l.r.Add(source.Problem{Position: source.Position{File: layer.Name}, Kind: "no-header", Says: says})
}

// files are the names of the files in a folder of the layer that end so, sorted; none where there is
// no such folder. (fs.Glob would pass over one that cannot be read.)
func (l Layer) files(dir, end string) ([]string, error) {
	all, err := fs.ReadDir(l.FS, dir)
	if dir != "." && errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, fmt.Errorf("open rulebase %s: %w", path.Join(l.Name, dir), err)
	}
	var names []string
	for _, f := range all {
		if !f.IsDir() && strings.HasSuffix(f.Name(), end) {
			names = append(names, path.Join(dir, f.Name()))
		}
	}
	return names, nil
}

// layers are those that the base was loaded from.
func (b *Base) layers() []Layer {
	if b.positions.layers == nil { // compiled: see ShippedCompiled
		return []Layer{shippedLayer()}
	}
	return b.positions.layers
}

// eachFile reads the files of a folder in every layer and hands each on, the lowest layer first. The error is
// that of a file that could not be read.
func eachFile(layers []Layer, dir, end, what string, take func(layer int, name string, text []byte)) error {
	for i, layer := range layers {
		files, err := layer.files(dir, end)
		if err != nil {
			return err
		}
		for _, file := range files {
			name := path.Join(layer.Name, file)
			text, err := readFile(layer.FS, file)
			if err != nil {
				return fmt.Errorf("read %s %s: %w", what, name, err)
			}
			take(i, name, text)
		}
	}
	return nil
}

// readFile reads a file up to just beyond what the strict reader takes, so that
// no file can fill the memory.
func readFile(folder fs.FS, name string) ([]byte, error) {
	f, err := folder.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close() // it was only read
	return io.ReadAll(io.LimitReader(f, source.MostBytes+1))
}

// collect takes the sections of one file.
func (l *loader) collect(n int, doc *source.Node) {
	if doc.Shape != source.Map {
		l.r.Problem(doc, "shape", "", "a rulebase file is sections with names: %s", strings.Join(sectionNames, ", "))
		return
	}
	for i, key := range doc.Keys {
		value := doc.Items[i]
		switch {
		case key.Text == "note":
		case key.Text == "rulebase":
			if l.header[n] != nil {
				l.r.Problem(key, "two-headers", "", "a rulebase has one header; the first stands at %s", positionOf(l.headerKey[n]))
				continue
			}
			l.header[n], l.headerKey[n] = value, key
		case sectionKinds[key.Text] == KindNone:
			l.r.Problem(key, "unknown-section", l.nearest(key.Text, sectionNames), "%q is not a section; the sections are %s", key.Text, strings.Join(sectionNames, ", "))
		case value.Empty:
		case value.Shape != source.Map:
			l.r.Problem(value, "shape", "", "%s are entries with ids, one below the other", key.Text)
		default:
			l.collectSection(n, key.Text, value)
		}
	}
}

func (l *loader) collectSection(n int, section string, value *source.Node) {
	seen, kind := l.seen, sectionKinds[section]
	if kind == KindOnSite { // its ids are those of other sections
		seen = l.seenOnSite
	}
	for i, key := range value.Keys {
		e := entry{key.Text, key, value.Items[i], n}
		if !l.goodID(key) {
			continue
		}
		how := l.overlay(e)
		before, known := seen[e.id]
		ofKind := kind == KindOnSite || l.kind[e.id] == kind
		switch {
		case known && how != overlayNone && ofKind && before.layer < n:
			e = l.layOver(section, before, e, how)
			at := slices.IndexFunc(l.sections[section], func(x entry) bool { return x.id == e.id })
			l.sections[section][at] = e
			seen[e.id] = e
			continue
		case known && ofKind && before.layer < n:
			l.r.Problem(key, "duplicate-id", "", "%s stands already at %s; say `replaces: true` to replace it, or `changes: true` to change some of its keys", e.id, positionOf(before.key))
			continue
		case known && kind == KindOnSite:
			l.r.Problem(key, "duplicate-id", "", "%s has its name on this site already, at %s", e.id, positionOf(before.key))
			continue
		case known:
			l.r.Problem(key, "duplicate-id", "", "%s is already a %s, at %s; ids of all sections share one namespace", e.id, kindWords[l.kind[e.id]], positionOf(before.key))
			continue
		case how != overlayNone:
			l.r.Problem(e.node.Get(string(how)), "replaces-nothing", "", "%s %s nothing: no lower rulebase has it", e.id, how)
		}
		seen[e.id] = e
		if kind != KindOnSite {
			l.kind[e.id] = kind
		}
		l.sections[section] = append(l.sections[section], e)
		l.entries = append(l.entries, Entry{Section: section, ID: e.id, Pos: key.Pos, Layer: n})
	}
}

// positionOf is where something stands, for a message about something else.
func positionOf(n *source.Node) string { return fmt.Sprintf("%s:%d", n.Pos.File, n.Pos.Line) }

var notIDs = strings.Fields("and or not in contains matches startsWith endsWith true false nil let if else known min max abs when because source note")

func (l *loader) goodID(key *source.Node) bool {
	if !isID(key.Text) {
		l.r.Problem(key, "id", "", "%q is not an id: it begins with a small letter and goes on with small letters, digits and _", key.Text)
		return false
	}
	if slices.Contains(notIDs, key.Text) {
		l.r.Problem(key, "id", "", "%q means something else in a rulebase and cannot be an id", key.Text)
		return false
	}
	return true
}

func isID(s string) bool {
	for i, r := range s {
		if !(r >= 'a' && r <= 'z' || i > 0 && (r >= '0' && r <= '9' || r == '_')) {
			return false
		}
	}
	return s != ""
}

// mostProblems are read in one run. Whoever has more mends these first; a file
// that is wrong throughout shall not hold the program up.
const mostProblems = 500

func (l *loader) tooMany() bool { return len(l.r.Problems.List) > mostProblems }

// each calls visit with every entry of a section, until there are too many problems.
func (l *loader) each(section string, visit func(i int, e entry)) {
	for i, e := range l.sections[section] {
		if l.tooMany() {
			return
		}
		visit(i, e)
	}
}

// MostCauses is how many causes a rulebase may have: whoever supposes sets of them numbers
// each in 16 bits.
const MostCauses = 1 << 16

// build makes the Base from the entries.
func (l *loader) build() {
	l.each("sources", func(_ int, e entry) { l.sources[e.id] = true })
	l.each("sources", func(_ int, e entry) { l.source(e) })
	l.readHeader()
	if causes := l.sections["causes"]; len(causes) > MostCauses {
		l.r.Add(Problem{Position: causes[MostCauses].key.Pos, Kind: "too-large", Says: fmt.Sprintf("there are more than %d causes; more cannot be reasoned with. Split the rulebase", MostCauses)})
		return
	}
	l.names()
	b := l.base
	l.each("warnings", func(_ int, e entry) { l.warning(e) })
	l.each("tests", func(_ int, e entry) { b.Tests = append(b.Tests, l.step(e, KindTest)) })
	l.each("remedies", func(_ int, e entry) { b.Remedies = append(b.Remedies, l.step(e, KindRemedy)) })
	l.each("causes", func(_ int, e entry) { l.cause(e) })
	l.each("conditions", func(_ int, e entry) { l.condition(e) })
	l.each("symptoms", func(i int, e entry) { l.shows(e, &b.Symptoms[i]) })
	l.each("rules", func(i int, e entry) { l.rule(e, &b.Rules[i]) })
	l.each("on_site", func(_ int, e entry) { l.onSite(e) })
	slices.SortFunc(b.OnSite, func(x, y OnSite) int { return strings.Compare(x.ID, y.ID) })
	if l.tooMany() {
		l.r.Add(Problem{Kind: "too-many", Says: fmt.Sprintf("there are more than %d problems; mend these first", mostProblems)})
		return
	}
	l.complaint()
	l.imply()
	l.check()
}

// names finds everything that an expression can read, in slot order.
func (l *loader) names() {
	b := l.base
	l.each("givens", func(_ int, e entry) { l.given(e) })
	l.each("symptoms", func(_ int, e entry) { l.symptomValues(e) })
	l.index()
	l.facts()
	for i, e := range l.sections["causes"] {
		b.Names = append(b.Names, Name{ID: e.id, Kind: KindCause, Index: i, Type: Flag, Words: flagWords})
	}
	for i, e := range l.sections["conditions"] {
		b.Names = append(b.Names, Name{ID: e.id, Kind: KindCondition, Index: i, Type: Flag, Words: flagWords})
	}
	l.scopeIDs = make(map[string]int, len(b.Names))
	for i, n := range b.Names {
		l.scopeIDs[n.ID] = i
	}
}

// index records what every id stands for.
func (l *loader) index() {
	b := l.base
	b.index = map[string]Ref{}
	for section, kind := range sectionKinds {
		if kind == KindOnSite {
			continue // what its ids stand for is another section's entry
		}
		for i, e := range l.sections[section] {
			b.index[e.id] = Ref{kind, i}
		}
	}
}

// imply offers a symptom by itself where no test yields it and it says that it
// can be had by asking or looking.
func (l *loader) imply() {
	b := l.base
	yielded := map[int]bool{}
	for i := range b.Tests {
		for _, s := range b.Tests[i].Yields {
			yielded[s] = true
		}
	}
	for i := range b.Symptoms {
		s := &b.Symptoms[i]
		if s.By == ByNothing || yielded[i] {
			continue
		}
		b.Tests = append(b.Tests, Step{ID: s.ID, Kind: KindTest, Pos: s.Pos, Do: s.Ask, Minutes: 1, Who: Operator, Yields: []int{i}, Implied: true})
	}
}

package rulebase

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"math"
	"path"
	"slices"
	"strings"

	"downdrop/rulebase/quantity"
	"downdrop/rulebase/source"
)

// A Procedure is what is done with a unit on the bench, step by step. Its limits are
// expressions over the facts of a unit profile and over what was read in steps
// before, so that nothing of a unit is typed twice.
//
// Procedures lie in the subfolder bench of a rulebase. They are not part of
// Base.Digest, which by its definition takes the files of the folder itself: how a unit
// is tested may change without changing what is believed of it. Each has a digest of
// its own, and a record names both.
type Procedure struct {
	ID        string
	Pos       Position
	Name      string
	Version   int
	Proves    string
	NotTested []string
	PassedIs  Verdict // the verdict on a unit that passed: good, or not_proven for a check that is too short for that
	Replaces  bool
	Source    string
	Digest    string // hex SHA-256 of the file's text
	Text      string // the file
	Steps     []BenchStep
	Forces    []BenchForce
	Names     []Name // what expressions read: facts (KindGiven), then readings (KindFact), in slot order
}

// A BenchForce is something that a step leaves in place and that must be taken out
// again before the unit leaves the bench.
type BenchForce struct{ ID, Says string }

// A BenchWarning is read before a step.
type BenchWarning struct {
	ID    string
	Level Level
	When  *Expression // nil: always
	Says  string
}

// A BenchStep is one step of a procedure.
type BenchStep struct {
	ID                       string
	Pos                      Position
	Name                     string
	When                     *Expression // nil: always
	Minutes                  float64
	Who                      Who
	Warnings                 []BenchWarning
	Connect, Set, Do, Expect string
	Proves                   BenchProof
	StopIfFail               bool
	PutsIn, TakesOut         []int // places in Procedure.Forces
	Readings                 []BenchReading
	Source                   string
}

// A BenchProof says whose fault a fail of a step is.
type BenchProof string

// What a step proves.
const (
	ProvesUnit      BenchProof = "unit"
	ProvesModules   BenchProof = "modules"   // the modules in its slots, which can be changed without the unit
	ProvesBench     BenchProof = "bench"     // the bench itself: straps, instruments
	ProvesPapers    BenchProof = "papers"    // that it is the unit of the papers, and may be opened
	ProvesSettings  BenchProof = "settings"  // that settings are as they came
	ProvesComplaint BenchProof = "complaint" // whether the sender's complaint is there
)

var benchProofs = []string{string(ProvesUnit), string(ProvesModules), string(ProvesBench), string(ProvesPapers), string(ProvesSettings), string(ProvesComplaint)}

// A BenchKind is what sort of answer a reading has.
type BenchKind string

// The kinds of readings.
const (
	ReadsNumber BenchKind = "number"
	ReadsWord   BenchKind = "word"
	ReadsYesNo  BenchKind = "yes_no"
	ReadsPoints BenchKind = "points" // all pass, or the exceptions
	ReadsErrors BenchKind = "errors" // wrong ones among messages
	ReadsText   BenchKind = "text"   // only written down
)

// A BenchReading is one thing asked or read in a step.
type BenchReading struct {
	ID                 string
	Pos                Position
	Ask                string
	Kind               BenchKind
	When               *Expression
	Unit               string // of a number; "" for a bare one
	OneOf              []string
	Passes             []string // the words that pass; of yes and no: yes, or no
	Text               string   // serial, complaint, words
	With               string   // the instrument
	Least, Most, Equal *Expression
	Points             *Expression
	Messages           *Expression
	ErrorRate          *Expression
	Finding            string // a banded symptom that takes the reading itself
	Means              []BenchMeaning
	Source             string
	Slot               int // its place in Procedure.Names
}

// A BenchMeaning is what an outcome of a reading says to a diagnosis.
type BenchMeaning struct {
	Outcome        string
	Symptom, Value string
}

// benchFolder is the subfolder of a rulebase in which procedures lie.
const benchFolder = "bench"

// unitFolder is that in which unit profiles lie.
const unitFolder = "bench/units"

// Procedures reads the bench procedures of a rulebase, by id. The error is a *Problems
// with all that is wrong in all of them, or that of a file that could not be read.
func (b *Base) Procedures() ([]*Procedure, error) {
	var all []*Procedure
	wrong := &Problems{}
	at, lower := 0, 0 // the layer, and how many there were below it
	err := eachFile(b.layers(), benchFolder, ".yaml", "bench procedure", func(layer int, name string, text []byte) {
		if layer != at {
			at, lower = layer, len(all)
		}
		if p, err := b.ReadProcedure(name, text); !wrong.Take(err) {
			all = addProcedure(all, lower, p, wrong)
		}
	})
	if err != nil {
		return nil, err
	} else if len(wrong.List) > 0 {
		return nil, wrong
	}
	slices.SortFunc(all, func(x, y *Procedure) int { return strings.Compare(x.ID, y.ID) })
	return all, nil
}

// Profiles reads the unit profiles of a rulebase, by name: those of its subfolder
// bench/units. One of a higher layer stands for that of the same name below. The error
// is as that of Procedures.
func (b *Base) Profiles() ([]*Profile, error) {
	byName := map[string]*Profile{}
	wrong := &Problems{}
	err := eachFile(b.layers(), unitFolder, ".yaml", "unit profile", func(_ int, name string, text []byte) {
		p, err := ReadProfile(name, text)
		if wrong.Take(err) {
			return
		}
		if was := byName[p.Name]; was != nil && path.Dir(was.Pos.File) == path.Dir(p.Pos.File) {
			wrong.List = append(wrong.List, Problem{Position: p.Pos, Kind: "duplicate-id", Says: fmt.Sprintf("the unit profile %s stands already in %s", p.Name, was.Pos.File), Width: 1})
		}
		byName[p.Name] = p
	})
	if err != nil {
		return nil, err
	} else if len(wrong.List) > 0 {
		return nil, wrong
	}
	all := slices.Collect(maps.Values(byName))
	slices.SortFunc(all, func(x, y *Profile) int { return strings.Compare(x.Name, y.Name) })
	return all, nil
}

// addProcedure adds one to those of the layers below, of which there are lower, and
// of its own.
func addProcedure(all []*Procedure, lower int, p *Procedure, wrong *Problems) []*Procedure {
	i := slices.IndexFunc(all, func(q *Procedure) bool { return q.ID == p.ID })
	clash := func(format string, args ...any) {
		wrong.List = append(wrong.List, Problem{Position: p.Pos, Kind: "duplicate-id", Says: fmt.Sprintf(format, args...), Width: 1})
	}
	switch {
	case i < 0 && p.Replaces:
		clash("the procedure %s replaces nothing: no lower rulebase has it", p.ID)
	case i < 0:
		return append(all, p)
	case i >= lower || !p.Replaces:
		clash("the procedure %s stands already at %s:%d; say `replaces: true` to replace one of a lower rulebase", p.ID, all[i].Pos.File, all[i].Pos.Line)
	default:
		all[i] = p
	}
	return all
}

// ReadProcedure reads one procedure. The error is a *Problems with all that is wrong.
func (b *Base) ReadProcedure(file string, text []byte) (*Procedure, error) {
	c := newCaseReader(b)
	r := &benchReader{loader: loader{r: c.r, base: b, kind: c.kind}, ids: map[string]int{}, forces: map[string]int{}, warnings: map[string]BenchWarning{}}
	p, err := readOne(r.r, file, text, r.procedure)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(text)
	p.Digest, p.Text = hex.EncodeToString(sum[:]), string(text)
	return p, nil
}

// A benchReader reads procedures with the tools that rulebases are read with.
type benchReader struct {
	loader
	p        *Procedure
	ids      map[string]int // of names that expressions read
	forces   map[string]int
	warnings map[string]BenchWarning
	steps    []string
}

// needs is the value of a key that has to be there.
func (r *benchReader) needs(n *source.Node, key, what string) *source.Node {
	x := filled(n, key)
	if x == nil && n.Get(key) == nil {
		r.r.Problem(n, "missing-key", "", "%q is missing here: %s", key, what)
	}
	return x
}

// maybe is a text that need not be there.
func (r *benchReader) maybe(n *source.Node, key string) string {
	if x := filled(n, key); x != nil {
		return r.text(x)
	}
	return ""
}

func (r *benchReader) must(n *source.Node, key, what string) string {
	x := r.needs(n, key, what)
	if x == nil {
		return ""
	}
	text := r.text(x)
	if text == "" && x.Shape == source.Scalar {
		r.r.Problem(x, "empty", "", "%s has nothing in it: %s", key, what)
	}
	return text
}

func (r *benchReader) procedure(n *source.Node) *Procedure {
	p := &Procedure{Pos: n.Pos, Version: 1, PassedIs: UnitGood}
	r.p = p
	if n.Shape != source.Map {
		r.r.Problem(n, "shape", "", "a bench procedure is keys and values: %s", worthListing(benchKeyNames("procedure")))
		return p
	}
	r.allow(n, "a procedure", benchKeyNames("procedure"))
	r.format(filled(n, "format"), "the procedure")
	if x := r.needs(n, "procedure", "its id"); x != nil && r.goodID(x) {
		p.ID = x.Text
	}
	p.Name = r.must(n, "name", "what it is called")
	p.Proves = r.maybe(n, "proves")
	p.Source = r.must(n, "source", "where it is known from; common_practice where nobody wrote it down")
	if x := filled(n, "version"); x != nil {
		p.Version = r.whole(x, 0, 1<<30)
	}
	if x := filled(n, "replaces"); x != nil {
		p.Replaces = r.flag(x)
	}
	if x := filled(n, "passed_is"); x != nil && r.oneOf(x, "what a unit is that passed", string(UnitGood), string(UnitNotProven)) >= 0 {
		p.PassedIs = Verdict(x.Text)
	}
	for _, x := range r.items(filled(n, "not_tested")) {
		p.NotTested = append(p.NotTested, r.text(x))
	}
	r.facts()
	r.declared(filled(n, "forces"), "forces", func(k, x *source.Node) {
		r.forces[k.Text] = len(p.Forces)
		p.Forces = append(p.Forces, BenchForce{k.Text, r.text(x)})
	})
	r.declared(filled(n, "warnings"), "warnings", func(k, x *source.Node) {
		r.warnings[k.Text] = r.ownWarning(k.Text, x)
	})
	if x := r.needs(n, "steps", "the steps in their order"); x != nil {
		for _, item := range r.items(x) {
			if r.tooMany() {
				break
			}
			p.Steps = append(p.Steps, r.step(item))
		}
	}
	r.released(n)
	return p
}

// facts are the names that a profile gives.
func (r *benchReader) facts() {
	for _, list := range [][]ProfileKey{ProfileKeys, BenchDerived, BenchAsked} {
		for i := range list {
			k := &list[i]
			name := Name{ID: k.Fact(), Kind: KindGiven, Type: k.Type, Words: k.OneOf, Unit: k.Unit}
			if k.Type == Flag {
				name.Words = flagWords
			}
			r.name(name)
		}
	}
}

func (r *benchReader) name(n Name) int {
	r.ids[n.ID] = len(r.p.Names)
	r.p.Names = append(r.p.Names, n)
	return len(r.p.Names) - 1
}

// declared visits the entries of a map of ids.
func (r *benchReader) declared(n *source.Node, what string, visit func(key, value *source.Node)) {
	if n == nil {
		return
	}
	if n.Shape != source.Map {
		r.r.Problem(n, "shape", "", "%s are ids, one below the other", what)
		return
	}
	for i, k := range n.Keys {
		if r.goodID(k) {
			visit(k, n.Items[i])
		}
	}
}

func (r *benchReader) ownWarning(id string, n *source.Node) BenchWarning {
	w := BenchWarning{ID: id}
	if n.Shape != source.Map {
		r.r.Problem(n, "shape", "", "a warning is {level: danger, warning, caution or notice, says: what can hurt and what to do}")
		return w
	}
	r.allow(n, "a warning", benchKeyNames("bench_warning"))
	if x := r.needs(n, "level", "danger, warning, caution or notice"); x != nil && r.oneOf(x, "a level", benchLevels...) >= 0 {
		w.Level = Level(x.Text)
	}
	w.When = r.expr(filled(n, "when"), "when of a warning", false)
	w.Says = r.must(n, "says", "what can hurt and what to do")
	return w
}

// expr reads an expression over facts and earlier readings.
func (r *benchReader) expr(n *source.Node, where string, number bool) *Expression {
	if n == nil {
		return nil
	}
	if n.Shape != source.Scalar {
		r.r.Problem(n, "shape", "", "an expression is wanted here; put it in quotes if it holds brackets, braces or a colon")
		return nil
	}
	pos := n.Pos
	if n.Quoted {
		pos = r.r.Place(n, 0)
	}
	e, problems := ParseExpression(n.Text, pos, &Scope{Names: r.p.Names, ByID: r.ids, Allow: []Kind{KindGiven, KindFact}, Where: where, Number: number})
	for _, p := range problems {
		p.Position = r.r.Place(n, offsetOf(n.Text, pos, p.Position))
		if p.Kind == "unknown-name" {
			name, _, _ := strings.Cut(p.Says, " ")
			p.Says = name + " is not known: it is no fact of a unit profile, and no reading before this has that name"
		}
		r.r.Add(p)
	}
	return e
}

func (r *benchReader) step(n *source.Node) BenchStep {
	s := BenchStep{Pos: n.Pos, Who: Technician, Proves: ProvesUnit}
	if n.Shape != source.Map {
		r.r.Problem(n, "shape", "", "a step is keys and values: %s", worthListing(benchKeyNames("bench_step")))
		return s
	}
	r.allow(n, "a step", benchKeyNames("bench_step"))
	if x := r.needs(n, "step", "its id"); x != nil && r.goodID(x) {
		if s.ID = x.Text; slices.Contains(r.steps, s.ID) {
			r.r.Problem(x, "duplicate-id", "", "a step before is called %s already", s.ID)
		}
		r.steps = append(r.steps, s.ID)
	}
	s.Name = r.must(n, "name", "what it is, in a few words")
	if x := r.needs(n, "minutes", "how long it takes"); x != nil {
		s.Minutes = r.within(x, 0, 1e5)
	}
	if x := filled(n, "who"); x != nil {
		s.Who = Who(max(0, r.oneOf(x, "a person", whoWords[1:]...)) + 1)
	}
	s.When = r.expr(filled(n, "when"), "when of a step", false)
	s.Connect, s.Set, s.Do, s.Expect, s.Source = r.told(n, "connect"), r.told(n, "set"), r.told(n, "do"), r.told(n, "expect"), r.maybe(n, "source")
	if s.Connect+s.Set+s.Do == "" {
		r.r.Problem(n, "missing-key", "", "a step says what to connect, what to set or what to do")
	}
	for _, x := range r.items(filled(n, "warnings")) {
		if w, ok := r.anyWarning(x); ok {
			s.Warnings = append(s.Warnings, w)
		}
	}
	if x := filled(n, "proves"); x != nil {
		if i := r.oneOf(x, "what a step proves", benchProofs...); i >= 0 {
			s.Proves = BenchProof(benchProofs[i])
		}
	}
	if x := filled(n, "stop_if_fail"); x != nil {
		s.StopIfFail = r.flag(x)
	}
	s.PutsIn, s.TakesOut = r.force(filled(n, "puts_in")), r.force(filled(n, "takes_out"))
	if x := r.needs(n, "readings", "what is asked or read"); x != nil {
		for _, item := range r.items(x) {
			s.Readings = append(s.Readings, r.reading(item))
		}
	}
	return s
}

// inBraces is a figure of the profile in a text, like {supply_low}.
var inBraces = quantity.NewPattern(`\{[^{}]*\}`)

// told is a text in which {name} stands for a figure of the profile, or of a reading before.
func (r *benchReader) told(n *source.Node, key string) string {
	text := r.maybe(n, key)
	for _, m := range inBraces.RE().FindAllString(text, -1) {
		name := strings.TrimSpace(m[1 : len(m)-1])
		if i, ok := r.ids[name]; !ok || r.p.Names[i].Type != Number {
			var numbers []string
			for _, x := range r.p.Names {
				if x.Type == Number {
					numbers = append(numbers, x.ID)
				}
			}
			r.r.Problem(n.Get(key), "unknown-name", r.nearest(name, numbers), "%s stands for no figure of a unit profile, and no reading before this has that name", m)
		}
	}
	return text
}

// Tell puts figures for the names in a text of a step.
func (p *Procedure) Tell(text string, slots []Slot) string {
	return inBraces.RE().ReplaceAllStringFunc(text, func(m string) string {
		i := slices.IndexFunc(p.Names, func(n Name) bool { return n.ID == strings.TrimSpace(m[1:len(m)-1]) })
		if i < 0 || math.IsNaN(slots[i].Number) {
			return "(not in the profile)"
		}
		return quantity.FormatRounded(slots[i].Number, p.Names[i].Unit, 4)
	})
}

// anyWarning finds a warning of the procedure's own, or of the rulebase.
func (r *benchReader) anyWarning(n *source.Node) (BenchWarning, bool) {
	id := r.text(n)
	if w, ok := r.warnings[id]; ok {
		return w, true
	}
	if ref, ok := r.base.index[id]; ok && ref.Kind == KindWarning {
		w := r.base.Warnings[ref.Index]
		return BenchWarning{ID: w.ID, Level: w.Level, Says: w.Says}, true
	}
	if n.Shape == source.Scalar {
		near := r.loader.ids(KindWarning)
		for own := range r.warnings {
			near = append(near, own)
		}
		r.r.Problem(n, "unknown-id", r.nearest(id, near), "no warning of this procedure or of the rulebase is called %q", id)
	}
	return BenchWarning{}, false
}

func (r *benchReader) force(n *source.Node) []int {
	var all []int
	for _, x := range r.items(n) {
		i, ok := r.forces[r.text(x)]
		if !ok {
			var known []string
			for id := range r.forces {
				known = append(known, id)
			}
			r.r.Problem(x, "unknown-id", r.nearest(x.Text, known), "%q is not among the forces of this procedure", x.Text)
			continue
		}
		all = append(all, i)
	}
	return all
}

// released refuses a procedure that puts something in and never takes it out.
func (r *benchReader) released(n *source.Node) {
	if len(r.p.Forces) == 0 {
		return
	}
	at := filled(n, "forces")
	in, out := map[int]bool{}, map[int]bool{}
	for i := range r.p.Steps {
		for _, f := range r.p.Steps[i].PutsIn {
			in[f], out[f] = true, false
		}
		for _, f := range r.p.Steps[i].TakesOut {
			out[f] = true
		}
	}
	for i, f := range r.p.Forces {
		k := at.Keys[slices.IndexFunc(at.Keys, func(k *source.Node) bool { return k.Text == f.ID })]
		switch {
		case !in[i]:
			r.r.Problem(k, "never-used", "", "no step puts %s in", f.ID)
		case !out[i]:
			r.r.Problem(k, "never-released", "", "%s is put in, and no later step takes it out", f.ID)
		}
	}
}

var benchLevels = []string{string(DangerLevel), string(WarningLevel), string(CautionLevel), string(NoticeLevel)}

package rulebase

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"downdrop/rulebase/quantity"
	"downdrop/rulebase/source"
)

// A Profile is what a shop writes down once of a type of unit that it tests, so that
// no procedure has to say it: the kind of line, its rate and terminator, the limits
// of the supply, the modules. Procedures read it by the names of ProfileKeys.
type Profile struct {
	Pos     Position
	Name    string
	Note    string
	Type    string // of the unit, as on its label
	Digest  string // hex SHA-256 of the file's text
	Text    string // the file
	Modules []ProfileModule
	Facts   map[string]Slot // by name, like supply_low: those written, and those with a default
}

// A ProfileModule is a module that the unit is tested with.
type ProfileModule struct {
	Pos      Position
	Slot     int
	Kind     string // input, output
	Points   int
	EachAmps float64 // what a point takes when on
	Amps     float64 // what its electronics take
}

// A ProfileKey is one fact that a profile can have.
type ProfileKey struct {
	Name    string   // section.key; procedures read it as section_key
	Type    Type     // Flag, Choice or Number
	OneOf   []string // Choice
	Unit    string   // Number; "" for a bare number
	Range   [2]float64
	Needed  bool
	Default string // as written in a file; "" is none
	Means   string
}

// Fact is the name under which procedures read it.
func (k *ProfileKey) Fact() string { return strings.Replace(k.Name, ".", "_", 1) }

// LineKinds are the kinds of line that a profile can name; they are those of the
// sums of the line (a test holds the two together).
var LineKinds = []string{"token_pair", "tia485_polled", "profibus_dp", "can"}

// ProfileKeys are all facts of a profile, in the order in which they are told. Ranges
// only catch what was mistyped.
var ProfileKeys = []ProfileKey{
	{"line.kind", Choice, LineKinds, "", [2]float64{}, true, "", "the kind of line that the unit is built for"},
	{"line.rate", Number, nil, "baud", [2]float64{50, mostBaud}, true, "", "the rate that the unit is tested at"},
	{"line.terminator", Number, nil, "ohm", [2]float64{20, 1000}, false, "", "one terminator as a meter sees it; else that of the kind of line"},
	{"line.own_terminator", Choice, []string{"none", "switched", "fitted"}, "", [2]float64{}, false, "none", "whether the unit has one of its own: none, switched (off while it is measured), or always fitted"},
	{"line.unit_load", Number, nil, "", [2]float64{0.01, 32}, false, "1", "what the unit puts on the line, in unit loads"},
	{"line.driver_least", Number, nil, "V", [2]float64{0.1, 20}, false, "", "the least its driver gives into the bench's two terminators; else that of TIA-485-A"},
	{"line.driver_most", Number, nil, "V", [2]float64{0.1, 20}, false, "6 V", "the most it gives"},
	{"line.receiver", Number, nil, "V", [2]float64{0.01, 10}, false, "", "the difference from which its receiver must know a level; else that of TIA-485-A"},
	{"service.rate", Number, nil, "baud", [2]float64{50, mostBaud}, false, "", "the rate of the service port; left out where it has none"},
	{"address.set_by", Choice, []string{"switches", "software"}, "", [2]float64{}, true, "", "how the address is set"},
	{"address.least", Number, nil, "", [2]float64{0, 65535}, false, "1", "the lowest address it can have"},
	{"address.most", Number, nil, "", [2]float64{0, 65535}, true, "", "the highest"},
	{"supply.volts", Number, nil, "V", [2]float64{3, mostVolts}, true, "", "the rated supply"},
	{"supply.low", Number, nil, "V", [2]float64{3, mostVolts}, true, "", "the low limit of its range"},
	{"supply.high", Number, nil, "V", [2]float64{3, mostVolts}, true, "", "the high limit"},
	{"supply.current", Number, nil, "A", [2]float64{0.001, mostAmps}, true, "", "the most it takes at the rated supply without loads, by its label"},
	{"supply.ohms_least", Number, nil, "ohm", [2]float64{0, mostOhms}, false, "1 kohm", "the least a meter reads into its supply terminals, unpowered; compare with a good unit"},
	{"supply.ohms_most", Number, nil, "ohm", [2]float64{0, mostOhms}, false, "1 Mohm", "the most"},
	{"supply.interruption", Number, nil, "ms", [2]float64{0, 10_000}, false, "10 ms", "the interruption that it must ride through"},
	{"supply.mains", Flag, nil, "", [2]float64{}, false, "no", "fed from mains"},
	{"supply.bulk_capacitor", Flag, nil, "", [2]float64{}, false, "no", "has a capacitor that stays charged at a voltage that hurts"},
	{"rail.volts", Number, nil, "V", [2]float64{0.5, 100}, false, "5 V", "its logic rail"},
	{"rail.tolerance", Number, nil, "%", [2]float64{0.1, 50}, false, "5 %", "by which the rail may be off"},
	{"rail.ripple", Number, nil, "V", [2]float64{0.001, 10}, false, "50 mV", "the most ripple on it, peak to peak"},
	{"battery.kind", Choice, []string{"none", "lithium", "other"}, "", [2]float64{}, false, "none", "the cell that keeps its settings"},
	{"test.messages", Number, nil, "", [2]float64{1, 1e9}, false, "30000", "messages to exchange for the count of errors"},
	{"test.error_rate", Number, nil, "", [2]float64{1e-9, 1}, false, "0.0001", "the share of wrong messages that must be shown not to be reached"},
	{"test.cold_starts", Number, nil, "", [2]float64{1, 100}, false, "10", "cold starts in a row"},
	{"test.warm", Number, nil, "C", [2]float64{20, 100}, false, "55 C", "temperature of the heat soak"},
	{"test.warm_minutes", Number, nil, "min", [2]float64{1, 100_000}, false, "60 min", "how long it lasts"},
}

// BenchDerived are facts that follow from a profile: the engine works them out, and
// procedures read them like the rest.
var BenchDerived = []ProfileKey{
	{Name: "modules", Type: Number, Means: "modules fitted"},
	{Name: "points", Type: Number, Means: "points of all modules"},
	{Name: "input_points", Type: Number, Means: "points of the input modules"},
	{Name: "output_points", Type: Number, Means: "points of the output modules"},
	{Name: "all_on_current", Type: Number, Unit: "A", Means: "the most it takes with its modules and every point on"},
	{Name: "first_limit", Type: Number, Unit: "A", Means: "the current limit for the first power-up: one and a half times the label (common practice)"},
	{Name: "pair_ohms", Type: Number, Unit: "ohm", Means: "across the unit's own line pins, unpowered, a switched terminator off"},
	{Name: "bus_ohms", Type: Number, Unit: "ohm", Means: "across the bench's line, dead, with a terminator at each end and the unit on it"},
	{Name: "bit_time", Type: Number, Unit: "us", Means: "one bit at the rate of the line"},
}

// BenchAsked are facts of one unit on the bench, asked for before the first step.
var BenchAsked = []ProfileKey{
	{Name: "intermittent", Type: Flag, Means: "Does the complaint come and go?"},
	{Name: "returned_before", Type: Flag, Means: "Was this serial number in the shop before?"},
}

// ReadProfile reads a unit profile. The error is a *Problems with all that is wrong.
func ReadProfile(file string, text []byte) (*Profile, error) {
	r := &profileReader{sheetReader{loader{r: source.NewReader(), base: &Base{}, kind: map[string]Kind{}}, LineKinds}}
	p, err := readOne(r.r, file, text, r.profile)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(text)
	p.Digest, p.Text = hex.EncodeToString(sum[:]), string(text)
	return p, nil
}

type profileReader struct{ sheetReader }

func profileSections() []string {
	var all []string
	for _, k := range ProfileKeys {
		if section, _, _ := strings.Cut(k.Name, "."); !slices.Contains(all, section) {
			all = append(all, section)
		}
	}
	return all
}

func (r *profileReader) profile(n *source.Node) *Profile {
	p := &Profile{Pos: n.Pos, Facts: map[string]Slot{}}
	keys := append([]string{"profile", "format", "note", "type", "modules"}, profileSections()...)
	if n.Shape != source.Map {
		r.r.Problem(n, "shape", "", "a unit profile is keys and values: %s", strings.Join(keys, ", "))
		return p
	}
	r.allow(n, "a unit profile", keys)
	r.format(filled(n, "format"), "the unit profile")
	for key, to := range map[string]*string{"profile": &p.Name, "type": &p.Type} {
		if x := r.needed(n, key, map[string]string{"profile": "its name", "type": "the type of the unit, as on its label"}[key]); x != nil {
			*to = r.text(x)
		}
	}
	if x := filled(n, "note"); x != nil {
		p.Note = r.text(x)
	}
	for _, section := range profileSections() {
		r.facts(n, section, p)
	}
	r.each(n, "modules", func(x *source.Node) { p.Modules = append(p.Modules, r.fitted(x)) })
	for i, m := range p.Modules {
		if slices.ContainsFunc(p.Modules[:i], func(o ProfileModule) bool { return o.Slot == m.Slot }) {
			r.r.Problem(&source.Node{Pos: m.Pos}, "twice", "", "slot %d is taken twice", m.Slot)
		}
	}
	r.rising(n, p, "supply_low", "supply_volts")
	r.rising(n, p, "supply_volts", "supply_high")
	r.rising(n, p, "line_driver_least", "line_driver_most")
	r.rising(n, p, "address_least", "address_most")
	r.rising(n, p, "supply_ohms_least", "supply_ohms_most")
	return p
}

// facts reads the keys of one section.
func (r *profileReader) facts(n *source.Node, section string, p *Profile) {
	x := filled(n, section)
	if x != nil && x.Shape != source.Map {
		r.r.Problem(x, "shape", "", "%s is keys and values", section)
		return
	}
	var keys []string
	for i := range ProfileKeys {
		k := &ProfileKeys[i]
		of, key, _ := strings.Cut(k.Name, ".")
		if of != section {
			continue
		}
		keys = append(keys, key)
		var y *source.Node
		if x != nil {
			y = filled(x, key)
		}
		switch {
		case y != nil:
		case k.Default != "":
			y = &source.Node{Pos: n.Pos, Text: k.Default}
		case k.Needed:
			at := n
			if x != nil {
				at = x
			}
			r.r.Problem(at, "missing-key", "", "%s needs %q: %s", section, key, k.Means)
		}
		if y != nil {
			if s, ok := r.fact(y, k); ok {
				p.Facts[k.Fact()] = s
			}
		}
	}
	if x != nil {
		r.allow(x, section, append(keys, "note"))
	}
}

func (r *profileReader) fact(n *source.Node, k *ProfileKey) (Slot, bool) {
	s := Slot{Rank: FromPerson}
	switch {
	case k.Type == Flag:
		s.Word = 1
		if r.flag(n) {
			s.Word = 2
		}
	case k.Type == Choice:
		i := r.oneOf(n, k.Name, k.OneOf...)
		s.Word = int32(i + 1)
		return s, i >= 0
	case k.Unit == "":
		x, ok := r.withinOK(n, k.Range[0], k.Range[1])
		s.Number = x
		return s, ok
	case k.Unit == "C":
		x := r.celsius(n)
		if x == nil {
			return s, false
		}
		s.Number = *x
	default:
		x, ok := r.withUnit(n, k.Unit)
		if ok && (x < k.Range[0] || x > k.Range[1]) {
			r.r.Problem(n, "range", "", "%s is outside what can be: %s to %s", n.Text, quantity.Format(k.Range[0], k.Unit), quantity.Format(k.Range[1], k.Unit))
			ok = false
		}
		s.Number = x
		return s, ok
	}
	return s, true
}

// rising checks that of two facts the first is not above the second.
func (r *profileReader) rising(n *source.Node, p *Profile, low, high string) {
	a, okA := p.Facts[low]
	b, okB := p.Facts[high]
	section, key, _ := strings.Cut(low, "_")
	if !okA || !okB || a.Number <= b.Number {
		return
	}
	at := n
	if x := filled(n, section); x != nil {
		at = x
		if y := filled(x, key); y != nil {
			at = y
		}
	}
	r.r.Problem(at, "range", "", "%s lies above %s", low, high)
}

func (r *profileReader) fitted(n *source.Node) ProfileModule {
	m := ProfileModule{Pos: n.Pos}
	if n.Shape != source.Map {
		r.r.Problem(n, "shape", "", "a module is {slot, kind, points, each, current}")
		return m
	}
	r.allow(n, "a module", []string{"slot", "kind", "points", "each", "current", "note"})
	if x := r.needed(n, "slot", "where it sits"); x != nil {
		m.Slot = r.whole(x, 0, 255)
	}
	if x := r.needed(n, "kind", "input or output"); x != nil && r.oneOf(x, "a kind of module", "input", "output") >= 0 {
		m.Kind = x.Text
	}
	if x := r.needed(n, "points", "how many it has"); x != nil {
		m.Points = r.whole(x, 1, 1024)
	}
	m.EachAmps = r.measured(n, "each", "A", 0, mostAmps)
	m.Amps = r.measured(n, "current", "A", 0, mostAmps)
	return m
}

// IsProfile says that a file means to be a unit profile, and no procedure: its key stands
// at the left edge.
func IsProfile(text []byte) bool {
	return bytes.HasPrefix(text, []byte("profile:")) || bytes.Contains(text, []byte("\nprofile:"))
}

// WrongFirstKey is the problem of a file whose keys are those of a unit profile, or of a procedure, and which lacks the
// key that makes it one: read as the other it would be told of everything but that. nil: it has it, or looks like neither.
func WrongFirstKey(file string, text []byte) *Problem {
	has := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?m)^([a-z_]+) *:`).FindAllSubmatch(text, -1) {
		has[string(m[1])] = true
	}
	profile, procedure := profileSections(), benchKeyNames("procedure")
	profile = append(profile, "type", "modules")
	var ofProfile, ofProcedure []string
	for key := range has {
		switch {
		case key == "profile" || key == "procedure":
		case slices.Contains(profile, key):
			ofProfile = append(ofProfile, key)
		case slices.Contains(procedure, key) && !slices.Contains([]string{"format", "note", "name", "version"}, key):
			ofProcedure = append(ofProcedure, key)
		}
	}
	looks, want, by := "unit profile", "profile", ofProfile
	if len(ofProcedure) > len(ofProfile) {
		looks, want, by = "bench procedure", "procedure", ofProcedure
	}
	if len(ofProfile) == len(ofProcedure) || has[want] {
		return nil
	}
	slices.Sort(by)
	line, _, _ := bytes.Cut(text, []byte("\n"))
	key, _, _ := bytes.Cut(line, []byte(":"))
	return &Problem{Position: Position{File: file, Line: 1, Column: 1}, Kind: "missing-key", Text: string(line), Width: max(1, utf8.RuneCount(key)),
		Says: fmt.Sprintf("this looks like a %s, by %s; its first key has to be \"%s\", with its name", looks, strings.Join(by, ", "), want)}
}

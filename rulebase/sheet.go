package rulebase

import (
	"errors"
	"slices"
	"strings"

	"downdrop/rulebase/quantity"
	"downdrop/rulebase/source"
)

// A Sheet is an installation on paper: one trunk and all that hangs on it. What
// was not written is zero or nil, and is not reckoned with. Every field carries
// its unit in its name; places along the trunk are metres from the host's end.
type Sheet struct {
	Pos  Position
	Name string
	Line string  // kind of line
	Baud float64 // rate of the bus in bit/s

	Cable       []SheetCable // the trunk, from the host outwards
	Inline      []SheetInline
	Terminators []SheetTerminator
	Stubs       []SheetStub
	Drops       []SheetDrop // in cable order
	Supplies    []SheetSupply
	Bias        *SheetBias
	Shield      *SheetShield
	Beside      []SheetBeside // power cables beside the trunk
	Controller  *SheetController

	LossOfBus    string // what outputs do on loss of bus; "" not known
	Celsius      *float64
	RiseTimeNS   float64 // of the drivers' edges; 0 not known
	ClockPercent float64 // how far a unit's clock may be off, by its papers; 0 not said
	Messages     *SheetMessages
	LengthLimitM float64 // what the line's own papers allow; 0 not said
	UnitsLimit   int     // likewise
}

// SheetCable is a stretch of one kind of cable.
type SheetCable struct {
	Pos           Position
	Type          string
	LengthM       float64
	Conductor     *SheetConductor
	LoopOhmPerKm  float64 // both conductors, where the cable's own paper gives it; 0 else
	ImpedanceOhm  float64
	DelayNSPerM   float64 // one way
	Shielded      *bool
	VelocityShare float64 // of the speed of light, where given instead of a delay
}

// SheetConductor is one conductor of a cable, by section or by gauge.
type SheetConductor struct {
	Pos    Position
	Text   string
	AWG    int     // 0: by section
	MM2    float64 // 0: by gauge
	Strand string  // solid, flexible, flexible_tinned
}

// SheetInline is a device that the trunk runs through.
type SheetInline struct {
	Pos     Position
	Name    string
	Kind    string // repeater, isolator, converter, surge_arrester
	AtM     float64
	DelayNS float64
	Supply  string
}

// SheetTerminator is one terminator.
type SheetTerminator struct {
	Pos     Position
	AtM     float64
	AtEnd   bool // at the far end, wherever that is
	Ohm     float64
	Powered *bool // nil: a plain resistor

	BlocksDC bool // a capacitor stands in series
}

// SheetMessages is how the line's own papers have the host ask a drop.
type SheetMessages struct {
	Pos        Position
	Overhead   int // bytes of question and answer beside the points; HasOver says so
	HasOver    bool
	Character  int     // bits
	Turnaround float64 // seconds
	Wanted     float64 // seconds for a round; 0 not said
}

// SheetStub is a branch of the trunk.
type SheetStub struct {
	Pos     Position
	AtM     float64
	LengthM float64
	Tapped  int // how many leave one multi-port tap
}

// SheetDrop is one drop.
type SheetDrop struct {
	Pos      Position
	Name     string
	AtM      float64
	Address  int // 0 where none is written; HasAddr says so
	HasAddr  bool
	Baud     float64 // its own rate, where set apart from the bus
	UnitLoad float64
	Watt     float64 // of constant power
	Ampere   float64 // of constant current
	Modules  []SheetModule
	MostA    float64 // what its carrier can bring to its modules
}

// SheetModule is a module of a drop.
type SheetModule struct {
	Pos        Position
	Points     int
	Kind       string // input, output
	Ampere     float64
	EachAmpere float64 // of a point that is on
	On         int     // points on together
}

// SheetSupply is a supply and the cable from it to drops.
type SheetSupply struct {
	Pos     Position
	Name    string
	Volt    float64
	MostA   float64
	FuseA   float64
	Feeds   []SheetFeed
	Celsius *float64
}

// SheetFeed is a stretch of supply cable to a drop.
type SheetFeed struct {
	Pos       Position
	Drop      string
	From      string // "": the supply; else a drop it goes on from
	LengthM   float64
	Conductor *SheetConductor
}

// SheetBias is the network that holds an idle pair.
type SheetBias struct {
	Pos      Position
	AtM      float64
	Volt     float64
	Up, Down float64 // ohm
}

// SheetShield is how the shield is bonded.
type SheetShield struct {
	Pos    Position
	Bonded string // one_end, both_ends, nowhere
}

// SheetBeside is a power cable beside the trunk.
type SheetBeside struct {
	Pos           Position
	FromM, ToM    float64
	ApartM        float64
	PowerScreened bool
	Divider       string // none, aluminium, steel
}

// SheetController is what the controller was told.
type SheetController struct {
	Pos   Position
	Baud  float64
	Drops []SheetMapped
}

// SheetMapped is a drop as the controller has it in its map.
type SheetMapped struct {
	Pos     Position
	Address int
	First   int // first point, from 1; 0: not written
	Points  int
}

// ReadSheet reads an installation sheet. The error is a *Problems with all that
// is wrong. kinds are the kinds of line that there are.
func ReadSheet(file string, text []byte, kinds []string) (*Sheet, error) {
	r := &sheetReader{loader{r: source.NewReader(), base: &Base{}, kind: map[string]Kind{}}, kinds}
	doc := r.r.Read(file, text)
	var s *Sheet
	if doc != nil {
		s = r.sheet(doc)
	}
	if err := r.r.Err(); err != nil {
		return nil, err
	}
	return s, nil
}

// A sheetReader reads sheets with the tools that rulebases are read with.
type sheetReader struct {
	loader
	kinds []string
}

// Bounds of what can stand on a sheet. Beyond them something was mistyped: no
// installation of the trade is like that (common practice, no source).
const (
	mostMetres = 100_000
	mostOhms   = 1e9
	mostVolts  = 1000
	mostAmps   = 1000
	mostBaud   = 100e6
)

func (r *sheetReader) sheet(n *source.Node) *Sheet {
	s := &Sheet{Pos: n.Pos}
	if n.Shape != source.Map {
		r.r.Problem(n, "shape", "", "a sheet is keys and values: %s", strings.Join(append(entryKeys("sheet"), "note"), ", "))
		return s
	}
	r.allow(n, "a sheet", append(entryKeys("sheet"), "note"))
	r.format(filled(n, "format"), "the sheet")
	if x := r.needed(n, "sheet", "its name"); x != nil {
		s.Name = r.text(x)
	}
	if x := r.needed(n, "line", "the kind of line: "+strings.Join(r.kinds, ", ")); x != nil && r.oneOf(x, "a kind of line", r.kinds...) >= 0 {
		s.Line = x.Text
	}
	s.Baud = r.measured(n, "rate", "baud", 50, mostBaud)
	s.RiseTimeNS = r.measured(n, "rise_time", "ns", 0.1, 1e6)
	s.ClockPercent = r.measured(n, "clock_tolerance", "%", 0.0001, 10)
	if x := filled(n, "messages"); x != nil {
		s.Messages = r.messages(x)
	}
	s.LengthLimitM = r.metres(filled(n, "length_limit"))
	if x := filled(n, "units_limit"); x != nil {
		s.UnitsLimit = r.whole(x, 1, 100_000)
	}
	if x := filled(n, "temperature"); x != nil {
		s.Celsius = r.celsius(x)
	}
	if x := filled(n, "loss_of_bus"); x != nil && r.oneOf(x, "what outputs do on loss of bus", fills["loss_of_bus"]...) >= 0 {
		s.LossOfBus = x.Text
	}
	if x := r.needed(n, "cable", "the trunk's stretches of cable, from the host outwards"); x != nil {
		for _, item := range r.items(x) {
			s.Cable = append(s.Cable, r.cable(item))
		}
	}
	length := s.TrunkM()
	r.each(n, "drops", func(x *source.Node) { s.Drops = append(s.Drops, r.drop(x, length)) })
	r.each(n, "inline", func(x *source.Node) { s.Inline = append(s.Inline, r.inline(x, length)) })
	r.each(n, "terminators", func(x *source.Node) { s.Terminators = append(s.Terminators, r.terminator(x, length)) })
	r.each(n, "stubs", func(x *source.Node) { s.Stubs = append(s.Stubs, r.stub(x, length)) })
	r.each(n, "supplies", func(x *source.Node) { s.Supplies = append(s.Supplies, r.supply(x)) })
	r.each(n, "beside", func(x *source.Node) { s.Beside = append(s.Beside, r.beside(x, length)) })
	if x := filled(n, "bias"); x != nil {
		s.Bias = r.bias(x, length)
	}
	if x := filled(n, "shield"); x != nil {
		s.Shield = r.shield(x)
	}
	if x := filled(n, "controller"); x != nil {
		s.Controller = r.controller(x)
	}
	r.names(s)
	return s
}

// TrunkM is the length of the trunk in metres.
func (s *Sheet) TrunkM() float64 {
	sum := 0.0
	for _, c := range s.Cable {
		sum += c.LengthM
	}
	return sum
}

// each visits the entries of a list.
func (r *sheetReader) each(n *source.Node, key string, visit func(*source.Node)) {
	for _, item := range r.items(n.Get(key)) {
		visit(item)
	}
}

func (r *sheetReader) needed(n *source.Node, key, what string) *source.Node {
	x := filled(n, key)
	if x == nil && n.Get(key) == nil {
		r.r.Problem(n, "missing-key", "", "%q is missing here: %s", key, what)
	}
	return x
}

// entry checks the keys of an entry; false where it is no map.
func (r *sheetReader) entry(n *source.Node, what, entry string) bool {
	if n.Shape != source.Map {
		r.r.Problem(n, "shape", "", "%s is {%s}", what, shapeOf(entry))
		return false
	}
	r.allow(n, what, append(entryKeys(entry), "note"))
	return true
}

// withUnit is a quantity that must carry its unit: a bare number on a sheet is
// the mistake that costs a day.
func (r *sheetReader) withUnit(n *source.Node, unit string) (float64, bool) {
	if n == nil {
		return 0, false
	}
	if n.Shape == source.Scalar && n.Text != "" && strings.Trim(n.Text, "+-0123456789.eE \t") == "" {
		r.r.Problem(n, "unit-missing", "", "%s of what? Write the unit behind it, like %s %s", n.Text, n.Text, unit)
		return 0, false
	}
	return r.read(n, n.Text, unit)
}

// read takes one figure as people write it (1,5 m; 4k7; 153.6k; 1 200 m; 24 VDC).
// What has two meanings, like 1.200 m, is asked back.
func (r *sheetReader) read(n *source.Node, text, unit string) (float64, bool) {
	if n.Shape != source.Scalar {
		r.r.Problem(n, "shape", "", "one number is wanted here")
		return 0, false
	}
	reading, err := quantity.Read(text, quantity.Want{Unit: unit})
	var question *quantity.Question
	if errors.As(err, &question) {
		var write []string
		for _, a := range question.Answers {
			write = append(write, a.Entry)
		}
		if write != nil {
			r.r.Problem(n, "quantity", "", "%s; write %s", strings.TrimSuffix(question.Says, "."), strings.Join(write, " or "))
			return 0, false
		}
		r.r.Problem(n, "quantity", "", "%s", strings.TrimSuffix(question.Says, "."))
		return 0, false
	}
	x, exact := reading.Value()
	if !exact {
		r.r.Problem(n, "quantity", "", "%q is not one figure; write one in %s", n.Text, unit)
		return 0, false
	}
	return x, true
}

// measured is a quantity of an entry's key between two bounds; 0 where it is not there.
func (r *sheetReader) measured(n *source.Node, key, unit string, low, high float64) float64 {
	return r.bounded(filled(n, key), unit, low, high)
}

func (r *sheetReader) bounded(x *source.Node, unit string, low, high float64) float64 {
	v, ok := r.withUnit(x, unit)
	if !ok {
		return 0
	}
	if v < low || v > high {
		r.r.Problem(x, "range", "", "%s is outside what can be: %s to %s", x.Text, quantity.Format(low, unit), quantity.Format(high, unit))
		return 0
	}
	return v
}

// metres is a length, in metres or feet.
func (r *sheetReader) metres(n *source.Node) float64 {
	if n == nil {
		return 0
	}
	if feet, ok := strings.CutSuffix(strings.TrimSpace(n.Text), "ft"); ok && n.Shape == source.Scalar {
		x, ok := r.read(n, feet, "ft")
		if !ok {
			return 0
		}
		const metrePerFoot = 0.3048 // exact
		return r.inReach(n, x*metrePerFoot)
	}
	x, ok := r.withUnit(n, "m")
	if !ok {
		return 0
	}
	return r.inReach(n, x)
}

func (r *sheetReader) inReach(n *source.Node, metres float64) float64 {
	if metres < 0 || metres > mostMetres {
		r.r.Problem(n, "range", "", "%s is outside what can be: 0 m to %s", n.Text, quantity.Format(mostMetres, "m"))
		return 0
	}
	return metres
}

// place is where something is along the trunk.
func (r *sheetReader) place(n *source.Node, key string, trunk float64) float64 {
	x := r.needed(n, key, "its place along the trunk, in metres from the host's end")
	return r.along(x, trunk)
}

func (r *sheetReader) along(x *source.Node, trunk float64) float64 {
	if x == nil {
		return 0
	}
	switch x.Text {
	case "host":
		return 0
	case "end":
		return trunk
	}
	m := r.metres(x)
	if m > trunk && trunk > 0 {
		r.r.Problem(x, "range", "", "%s lies beyond the trunk, whose cable adds up to %s", x.Text, quantity.Format(trunk, "m"))
		return trunk
	}
	return m
}

func (r *sheetReader) celsius(n *source.Node) *float64 {
	text := strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(strings.TrimSpace(n.Text), "C"), "°"))
	if n.Shape != source.Scalar || text == strings.TrimSpace(n.Text) {
		r.r.Problem(n, "unit-missing", "", "a temperature is written in degrees Celsius, like 35 C")
		return nil
	}
	x, ok := r.read(n, text+" C", "C")
	if !ok {
		return nil
	}
	if x < -60 || x > 120 {
		r.r.Problem(n, "range", "", "%s is outside what can be: -60 C to 120 C", n.Text)
		return nil
	}
	return &x
}

// conductor reads 0.75 mm2, AWG 22, either with the stranding behind it.
func (r *sheetReader) conductor(n *source.Node) *SheetConductor {
	if n == nil {
		return nil
	}
	c := &SheetConductor{Pos: n.Pos, Text: n.Text, Strand: "solid"}
	words := strings.Fields(strings.NewReplacer("²", "2", "mm2", " mm2", "AWG", "AWG ").Replace(n.Text))
	if n.Shape == source.Scalar && len(words) > 2 && slices.Contains([]string{"solid", "flexible", "flexible_tinned"}, words[len(words)-1]) {
		c.Strand, words = words[len(words)-1], words[:len(words)-1]
	}
	switch {
	case n.Shape == source.Scalar && len(words) == 2 && words[1] == "mm2":
		x, err := quantity.Parse(strings.Replace(words[0], ",", ".", 1), "")
		if err != nil {
			r.r.Problem(n, "quantity", "", "%v", err)
			return nil
		}
		c.MM2 = x
	case n.Shape == source.Scalar && len(words) == 2 && words[0] == "AWG" && digits(words[1]) && len(words[1]) <= 2:
		for _, d := range words[1] {
			c.AWG = c.AWG*10 + int(d-'0')
		}
	default:
		r.r.Problem(n, "conductor", "", "%q is no conductor; write its section or gauge, like 0.75 mm2, 1.5 mm2 flexible or AWG 22", n.Text)
		return nil
	}
	return c
}

func (r *sheetReader) cable(n *source.Node) SheetCable {
	c := SheetCable{Pos: n.Pos}
	if !r.entry(n, "a stretch of cable", "cable") {
		return c
	}
	if x := filled(n, "type"); x != nil {
		c.Type = r.text(x)
	}
	if x := r.needed(n, "length", "how long it is, like 180 m"); x != nil {
		c.LengthM = r.metres(x)
	}
	c.Conductor = r.conductor(filled(n, "conductor"))
	c.LoopOhmPerKm = r.measured(n, "loop_per_km", "ohm", 0.1, 10_000)
	if c.Conductor != nil && c.LoopOhmPerKm > 0 {
		r.r.Problem(n.Get("loop_per_km"), "twice", "", "the resistance is given twice: by the conductor, and for both conductors together; keep one")
	}
	c.ImpedanceOhm = r.measured(n, "impedance", "ohm", 20, 500)
	c.DelayNSPerM = r.measured(n, "delay_per_m", "ns", 3, 12)
	if x := filled(n, "velocity"); x != nil {
		if percent, ok := r.withUnit(x, "%"); ok {
			if percent < 30 || percent > 99 {
				r.r.Problem(x, "range", "", "%s is outside what can be: 30 %% to 99 %% of the speed of light", x.Text)
			} else {
				c.VelocityShare = percent / 100
			}
		}
	}
	if x := filled(n, "shielded"); x != nil {
		is := r.flag(x)
		c.Shielded = &is
	}
	return c
}

func (r *sheetReader) inline(n *source.Node, trunk float64) SheetInline {
	d := SheetInline{Pos: n.Pos}
	if !r.entry(n, "a device in the line", "inline") {
		return d
	}
	if x := filled(n, "name"); x != nil {
		d.Name = r.text(x)
	}
	if x := r.needed(n, "kind", "what it is"); x != nil && r.oneOf(x, "a device in the line", "repeater", "isolator", "converter", "surge_arrester") >= 0 {
		d.Kind = x.Text
	}
	d.AtM = r.place(n, "at", trunk)
	d.DelayNS = r.measured(n, "delay", "ns", 0, 1e9)
	if x := filled(n, "supply"); x != nil {
		d.Supply = r.text(x)
	}
	return d
}

func (r *sheetReader) terminator(n *source.Node, trunk float64) SheetTerminator {
	t := SheetTerminator{Pos: n.Pos}
	if !r.entry(n, "a terminator", "terminator") {
		return t
	}
	t.AtM = r.place(n, "at", trunk)
	t.Ohm = r.measured(n, "ohm", "ohm", 1, 100_000)
	if x := filled(n, "powered"); x != nil {
		is := r.flag(x)
		t.Powered = &is
	}
	if x := filled(n, "blocks_dc"); x != nil {
		t.BlocksDC = r.flag(x)
	}
	return t
}

func (r *sheetReader) messages(n *source.Node) *SheetMessages {
	m := &SheetMessages{Pos: n.Pos, Character: 11}
	if !r.entry(n, "messages", "messages") {
		return m
	}
	if x := filled(n, "overhead"); x != nil {
		m.Overhead, m.HasOver = r.whole(x, 0, 4096), true
	}
	if x := filled(n, "character"); x != nil {
		m.Character = r.whole(x, 7, 14)
	}
	m.Turnaround = r.measured(n, "turnaround", "s", 0, 60)
	m.Wanted = r.measured(n, "wanted", "s", 1e-6, 3600)
	return m
}

func (r *sheetReader) stub(n *source.Node, trunk float64) SheetStub {
	s := SheetStub{Pos: n.Pos, Tapped: 1}
	if !r.entry(n, "a stub", "stub") {
		return s
	}
	s.AtM = r.place(n, "at", trunk)
	if x := r.needed(n, "length", "how long it is, like 3 m"); x != nil {
		s.LengthM = r.metres(x)
	}
	if x := filled(n, "tapped"); x != nil {
		s.Tapped = r.whole(x, 1, 64)
	}
	return s
}

func (r *sheetReader) drop(n *source.Node, trunk float64) SheetDrop {
	d := SheetDrop{Pos: n.Pos}
	if !r.entry(n, "a drop", "drop") {
		return d
	}
	if x := r.needed(n, "drop", "its name on the drawing"); x != nil {
		d.Name = r.text(x)
	}
	d.AtM = r.place(n, "at", trunk)
	if x := filled(n, "address"); x != nil {
		d.Address, d.HasAddr = r.whole(x, 0, 65535), true
	}
	d.Baud = r.measured(n, "rate", "baud", 50, mostBaud)
	if x := filled(n, "unit_load"); x != nil {
		d.UnitLoad = r.within(x, 0, 32)
	}
	d.Watt = r.measured(n, "power", "W", 0, 10_000)
	d.Ampere = r.measured(n, "current", "A", 0, mostAmps)
	if d.Watt > 0 && d.Ampere > 0 {
		r.r.Problem(n.Get("current"), "twice", "", "a drop takes a constant power or a constant current; keep one")
	}
	d.MostA = r.measured(n, "carrier_most", "A", 0.001, mostAmps)
	r.each(n, "modules", func(x *source.Node) { d.Modules = append(d.Modules, r.module(x)) })
	return d
}

func (r *sheetReader) module(n *source.Node) SheetModule {
	m := SheetModule{Pos: n.Pos}
	if !r.entry(n, "a module", "module") {
		return m
	}
	if x := r.needed(n, "points", "how many it has"); x != nil {
		m.Points = r.whole(x, 0, 1024)
	}
	if x := filled(n, "kind"); x != nil && r.oneOf(x, "a kind of module", "input", "output") >= 0 {
		m.Kind = x.Text
	}
	m.Ampere = r.measured(n, "current", "A", 0, mostAmps)
	m.EachAmpere = r.measured(n, "each", "A", 0, mostAmps)
	m.On = m.Points
	if x := filled(n, "on"); x != nil {
		m.On = r.whole(x, 0, m.Points)
	}
	return m
}

func (r *sheetReader) supply(n *source.Node) SheetSupply {
	s := SheetSupply{Pos: n.Pos}
	if !r.entry(n, "a supply", "supply") {
		return s
	}
	if x := r.needed(n, "supply", "its name on the drawing"); x != nil {
		s.Name = r.text(x)
	}
	if r.needed(n, "volts", "what it gives, like 24 V") != nil {
		s.Volt = r.measured(n, "volts", "V", 1, mostVolts)
	}
	s.MostA = r.measured(n, "most", "A", 0.01, mostAmps)
	s.FuseA = r.measured(n, "fuse", "A", 0.01, mostAmps)
	if x := filled(n, "temperature"); x != nil {
		s.Celsius = r.celsius(x)
	}
	r.each(n, "feeds", func(x *source.Node) {
		f := SheetFeed{Pos: x.Pos}
		if !r.entry(x, "a stretch of supply cable", "feed") {
			return
		}
		if y := r.needed(x, "drop", "the drop it feeds"); y != nil {
			f.Drop = r.text(y)
		}
		if y := filled(x, "from"); y != nil {
			f.From = r.text(y)
		}
		if y := r.needed(x, "length", "how long it is, like 20 m"); y != nil {
			f.LengthM = r.metres(y)
		}
		f.Conductor = r.conductor(r.needed(x, "conductor", "its section or gauge, like 1.5 mm2 flexible"))
		s.Feeds = append(s.Feeds, f)
	})
	return s
}

func (r *sheetReader) bias(n *source.Node, trunk float64) *SheetBias {
	b := &SheetBias{Pos: n.Pos}
	if r.entry(n, "the bias", "bias") {
		b.AtM = r.place(n, "at", trunk)
		b.Volt = r.measured(n, "volts", "V", 0.5, 50)
		b.Up = r.measured(n, "up", "ohm", 1, mostOhms)
		b.Down = r.measured(n, "down", "ohm", 1, mostOhms)
	}
	return b
}

func (r *sheetReader) shield(n *source.Node) *SheetShield {
	s := &SheetShield{Pos: n.Pos}
	if r.entry(n, "the shield", "shield") {
		if x := r.needed(n, "bonded", "one_end, both_ends or nowhere"); x != nil && r.oneOf(x, "how a shield is bonded", "one_end", "both_ends", "nowhere") >= 0 {
			s.Bonded = x.Text
		}
	}
	return s
}

func (r *sheetReader) beside(n *source.Node, trunk float64) SheetBeside {
	b := SheetBeside{Pos: n.Pos, Divider: "none"}
	if !r.entry(n, "a power cable beside the trunk", "beside") {
		return b
	}
	b.FromM, b.ToM = r.place(n, "from", trunk), r.place(n, "to", trunk)
	if to := filled(n, "to"); to != nil && b.ToM < b.FromM {
		r.r.Problem(to, "range", "", "it ends before it begins; count both from the host's end")
	}
	if x := r.needed(n, "apart", "the distance between the cables, like 50 mm"); x != nil {
		b.ApartM = r.bounded(x, "m", 0, 100)
	}
	if x := filled(n, "power_screened"); x != nil {
		b.PowerScreened = r.flag(x)
	}
	if x := filled(n, "divider"); x != nil && r.oneOf(x, "a divider", "none", "aluminium", "steel") >= 0 {
		b.Divider = x.Text
	}
	return b
}

func (r *sheetReader) controller(n *source.Node) *SheetController {
	c := &SheetController{Pos: n.Pos}
	if !r.entry(n, "the controller", "controller") {
		return c
	}
	c.Baud = r.measured(n, "rate", "baud", 50, mostBaud)
	r.each(n, "drops", func(x *source.Node) {
		m := SheetMapped{Pos: x.Pos}
		if !r.entry(x, "a drop of the controller's map", "mapped") {
			return
		}
		if y := r.needed(x, "address", "the drop's address"); y != nil {
			m.Address = r.whole(y, 0, 65535)
		}
		if y := filled(x, "first"); y != nil {
			m.First = r.whole(y, 1, 1<<20)
		}
		if y := filled(x, "points"); y != nil {
			m.Points = r.whole(y, 0, 1<<16)
		}
		c.Drops = append(c.Drops, m)
	})
	return c
}

// names checks what one part of the sheet calls another by.
func (r *sheetReader) names(s *Sheet) {
	var drops, supplies []string
	at := func(p Position) *source.Node { return &source.Node{Pos: p} }
	for _, d := range s.Drops {
		if d.Name != "" && slices.Contains(drops, d.Name) {
			r.r.Problem(at(d.Pos), "twice", "", "two drops are called %s", d.Name)
		}
		drops = append(drops, d.Name)
	}
	for i, d := range s.Drops[:max(0, len(s.Drops)-1)] {
		if s.Drops[i+1].AtM < d.AtM {
			r.r.Problem(at(s.Drops[i+1].Pos), "order", "", "drop %s lies before drop %s on the cable; list them in cable order, from the host outwards", s.Drops[i+1].Name, d.Name)
		}
	}
	for _, p := range s.Supplies {
		if p.Name != "" && slices.Contains(supplies, p.Name) {
			r.r.Problem(at(p.Pos), "twice", "", "two supplies are called %s", p.Name)
		}
		supplies = append(supplies, p.Name)
		var fed []string
		for _, f := range p.Feeds {
			if f.Drop != "" && !slices.Contains(drops, f.Drop) {
				r.r.Problem(at(f.Pos), "unknown-id", source.Nearest(f.Drop, drops), "no drop of this sheet is called %q", f.Drop)
			}
			if f.From != "" && !slices.Contains(fed, f.From) {
				r.r.Problem(at(f.Pos), "unknown-id", source.Nearest(f.From, fed), "%q is not fed by this supply in a line before this one", f.From)
			}
			if slices.Contains(fed, f.Drop) {
				r.r.Problem(at(f.Pos), "twice", "", "drop %s is fed twice by one supply", f.Drop)
			}
			fed = append(fed, f.Drop)
		}
	}
	for _, d := range s.Inline {
		if d.Supply != "" && !slices.Contains(supplies, d.Supply) {
			r.r.Problem(at(d.Pos), "unknown-id", source.Nearest(d.Supply, supplies), "no supply of this sheet is called %q", d.Supply)
		}
	}
}

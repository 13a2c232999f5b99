package rulebase

import (
	"slices"
	"strings"

	"downdrop/rulebase/source"
)

// ReadSheet reads an installation sheet. The error is a *Problems with all that
// is wrong. kinds are the kinds of line that there are.
func ReadSheet(file string, text []byte, kinds []string) (*Sheet, error) {
	r := &sheetReader{loader{r: source.NewReader(), base: &Base{}, kind: map[string]Kind{}}, kinds}
	return readOne(r.r, file, text, r.sheet)
}

// A sheetReader reads sheets with the tools that rulebases are read with.
type sheetReader struct {
	loader
	kinds []string
}

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

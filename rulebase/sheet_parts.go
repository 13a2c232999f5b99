package rulebase

import (
	"downdrop/rulebase/source"
)

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

package sheet

import (
	"fmt"
	"slices"
	"strings"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

func (c *checker) points() {
	k := c.s.Controller
	if k == nil || len(k.Drops) == 0 {
		c.open("map", "", "controller, with its drops, addresses and points")
		return
	}
	byAddress := map[int]rulebase.SheetDrop{}
	for _, d := range c.s.Drops {
		if d.HasAddr {
			byAddress[d.Address] = d
		}
	}
	listed := map[int]bool{}
	for _, m := range k.Drops {
		listed[m.Address] = true
		d, ok := byAddress[m.Address]
		if !ok {
			c.add(Result{Rule: "map_without_drop", Where: fmt.Sprintf("address %d", m.Address), Verdict: Fail, Figure: float64(m.Address), Source: sourceSheet, Pos: m.Pos,
				Says: fmt.Sprintf(sayMapNoDrop, m.Address), Do: doMapNoDrop})
			continue
		}
		if fitted := (mapped{d, m}).pointsFitted(); fitted > 0 && m.Points > 0 {
			r := Result{Rule: "map_length", Where: "drop " + d.Name, Verdict: Pass, Figure: float64(m.Points), Limit: float64(fitted), Source: "points of the modules fitted; common practice, no source", Pos: m.Pos,
				Says: fmt.Sprintf(sayMapLength, d.Name, m.Points, fitted)}
			if fitted != m.Points {
				r.Verdict, r.Do = Fail, doMapLength
			}
			c.add(r)
		}
	}
	for _, d := range c.s.Drops {
		if d.HasAddr && !listed[d.Address] {
			c.add(Result{Rule: "drop_not_in_map", Where: "drop " + d.Name, Verdict: Fail, Figure: float64(d.Address), Source: sourceSheet, Pos: d.Pos,
				Says: fmt.Sprintf(sayNotInMap, d.Name, d.Address), Do: doNotInMap})
		}
	}
	c.overlaps(k)
}

type mapped struct {
	drop rulebase.SheetDrop
	to   rulebase.SheetMapped
}

func (d mapped) pointsFitted() int {
	sum := 0
	for _, m := range d.drop.Modules {
		sum += m.Points
	}
	return sum
}

func (c *checker) overlaps(k *rulebase.SheetController) {
	for i, a := range k.Drops {
		for _, b := range k.Drops[:i] {
			if a.Address == b.Address {
				c.add(Result{Rule: "map_address_twice", Where: fmt.Sprintf("address %d", a.Address), Verdict: Fail, Figure: float64(a.Address), Source: sourceSheet, Pos: a.Pos,
					Says: fmt.Sprintf(sayMapTwice, a.Address), Do: doMapTwice})
			}
			if a.First > 0 && b.First > 0 && a.First < b.First+b.Points && b.First < a.First+a.Points {
				c.add(Result{Rule: "map_overlap", Where: fmt.Sprintf("addresses %d and %d", b.Address, a.Address), Verdict: Fail, Source: sourceSheet, Pos: a.Pos,
					Says: fmt.Sprintf(sayMapOverlap, b.Address, b.First, b.First+b.Points-1, a.Address, a.First, a.First+a.Points-1), Do: doMapOverlap})
			}
		}
	}
}

// frame is how long the smallest whole thing takes on the line: a character, on
// CAN the longest message.
func (c *checker) frame() {
	rate := c.baud()
	if rate == 0 {
		return
	}
	const character = 11 // bits: start, eight, parity or a second stop, stop
	bits, says, source := character, sayCharacter, sourceCharacter
	if c.kind == &line.CAN {
		const most = 8 // bytes of a classic message
		bits, says, source = line.CANFrame(most), sayCANFrame, sourceCANFrame
	}
	time := rate.Character(bits)
	c.add(Result{Rule: "frame_time", Verdict: Pass, Figure: float64(time), Unit: "s", Source: source, Pos: c.s.Pos, Sum: fmt.Sprintf(sumBits, bits, say(float64(rate), "bit/s")),
		Says: fmt.Sprintf(says, say(float64(time), "s"), bits)})
}

// scan is how long it takes to ask every drop once. Where the length of messages is
// not known it is what the points alone take, which only shows what cannot go.
func (c *checker) scan() {
	rate := c.baud()
	if rate == 0 || len(c.s.Drops) == 0 {
		return
	}
	m := c.s.Messages
	if m == nil {
		m = &rulebase.SheetMessages{Character: 11, Pos: c.s.Pos}
	}
	r := Result{Rule: "scan_time", Verdict: Pass, Unit: "s", Limit: m.Wanted, Pos: m.Pos, Source: sourceScan}
	known := true
	drops := fmt.Sprintf(nameAllDrops, len(c.s.Drops))
	switch len(c.s.Drops) {
	case 1:
		drops = nameOneDrop
	case 2:
		drops = nameBothDrops
	}
	switch {
	case c.kind == &line.CAN:
		r.Source = sourceCANFrame
		r.Figure, r.Sum = c.round(func(points int) line.Second { return rate.Character(line.CANFrame(8)) * line.Second((points+63)/64) }, m.Turnaround)
		r.Says = fmt.Sprintf(sayScanCAN, drops, say(r.Figure, "s"))
	case c.kind == &line.Modbus && !m.HasOver:
		r.Source = sourceModbusScan
		r.Figure, r.Sum = c.round(func(points int) line.Second { return line.InputsPoll(rate, points, 0) }, m.Turnaround)
		r.Says = fmt.Sprintf(sayScan, drops, say(r.Figure, "s"))
	default:
		known = m.HasOver
		var gaps line.Second
		if c.kind == &line.Modbus {
			_, between := line.Silences(rate)
			gaps = 2 * between
		}
		r.Figure, r.Sum = c.round(func(points int) line.Second {
			return rate.Character(m.Character*(m.Overhead+(points+7)/8)) + gaps
		}, m.Turnaround)
		r.Says = fmt.Sprintf(sayScan, drops, say(r.Figure, "s"))
		if !known {
			r.Says = fmt.Sprintf(sayScanLeast, drops, say(r.Figure, "s"))
		}
	}
	if m.Wanted > 0 {
		r.Source = sourceSheet
		r.Verdict = atMost(r.Figure, m.Wanted)
		r.Says += " " + fmt.Sprintf(sayScanWanted, say(m.Wanted, "s"))
		r.Do = doing(r.Verdict, doScan)
	}
	if !known && r.Verdict != Fail {
		r.Verdict, r.Do = Open, ""
	}
	c.add(r)
}

// round adds up one exchange with each drop, by its points, and says how.
func (c *checker) round(exchange func(points int) line.Second, turnaround float64) (seconds float64, sum string) {
	var all line.Second
	var parts []string
	for _, d := range c.s.Drops {
		n := (mapped{drop: d}).pointsFitted()
		if n == 0 {
			n = line.PointsPerModule // the sheet gives no modules
		}
		one := exchange(n) + line.Second(turnaround)
		all += one
		parts = append(parts, say(float64(one), "s"))
	}
	if len(slices.Compact(slices.Clone(parts))) == 1 {
		return float64(all), fmt.Sprintf(sumRound, len(parts), parts[0])
	}
	return float64(all), strings.Join(parts, " + ")
}

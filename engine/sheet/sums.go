package sheet

import (
	"fmt"
	"strings"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

// sumOfCable adds up the stretches of the trunk; "" for one.
func sumOfCable(s *rulebase.Sheet) string {
	var parts []string
	for _, k := range s.Cable {
		parts = append(parts, say(k.LengthM, "m"))
	}
	if len(parts) < 2 {
		return ""
	}
	return strings.Join(parts, " + ")
}

// sumOfLoop adds up both wires of the trunk's stretches.
func sumOfLoop(s *rulebase.Sheet) string {
	var parts []string
	for _, k := range s.Cable {
		loop, _ := Loop(k, s.Celsius)
		parts = append(parts, fmt.Sprintf(sumLoop, say(k.LengthM, "m"), say(float64(loop), "ohm")))
	}
	sum := strings.Join(parts, " + ")
	if s.Celsius != nil {
		sum += fmt.Sprintf(sumAtCelsius, say(*s.Celsius, ""))
	}
	return sum
}

func (c *checker) sumOfUnits() string {
	s, parts := c.s, []string{sumHost}
	if !c.seg.First {
		parts[0] = sumDevice
	}
	ends := 1
	if !c.seg.Last {
		parts, ends = append(parts, sumDevice), 2
	}
	for _, d := range s.Drops {
		if load := unitLoad(d); load != 1 {
			parts = append(parts, say(load, "")+" ("+d.Name+")")
		}
	}
	if whole := len(s.Drops) + ends - len(parts); whole > 0 {
		parts = append(parts, fmt.Sprintf(sumWholeUnits, whole))
	}
	return strings.Join(parts, " + ")
}

func sumOfStubs(s *rulebase.Sheet) string {
	var parts []string
	for _, x := range s.Stubs {
		parts = append(parts, say(x.LengthM, "m"))
	}
	return strings.Join(parts, " + ")
}

// sumOfOhms says what lies in parallel as a meter at a place sees it: each
// terminator through the cable before it.
func (c *checker) sumOfOhms(p *line.Pair, at line.Metre) string {
	var parts []string
	for _, t := range p.Across {
		if t.Ohm == line.Open {
			continue // a capacitor stands before it
		}
		part := say(float64(t.Ohm), "ohm")
		if cable := p.Between(at, t.At); cable > 0 {
			part = fmt.Sprintf(sumThroughCable, part, say(float64(cable), "ohm"))
		}
		parts = append(parts, part)
	}
	return strings.Join(parts, sumParallel)
}

func (c *checker) sumOfTrip() string {
	sum := fmt.Sprintf(sumTrip, say(c.s.TrunkM(), "m"), say(float64(c.delay())*1e9, "ns"))
	for _, d := range c.s.Inline {
		if d.DelayNS > 0 {
			sum += fmt.Sprintf(sumTripDevice, say(d.DelayNS, "ns"))
		}
	}
	return sum
}

// sumsOfFeed follow the supply's cable to each drop and take off what each stretch
// loses: a drop's sum goes on from that of the drop before it.
func sumsOfFeed(p rulebase.SheetSupply, feed line.Feed, currents []line.Ampere) []string {
	sums := make([]string, len(p.Feeds))
	for i, f := range p.Feeds {
		before := say(p.Volt, "V")
		if parent := feed.Nodes[i].Parent; parent >= 0 {
			before = sums[parent]
		}
		sums[i] = before + " − " + fmt.Sprintf(sumStretch, say(float64(currents[i]), "A"), say(float64(feed.Nodes[i].Loop), "ohm"), say(f.LengthM, "m"), textOf(f.Conductor))
	}
	return sums
}

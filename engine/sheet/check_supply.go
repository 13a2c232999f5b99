package sheet

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

func (c *checker) supplies() {
	fed := map[string]bool{}
	for _, p := range c.s.Supplies {
		c.supply(p)
		for _, f := range p.Feeds {
			fed[f.Drop] = true
		}
	}
	c.openFor("supply_volts", lackFeed, func(d rulebase.SheetDrop) bool { return !fed[d.Name] })
	for _, p := range c.s.Supplies {
		if p.MostA == 0 || p.FuseA == 0 {
			c.open("supply_current", "supply "+p.Name, fmt.Sprintf(lackMost, p.Name))
		}
	}
}

func (c *checker) supply(p rulebase.SheetSupply) {
	where := "supply " + p.Name
	celsius := p.Celsius
	if celsius == nil {
		celsius = c.s.Celsius
	}
	feed := line.Feed{Supply: line.Volt(p.Volt)}
	node := map[string]int{"": -1}
	for i, f := range p.Feeds {
		r, ok := Conductor(f.Conductor, celsius)
		if !ok {
			c.open("supply_volts", "drop "+f.Drop, "a conductor that the tables know ("+textOf(f.Conductor)+")")
			return
		}
		at := slices.IndexFunc(c.s.Drops, func(d rulebase.SheetDrop) bool { return d.Name == f.Drop })
		feed.Nodes = append(feed.Nodes, line.Node{Parent: node[f.From], Loop: r.Loop().Over(line.Metre(f.LengthM)), Load: Takes(c.s.Drops[at])})
		node[f.Drop] = i
	}
	volts, err := feed.Solve()
	if err != nil {
		asked, most := powerOf(feed)
		c.add(Result{Rule: "no_operating_point", Where: where, Verdict: Fail, Figure: asked, Limit: most, Unit: "W", Source: sourceComputed, Pos: p.Pos, Says: fmt.Sprintf(sayNoOperatingPoint, p.Name, say(asked, "W"), say(most, "W")), Do: doSupply})
		return
	}
	var total line.Ampere
	currents := feed.Currents(volts)
	sums := sumsOfFeed(p, feed, currents)
	for i, v := range volts {
		f := p.Feeds[i]
		if feed.Nodes[i].Parent < 0 {
			total += currents[i]
		}
		limit := float64(line.SupplyLow)
		if v > line.SupplyHigh {
			limit = float64(line.SupplyHigh)
		}
		r := Result{Rule: "supply_volts", Where: "drop " + f.Drop, Sum: sums[i], Verdict: verdicts[line.SupplyVerdict(v)], Figure: float64(v), Limit: limit, Unit: "V", Source: sourceSupply, Pos: f.Pos,
			Says: fmt.Sprintf(saySupply, f.Drop, say(float64(v), "V"), say(float64(currents[i]), "A"))}
		if r.Verdict != Pass {
			r.Do = doSupply
			if longest := longestFeed(f, i, feed); longest > 0 && v < line.SupplyLow {
				r.Do = fmt.Sprintf(doFeedLength, doSupply, say(longest, "m"))
			}
		}
		c.add(r)
	}
	var parts []string
	for i := range p.Feeds {
		if feed.Nodes[i].Parent < 0 {
			parts = append(parts, say(float64(currents[i]), "A"))
		}
	}
	sum := ""
	if len(parts) > 1 {
		sum = strings.Join(parts, " + ")
	}
	c.budget(Result{Rule: "supply_current", Where: where, Figure: float64(total), Sum: sum, Source: sourceSheet, Pos: p.Pos}, p.MostA, 1)
	c.budget(Result{Rule: "fuse_current", Where: "the fuse of " + where, Figure: float64(total), Sum: sum, Source: sourceFuse, Pos: p.Pos}, p.FuseA, fuseShare)
}

// longestFeed is how many metres of its own cable still leave a drop the least of the supply's window, down to
// a tenth; 0 where no length of it would do, since what comes before leaves too little.
func longestFeed(f rulebase.SheetFeed, i int, feed line.Feed) float64 {
	if feed.Nodes[i].Loop <= 0 {
		return 0
	}
	share := float64(feed.MostLoop(i, line.SupplyLow) / feed.Nodes[i].Loop)
	return math.Floor(share*f.LengthM*10) / 10
}

// Takes is what a drop draws: its own, and its modules'.
func Takes(d rulebase.SheetDrop) line.Load {
	load := line.Load{Power: line.Watt(d.Watt), Current: line.Ampere(d.Ampere)}
	for _, m := range d.Modules {
		load.Current += moduleTakes(m)
	}
	return load
}

func moduleTakes(m rulebase.SheetModule) line.Ampere {
	return line.Ampere(m.Ampere + m.EachAmpere*float64(m.On))
}

// powerOf is what the loads of a feed ask for at its supply's volts, and the most
// that its cable brings to them in the same proportions: what is asked for, taken
// down until there is an operating point.
func powerOf(feed line.Feed) (asked, most float64) {
	for _, n := range feed.Nodes {
		asked += float64(n.Load.Power) + float64(n.Load.Current)*float64(feed.Supply)
	}
	low, high := 0.0, 1.0
	for range 30 {
		share := (low + high) / 2
		part := line.Feed{Supply: feed.Supply, Nodes: slices.Clone(feed.Nodes)}
		for i := range part.Nodes {
			part.Nodes[i].Load.Power *= line.Watt(share)
			part.Nodes[i].Load.Current *= line.Ampere(share)
		}
		if _, err := part.Solve(); err != nil {
			high = share
		} else {
			low = share
		}
	}
	return asked, asked * low
}

func textOf(k *rulebase.SheetConductor) string {
	if k == nil {
		return ""
	}
	return k.Text
}

// fuseShare is how much of its rating a small fuse carries for good (from memory).
const fuseShare = 0.75

// budget holds a current against a share of what may be drawn: over that share it
// barely goes, over the whole not at all. Of a supply or carrier the last tenth is
// kept free too (common practice, no source).
func (c *checker) budget(r Result, most, share float64) {
	if most == 0 {
		return
	}
	r.Verdict, r.Limit, r.Unit = Pass, most*share, "A"
	r.Says = fmt.Sprintf(sayBudget, r.Where, say(r.Figure, "A"), say(most*share, "A"))
	switch {
	case r.Figure > most:
		r.Verdict, r.Do = Fail, doBudget
	case r.Figure > most*share || r.Figure > 0.9*most:
		r.Verdict, r.Do = Marginal, doBudget
	}
	c.add(r)
}

func (c *checker) carriers() {
	for _, d := range c.s.Drops {
		var sum line.Ampere
		var parts []string
		for _, m := range d.Modules {
			sum += moduleTakes(m)
			parts = append(parts, say(float64(moduleTakes(m)), "A"))
		}
		c.budget(Result{Rule: "carrier_current", Where: "the carrier of drop " + d.Name, Figure: float64(sum), Sum: strings.Join(parts, " + "), Source: sourceSheet, Pos: d.Pos}, d.MostA, 1)
	}
	c.openFor("carrier_current", lackCarrier, func(d rulebase.SheetDrop) bool { return len(d.Modules) > 0 && d.MostA == 0 })
}

package sheet

import (
	"fmt"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

// temperatures says at which temperature copper was reckoned, and holds it against
// what the usual insulation bears.
func (c *checker) temperatures() {
	told := false
	one := func(where string, celsius *float64, pos rulebase.Position) {
		if celsius == nil {
			return
		}
		told = true
		factor := float64(line.ConductorOhmPerKm(1).At(line.Celsius(*celsius)))
		r := Result{Rule: "conductor_temperature", Where: where, Verdict: Pass, Figure: *celsius, Limit: insulationHottest, Unit: "C", Source: sourceInsulation, Pos: pos,
			Sum:  fmt.Sprintf(sumCopper, say(*celsius, "")),
			Says: fmt.Sprintf(sayTemperature, say(*celsius, ""), say(factor, ""))}
		switch {
		case *celsius > insulationHottest:
			r.Verdict, r.Do = Fail, doTemperature
		case *celsius > insulationHottest-insulationSpare:
			r.Verdict, r.Do = Marginal, doTemperature
		}
		c.add(r)
	}
	one("", c.s.Celsius, c.s.Pos)
	for _, p := range c.s.Supplies {
		one("the cable of supply "+p.Name, p.Celsius, p.Pos)
	}
	if !told {
		c.open("conductor_temperature", "", lackTemperature)
	}
}

// What common PVC insulation bears for good, in degrees Celsius, and how close to
// it is nothing to spare (70 C from memory; the ten common practice, no source).
const (
	insulationHottest = 70.0
	insulationSpare   = 10.0
)

func (c *checker) separation() {
	for _, b := range c.s.Beside {
		shielded := c.shieldedAlong(b.FromM, b.ToM)
		screen := map[[2]bool]line.Screen{{false, false}: line.NeitherScreened, {true, false}: line.DataScreened, {false, true}: line.PowerScreened, {true, true}: line.BothScreened}[[2]bool{shielded, b.PowerScreened}]
		divider := map[string]line.Divider{"none": line.NoDivider, "aluminium": line.AluminiumDivider, "steel": line.SteelDivider}[b.Divider]
		limit := float64(line.Separation(screen, divider))
		r := Result{Rule: "separation", Where: fmt.Sprintf("%s to %s", say(b.FromM, "m"), say(b.ToM, "m")), Verdict: Pass, Figure: b.ApartM, Limit: limit, Unit: "m", Source: "EN 50174-2:2000 table 1, as quoted; later editions replace it", Pos: b.Pos,
			Says: fmt.Sprintf(saySeparation, say(1000*b.ApartM, "mm"), say(1000*limit, "mm"))}
		switch {
		case b.ApartM < limit:
			r.Verdict, r.Do = Fail, doSeparation
		case b.ApartM < 1.1*limit: // cables lie as they fall (common practice, no source)
			r.Verdict, r.Do = Marginal, doSeparation
		}
		c.add(r)
	}
}

// shieldedAlong says whether every stretch of the trunk between two places has a shield.
func (c *checker) shieldedAlong(from, to float64) bool {
	at := 0.0
	for _, k := range c.s.Cable {
		begin := at
		at += k.LengthM
		if begin < to && at > from && (k.Shielded == nil || !*k.Shielded) {
			return false
		}
	}
	return true
}

func (c *checker) shield() {
	at, bare := 0.0, false
	for _, k := range c.s.Cable {
		from := at
		at += k.LengthM
		if k.Shielded != nil && !*k.Shielded {
			bare = true
			c.add(Result{Rule: "shield", Where: fmt.Sprintf("%s to %s", say(from, "m"), say(at, "m")), Verdict: Fail, Source: sourceShield, Pos: k.Pos, Says: fmt.Sprintf(sayNoShield, say(from, "m"), say(at, "m")), Do: doNoShield})
		}
	}
	if bare {
		return
	}
	if c.s.Shield == nil {
		c.open("shield", "", "shield, with where it is bonded")
		return
	}
	wanted := map[*line.Kind]string{&line.Modbus: "one_end", &line.Profibus: "both_ends"}[c.kind]
	source := map[*line.Kind]string{&line.Modbus: "Modbus over Serial Line V1.02, 3.6", &line.Profibus: "PROFIBUS, from memory"}[c.kind]
	r := Result{Rule: "shield", Verdict: Pass, Source: source, Pos: c.s.Shield.Pos, Says: fmt.Sprintf(sayShield, bondedWords[c.s.Shield.Bonded])}
	switch {
	case c.s.Shield.Bonded == "nowhere":
		r.Verdict, r.Do, r.Source = Fail, doShieldNowhere, "common practice, no source"
	case wanted == "":
		r.Source = "common practice, no source"
	case wanted != c.s.Shield.Bonded:
		r.Verdict, r.Do = Marginal, fmt.Sprintf(doShieldOther, bondedWords[wanted])
	}
	c.add(r)
}

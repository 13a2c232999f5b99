package sheet

import (
	"fmt"
	"math"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

// terminators are those of the sheet with their places resolved.
func (c *checker) terminators() {
	trunk := c.s.TrunkM()
	near, far := 0, 0
	for _, t := range c.s.Terminators {
		ohm := float64(terminatorOhm(t, c.kind))
		where := "the terminator at " + c.place(t.AtM)
		slack := endSlackM(c.s)
		switch {
		case t.AtM <= slack:
			near++
		case t.AtM >= trunk-slack:
			far++
		default:
			c.add(Result{Rule: "terminator_in_the_middle", Where: where, Verdict: Fail, Figure: t.AtM, Unit: "m", Source: sourceTermination, Pos: t.Pos,
				Says: fmt.Sprintf(sayTerminatorMiddle, upperFirst(where), c.place(0), c.place(trunk)), Do: doTerminatorMiddle})
		}
		c.terminatorValue(t, where, ohm)
	}
	if n := len(c.s.Terminators); n == 0 {
		c.open("terminators", "", "terminators")
		return
	}
	r := Result{Rule: "terminators", Verdict: Pass, Figure: float64(len(c.s.Terminators)), Limit: 2, Source: sourceTermination, Pos: c.s.Pos, Says: sayTerminatorsGood}
	switch {
	case near == 0 || far == 0:
		end := endNames[[2]bool{near == 0, near == 0 && c.seg.First || near > 0 && c.seg.Last}]
		r.Verdict, r.Rule, r.Says, r.Do = Fail, "terminator_missing", fmt.Sprintf(sayTerminatorMissing, end), doTerminatorMissing
		at := 0.0
		if near > 0 {
			at = trunk
		}
		r.Along = &Stretch{at, at}
	case near > 1 || far > 1 || len(c.s.Terminators) > 2:
		r.Verdict, r.Rule, r.Says, r.Do = Fail, "terminators_too_many", fmt.Sprintf(sayTerminatorsMany, len(c.s.Terminators)), doTerminatorsMany
	}
	c.add(r)
}

// terminatorValue holds a terminator against the cable it ends.
func (c *checker) terminatorValue(t rulebase.SheetTerminator, where string, ohm float64) {
	if t.Powered != nil && !*t.Powered {
		c.add(Result{Rule: "terminator_not_fed", Where: where, Verdict: Fail, Pos: t.Pos, Source: sourceTermination, Says: fmt.Sprintf(sayTerminatorNotFed, upperFirst(where)), Do: doTerminatorNotFed})
	}
	impedance, source := c.impedance(), sourceSheet
	wave := line.Ohm(ohm)
	if c.kind == &line.Profibus {
		wave = line.ProfibusTerminator.Wave() // what is across is not what a wave meets
	}
	if impedance == 0 {
		impedance, source = c.kind.Terminator, c.kind.Source
		if c.kind == &line.Profibus {
			impedance = 150
		}
	}
	g := line.Reflection(wave, impedance)
	const little, much = 0.15, 0.25 // of a wave sent back: common practice, no source
	v := Pass
	switch {
	case math.Abs(g) > much:
		v = Fail
	case math.Abs(g) > little:
		v = Marginal
	}
	r := Result{Rule: "terminator_value", Where: where, Verdict: v, Figure: ohm, Limit: float64(impedance), Unit: "ohm", Source: source, Pos: t.Pos,
		Says: fmt.Sprintf(sayTerminatorValue, upperFirst(where), say(ohm, "ohm"), say(float64(impedance), "ohm"), say(100*g, "%"))}
	if v != Pass {
		r.Do = doTerminatorValue
	}
	c.add(r)
}

func (c *checker) expectedOhms() {
	if len(c.s.Terminators) == 0 {
		return
	}
	bare, known := c.seg.pair(Connected{})
	full, _ := c.seg.pair(Connected{Units: true, Bias: true})
	if !known {
		c.open("expected_ohms", "", "conductor or loop_per_km of every stretch of cable")
	}
	for _, at := range []struct {
		where string
		m     float64
	}{{c.endName(true), 0}, {c.endName(false), c.s.TrunkM()}} {
		b, f := float64(bare.Seen(line.Metre(at.m))), float64(full.Seen(line.Metre(at.m)))
		c.add(Result{Rule: "expected_ohms", Where: at.where, Sum: c.sumOfOhms(bare, line.Metre(at.m)), Verdict: Pass, Figure: b, Limit: f, Unit: "ohm", Source: sourceComputed, Pos: c.s.Pos,
			Says: fmt.Sprintf(sayExpectedOhms, at.where, sayOhms(b), sayOhms(f))})
	}
}

// sayOhms is a reading across the pair; with nothing across it a meter shows over-range.
func sayOhms(ohm float64) string {
	if math.IsInf(ohm, 1) {
		return overRange
	}
	return say(ohm, "ohm")
}

// endName says which end of the segment is meant.
func (c *checker) endName(near bool) string {
	switch {
	case near && c.seg.First:
		return "the host's end"
	case !near && c.seg.Last:
		return "the far end"
	case near:
		return fmt.Sprintf(nameBehindDevice, c.place(0))
	}
	return fmt.Sprintf(nameBeforeDevice, c.place(c.s.TrunkM()))
}

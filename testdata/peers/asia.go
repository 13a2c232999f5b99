package main

import (
	"context"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"

	"gopkg.in/yaml.v3"

	"downdrop/engine"
	"downdrop/rulebase"
)

// checks is the folder of checks with known answers, from the folder of this module.
const checks = "../checks"

// The chest clinic of Lauritzen and Spiegelhalter (1988), with its tables: chances of
// yes, by what they hang on being no and yes.
var (
	pTub   = [2]float64{.01, .05}
	pLung  = [2]float64{.01, .10}
	pBronc = [2]float64{.30, .60}
	pXray  = [2]float64{.05, .98}
	pDysp  = [2][2]float64{{.1, .8}, {.7, .9}} // by either, by bronchitis
)

// seeable are the findings, unseeable what is asked, in the order of the bits and sums
// of joint.
var (
	seeable   = []string{"asia", "smoke", "bronchitis_seen", "dysp", "xray"}
	unseeable = []string{"tub", "lung", "bronc", "either", "smokes"}
)

// joint is the floor: all 128 states that the tables allow, summed. seen are the
// findings there are, yes those of them that say yes.
func joint(seen, yes int) (sums [5]float64) {
	of := func(p float64, is int) float64 {
		if is == 1 {
			return p
		}
		return 1 - p
	}
	all := 0.0
	for state := range 128 {
		if (state^yes)&seen != 0 {
			continue
		}
		asia, smoke, bronc, dysp, xray, tub, lung := state&1, state>>1&1, state>>2&1, state>>3&1, state>>4&1, state>>5&1, state>>6
		either := tub | lung
		p := of(.01, asia) * .5 * of(pTub[asia], tub) * of(pLung[smoke], lung) * of(pBronc[smoke], bronc) * of(pXray[either], xray) * of(pDysp[either][bronc], dysp)
		all += p
		for i, is := range [5]int{tub, lung, bronc, either, smoke} {
			sums[i] += p * float64(is)
		}
	}
	for i := range sums {
		sums[i] /= all
	}
	return sums
}

// asia asks the network, written as a rulebase, for the published evidence.
func asia() {
	base, err := rulebase.LoadFolder(filepath.Join(checks, "asia/rulebase"))
	must(err)
	text, err := os.ReadFile(filepath.Join(checks, "asia/cases.yaml"))
	must(err)
	var published []struct {
		Case     string
		Findings []struct{ Symptom, Value string }
		Expect   struct {
			Causes, Conditions map[string]float64
		}
	}
	must(yaml.Unmarshal(text, &published))
	prepared := engine.Prepare(base)
	var situations []rulebase.Situation
	var evidence [][2]int
	worst := 0.0
	for _, c := range published {
		s, e := rulebase.Situation{}, [2]int{}
		for _, f := range c.Findings {
			seen, err := base.ReadSee(f.Symptom + "=" + f.Value + "@1")
			must(err)
			s.Findings = append(s.Findings, seen)
			bit := 1 << slices.Index(seeable, f.Symptom)
			if e[0] |= bit; f.Value == "yes" {
				e[1] |= bit
			}
		}
		situations, evidence = append(situations, s), append(evidence, e)
		d, err := engine.Diagnose(context.Background(), prepared, s, engine.Options{})
		must(err)
		got := map[string]float64{}
		for _, x := range d.Causes {
			got[base.Causes[x.Cause].ID] = x.Probability
		}
		for _, x := range d.Conditions {
			got[base.Conditions[x.Condition].ID] = x.Probability
		}
		want := maps.Clone(c.Expect.Causes)
		maps.Copy(want, c.Expect.Conditions)
		byHand := joint(e[0], e[1])
		for id, p := range want {
			worst = max(worst, math.Abs(got[id]-p))
			summed := byHand[slices.Index(unseeable, id)]
			mustBe(math.Abs(summed-p) < 1e-9, "%s: %s is %v summed by hand, %v published", c.Case, id, summed, p)
		}
	}
	const n = 20
	diagnose := func(o engine.Options) func() {
		return func() {
			for range n {
				for _, s := range situations {
					_, err := engine.Diagnose(context.Background(), prepared, s, o)
					must(err)
				}
			}
		}
	}
	per := n * len(situations)
	t := race(fmt.Sprintf("Asia, all posteriors for one evidence set, %d sets; every posterior checked", len(situations)),
		entrant{name: "floor: the joint table summed by hand", per: per, run: func() {
			for range n {
				for _, e := range evidence {
					held = joint(e[0], e[1])[0] > 2
				}
			}
		}},
		entrant{name: "downdrop: causes, through the rulebase", per: per, run: diagnose(engine.Options{CausesOnly: true, OneCore: true})},
		entrant{name: "downdrop: causes, conditions, explanations", per: per, run: diagnose(engine.Options{BeliefOnly: true, OneCore: true})})
	fmt.Println("  No Go module for exact networks is in the lists. Elsewhere, on another day: a clique tree by hand in Go 0.41 us, the fastest library (Java) 61 us.")
	goal("worst error against the published posteriors", worst, 1e-9, false)
	goal("us through the rulebase, a library's 61 us in mind", t["downdrop: causes, through the rulebase"]/1e3, 61, false)
}

// gains compares the gains of the shipped rulebase with their definition, through the
// engine's own door: H(what to do) - sum over outcomes of P(outcome) H(what to do |
// outcome), each posterior by a diagnosis of its own. One cause at a time, since what
// is to be done then follows from the causes, which a diagnosis tells.
func gains() {
	dir, err := os.MkdirTemp("", "peers")
	must(err)
	defer os.RemoveAll(dir)
	must(os.WriteFile(filepath.Join(dir, "own.yaml"), []byte("rulebase: {name: own, version: 1, extends: drop, faults_at_most: 1}\n"), 0o600))
	base, err := rulebase.LoadFolder(dir)
	must(err)
	prepared := engine.Prepare(base)
	ask := func(s rulebase.Situation, o engine.Options) *engine.Diagnosis {
		d, err := engine.Diagnose(context.Background(), prepared, s, o)
		must(err)
		return d
	}
	s := rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}
	for _, see := range []string{"power_light=lit@1", "run_light=dark@1", "traffic_light=dark@1"} {
		f, err := base.ReadSee(see)
		must(err)
		s.Findings = append(s.Findings, f)
	}
	offered := func() map[string]float64 {
		by := map[string]float64{}
		d := ask(s, engine.Options{NoMinutes: true})
		for _, p := range d.Next {
			by[p.Step.ID] = p.GainBits
		}
		for _, w := range d.NotOffered {
			by[w.Step.ID] = w.GainBits
		}
		return by
	}
	fast := offered()
	tests, skipped := plainTests(base)
	before := ask(s, engine.Options{BeliefOnly: true})
	h := outcomeBits(base, before)
	worst, compared := 0.0, 0
	define := func(t *rulebase.Step) float64 {
		symptom := base.Symptoms[t.Yields[0]]
		left, mass := 0.0, 0.0
		for _, value := range symptom.Values {
			after := s.Clone()
			f, err := base.ReadSee(symptom.ID + "=" + value + "@1")
			must(err)
			after.Findings = append(after.Findings, f)
			d := ask(after, engine.Options{BeliefOnly: true})
			if !d.Possible {
				continue
			}
			p := d.Evidence / before.Evidence
			mass += p
			left += p * outcomeBits(base, d)
		}
		mustBe(math.Abs(mass-1) < 1e-9, "the results of %s sum to %v", t.ID, mass)
		return h - left
	}
	for _, t := range tests {
		got, ok := fast[t.ID]
		if !ok {
			continue
		}
		want := define(t)
		worst = max(worst, math.Abs(got-want))
		mustBe(math.Abs(got-want) < 1e-6, "%s gains %v bits, by definition %v", t.ID, got, want)
		compared++
	}
	fmt.Printf("\nGains of the shipped rulebase: %d tests of one symptom that no rule reads compared with the definition, %d others passed over\n", compared, skipped)
	goal("tests compared", float64(compared), 30, true)
	goal("worst difference in bits", worst, 1e-10, false)
	t := race("All gains of the shipped rulebase",
		entrant{name: "downdrop: a whole diagnosis with every gain", per: 1, run: func() { offered() }},
		entrant{name: fmt.Sprintf("by definition, %d of them, a posterior each", compared), per: 1, every: 4, run: func() {
			for _, t := range tests {
				define(t)
			}
		}})
	goal("by definition takes times the whole diagnosis", ratio(t[fmt.Sprintf("by definition, %d of them, a posterior each", compared)], t["downdrop: a whole diagnosis with every gain"]), 1, true)
}

// plainTests yield one symptom that no rule reads and whose bands no given moves, and put nothing right.
func plainTests(b *rulebase.Base) (plain []*rulebase.Step, others int) {
	read := map[int]bool{}
	for i := range b.Rules {
		for _, name := range b.Rules[i].When.Reads() {
			read[name] = true
		}
	}
	for i := range b.Tests {
		t := &b.Tests[i]
		if len(t.Yields) != 1 || len(t.PutsRight) > 0 || read[b.Symptoms[t.Yields[0]].Slot] || hangs(&b.Symptoms[t.Yields[0]]) {
			others++
			continue
		}
		plain = append(plain, t)
	}
	return plain, others
}

// hangs says that a symptom's bands follow from givens: where those are not known, a
// reading is kept, not weighed, and gains nothing.
func hangs(s *rulebase.Symptom) bool {
	return slices.ContainsFunc(s.Limits, func(l *rulebase.Expression) bool { return len(l.Reads()) > 0 })
}

// outcomeBits is the entropy over what is to be done, where at most one cause is there.
func outcomeBits(b *rulebase.Base, d *engine.Diagnosis) float64 {
	mass := map[string]float64{"nothing": d.None, "outside": d.Outside}
	for _, c := range d.Causes {
		key := b.Causes[c.Cause].ID
		if list := b.Causes[c.Cause].Remedies; len(list) > 0 {
			key = ""
			for _, r := range list {
				key += fmt.Sprint(r.Remedy, " ")
			}
		}
		mass[key] += c.Now
	}
	h := 0.0
	for _, key := range slices.Sorted(maps.Keys(mass)) {
		if p := mass[key]; p > 0 {
			h -= p * math.Log2(p)
		}
	}
	return h
}

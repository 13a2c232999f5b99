package engine

import (
	"cmp"
	"math"
	"slices"

	"downdrop/rulebase"
)

// QuietByChance is how likely it may still be that a fault which comes and goes is
// merely quiet, for quiet to count as proof: one chance in twenty (a choice of ours).
const QuietByChance = 0.05

// A Proof is how a remedy shows that it held.
type Proof struct {
	Watch   int    // what to watch, place in Base.Symptoms
	Under   string // under what load, ""
	Minutes float64
	// Comes: the fault comes and goes, so that a few quiet minutes mean nothing.
	Comes bool
	// Every is the mean time from one failure to the next in minutes, 0 where nobody
	// said. Quiet is how long quiet has to last then, Times times as long.
	Every, Times, Quiet float64
}

// ProofOf is the proof of a remedy here, nil where it has none.
//
// Failures that come independently of one another at a mean rate follow one another
// after times that are distributed exponentially: the chance of none in t minutes is
// exp(-t/every). It falls to QuietByChance after ln(1/QuietByChance) times the mean
// interval: for one in twenty 3.0 times, the "rule of three" (Hanley and Lippman-Hand,
// JAMA 249, 1983, from memory). A fault that comes with a load, with warmth or with
// motion is no such thing: it has to be watched under just that.
func (d *Diagnosis) ProofOf(step *rulebase.Step) *Proof {
	if step.Proof == nil {
		return nil
	}
	p := &Proof{Watch: step.Proof.Watch, Under: step.Proof.Under, Minutes: step.Proof.Minutes, Times: math.Log(1 / QuietByChance)}
	if d.working != nil {
		p.Every = d.working.known.interval()
	}
	extent, _ := rulebase.Extent(d.Situation.Drop, d.Situation.Drops, d.Situation.Order, d.Situation.Supplies)
	p.Comes = p.Every > 0 || extent == rulebase.ExtentComesAndGoes
	if p.Every > 0 {
		p.Quiet = p.Times * p.Every
		p.Minutes = max(p.Minutes, p.Quiet)
	}
	return p
}

// interval is the mean time between failures that was given, in minutes; 0: none.
func (k *known) interval() float64 {
	for i := range k.base.Givens {
		g := &k.base.Givens[i]
		if slot := k.result.Slots[g.Name]; g.FilledBy == "interval" && g.Type == rulebase.Number && slot.Rank > rulebase.FromDefault && slot.Number > 0 {
			return slot.Number
		}
	}
	return 0
}

// mostProven is the share of the mass whose worlds are looked at one by one.
const mostProven = 0.999

// proves finds what the work done has put right, once the drop is well, and which
// abnormal findings that leaves unexplained. Only causes that are gone are proven, by
// the drop that is well without them; one that is supposed to be there still is not,
// and explains nothing.
func (d *Diagnosis) proves(w *weighing) {
	if !w.k.well() {
		return
	}
	d.Proven = d.goneLikeliest(w)
	ids := make([]string, len(d.Proven))
	for i, c := range d.Proven {
		ids[i] = d.Base.Causes[c].ID
	}
	d.NotExplained = d.Unexplained(ids)
}

// goneLikeliest is the likeliest set of causes that were there when the case began and
// are gone now, rising; of several as likely the first by ids.
func (d *Diagnosis) goneLikeliest(w *weighing) []int {
	var sets [][]int
	var weight []float64
	b := w.belief
	for _, i := range b.Likeliest(mostProven) {
		gone := []int{}
		now := b.Now.Set(int(i))
		for _, c := range b.Began.Set(int(i)) {
			if !slices.Contains(now, c) {
				gone = append(gone, int(c))
			}
		}
		at := slices.IndexFunc(sets, func(s []int) bool { return slices.Equal(s, gone) })
		if at < 0 {
			at = len(sets)
			sets, weight = append(sets, gone), append(weight, 0)
		}
		weight[at] += b.Weight[i]
	}
	best := -1
	for i := range sets {
		if best < 0 || cmp.Or(cmp.Compare(rounded(weight[i]), rounded(weight[best])), cmp.Compare(d.setID(sets[best]), d.setID(sets[i]))) > 0 {
			best = i
		}
	}
	if best < 0 {
		return []int{}
	}
	return sets[best]
}

// When a finding is abnormal, and when causes explain it (choices of ours: a third
// of a chance is what one would still call usual, a tenth what can happen).
const (
	usual        = 1.0 / 3 // with no cause there, a value at least this likely is nothing to explain
	canHappen    = 0.1     // with the causes there, a value at least this likely is explained,
	muchLikelier = 3.0     // or one that the causes make at least so many times likelier
)

// Unexplained are the symptoms with an abnormal finding that these causes, proven,
// do not explain, in the order seen. A finding is abnormal where its value would be
// unusual with no cause there. One made after work is explained by the causes as they were
// before or by none: which of them that work took is not asked. Findings that
// somebody was less than half sure of, and those of other drops, do not count; nor
// does a complaint that nobody had to give.
func (d *Diagnosis) Unexplained(causes []string) []string {
	var set []uint16
	for _, id := range causes {
		if ref, ok := d.Base.Lookup(id); ok && ref.Kind == rulebase.KindCause {
			set = append(set, uint16(ref.Index))
		}
	}
	slices.Sort(set)
	set = slices.Compact(set)
	var out []string
	for _, r := range d.working.known.counting {
		if r.silent || r.value < 0 || r.sure < 0.5 || r.rule >= 0 {
			continue
		}
		without, with := d.Shows(r.symptom, nil), d.Shows(r.symptom, set)
		if without == nil || without[r.value] >= usual {
			continue
		}
		p := with[r.value]
		if p >= canHappen || p >= muchLikelier*without[r.value] && p > without[r.value] {
			continue
		}
		if id := d.Base.Symptoms[r.symptom].ID; !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	return out
}

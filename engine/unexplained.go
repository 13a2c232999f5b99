package engine

import (
	"slices"

	"downdrop/rulebase"
)

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

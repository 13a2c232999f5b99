package review

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"downdrop/rulebase"
)

// affinity is how much two distributions overlap (Bhattacharyya's coefficient,
// 1943, from memory): 1 where they are the same, 0 where they share no value.
func affinity(p, q []float64) float64 {
	sum := 0.0
	for i := range p {
		sum += math.Sqrt(p[i] * q[i])
	}
	return sum
}

// apart is the largest difference that two distributions give to any event.
func apart(p, q []float64) float64 {
	sum := 0.0
	for i := range p {
		sum += math.Abs(p[i] - q[i])
	}
	return sum / 2
}

// alike is the overlap above which two causes count as not told apart: then even
// somebody who saw every symptom there is would be wrong about which of two
// equally likely ones it is in more than a quarter of the cases. (The chance of
// an error is at least half of 1 less the root of 1 less the squared overlap:
// Kailath 1967, from memory.)
const alike = 0.87

// obtainable says of every symptom whether somebody can be brought to see it.
func (r *reviewer) obtainable() []bool {
	can := make([]bool, len(r.b.Symptoms))
	for i := range r.b.Tests {
		for _, s := range r.b.Tests[i].Yields {
			can[s] = true
		}
	}
	if r.b.Complaint != nil {
		can[r.b.Complaint.Symptom] = true
	}
	return can
}

// known are the settings in which every given that is read has a value; all,
// where there is none such.
func (r *reviewer) known() []*setting {
	var some, all []*setting
	for i := range r.settings {
		all = append(all, &r.settings[i])
		if r.settings[i].known {
			some = append(some, &r.settings[i])
		}
	}
	if len(some) == 0 {
		return all
	}
	return some
}

// overlap is how much two causes, each alone, show the same in all that can be seen.
func (s *setting) overlap(x, y int, can []bool) float64 {
	all := 1.0
	for i, p := range s.p {
		if p != nil && can[i] {
			if all *= affinity(p[alone(x)], p[alone(y)]); all < alike/10 {
				break
			}
		}
	}
	return all
}

// toldApart looks for causes that want different work and show the same.
func (r *reviewer) toldApart() {
	can := r.obtainable()
	for y := range r.b.Causes {
		for x := range y {
			if sameWork(&r.b.Causes[x], &r.b.Causes[y]) {
				continue
			}
			for _, s := range r.known() {
				if o := s.overlap(x, y, can); o > alike {
					r.say(r.b.Causes[y].Pos, "not-told-apart", "nothing that can be seen tells %s from %s%s (they overlap by %.2f of 1), and they want different work",
						r.b.Causes[y].ID, r.b.Causes[x].ID, s.says, o)
					break
				}
			}
		}
	}
}

func sameWork(x, y *rulebase.Cause) bool { return slices.Equal(remedies(x), remedies(y)) }

func remedies(c *rulebase.Cause) []int {
	var all []int
	for _, h := range c.Remedies {
		all = append(all, h.Remedy)
	}
	slices.Sort(all)
	return all
}

// listed are ids as a sentence lists them.
func listed(ids []string) string {
	if n := len(ids); n > 1 {
		return strings.Join(ids[:n-1], ", ") + " and " + ids[n-1]
	}
	return strings.Join(ids, "")
}

var _ = cmp.Compare[int]
var _ = fmt.Sprint

package review

import (
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
	if r.usable != nil {
		return r.usable
	}
	var some, all []*setting
	for i := range r.settings {
		all = append(all, &r.settings[i])
		if r.settings[i].known {
			some = append(some, &r.settings[i])
		}
	}
	if r.usable = some; len(some) == 0 {
		r.usable = all
	}
	return r.usable
}

// overlap is how much two causes, each alone, show the same in all that can be seen.
func (s *setting) overlap(x, y int, can []bool) float64 {
	all := 1.0
	for i, p := range s.p {
		if p != nil && can[i] {
			s.compared++
			if all *= affinity(p[alone(x)], p[alone(y)]); all < alike/100 {
				break
			}
		}
	}
	return all
}

// toldApart looks for causes that want different work and show the same, and for
// those that a single test tells apart and that do not name each other.
func (r *reviewer) toldApart() {
	can := r.obtainable()
	work := make([][]int, len(r.b.Causes))
	for i := range work {
		work[i] = remedies(&r.b.Causes[i])
	}
	for y := range r.b.Causes {
		r.spend(8 * y)
		for x := range y {
			if !slices.Equal(work[x], work[y]) && !r.showTheSame(x, y, can) {
				r.hardlyApart(x, y, can)
			}
		}
	}
}

// showTheSame says of two causes that nothing tells them apart, in the first
// setting where that is so.
func (r *reviewer) showTheSame(x, y int, can []bool) bool {
	a, b := &r.b.Causes[x], &r.b.Causes[y]
	for _, s := range r.known() {
		o := s.overlap(x, y, can)
		r.spend(s.takeCompared() + len(s.p)/8)
		if o > alike {
			r.say(b.Pos, "not-told-apart", "nothing that can be seen tells %s from %s%s (they overlap by %.2f of 1), and they want different work", b.ID, a.ID, s.says, o)
			return true
		}
	}
	return false
}

// hardlyApart says of two causes that look alike and do not name each other that
// a single test tells them apart.
func (r *reviewer) hardlyApart(x, y int, can []bool) {
	a, b := &r.b.Causes[x], &r.b.Causes[y]
	if named(a, b) || named(b, a) {
		return
	}
	for _, s := range r.known() {
		o := s.overlap(x, y, can)
		if o < alike/100 || r.shared(s, x, y) < littleAlike {
			continue
		}
		if test := r.onlyTest(s, x, y, o); test != "" {
			r.say(b.Pos, "look-alike-missing", "only %s tells %s from %s%s, and neither names the other in look_alikes", test, b.ID, a.ID, s.says)
			return
		}
	}
}

// onlyTest is the one test without which two causes would not be told apart; ""
// where there is none.
func (r *reviewer) onlyTest(s *setting, x, y int, overlap float64) string {
	r.spend(2 * len(r.b.Tests))
	for i := range r.b.Tests {
		t, by := &r.b.Tests[i], 1.0
		for _, symptom := range t.Yields {
			if p := s.p[symptom]; p != nil {
				by *= affinity(p[alone(x)], p[alone(y)])
			}
		}
		if by < 1 && overlap/by > alike {
			return t.ID
		}
	}
	return ""
}

func named(x, y *rulebase.Cause) bool { return slices.Contains(x.LookAlikes, y.ID) }

func remedies(c *rulebase.Cause) []int {
	var all []int
	for _, h := range c.Remedies {
		all = append(all, h.Remedy)
	}
	slices.Sort(all)
	return all
}

// lookAlikesMutual looks for look-alikes that only one of the two knows of.
func (r *reviewer) lookAlikesMutual() {
	for x := range r.b.Causes {
		c := &r.b.Causes[x]
		for _, id := range c.LookAlikes {
			if ref, _ := r.b.Lookup(id); !named(&r.b.Causes[ref.Index], c) {
				r.say(c.Pos, "look-alike-one-sided", "%s names %s as a look-alike, and %s does not name %s", c.ID, id, id, c.ID)
			}
		}
	}
}

// What a weight or a factor hardly ever is.
const (
	heaviest   = 300   // in a thousand complaints
	lightest   = 0.05  // in a thousand complaints
	farthest   = 20    // times, or its inverse
	leastHelps = 0.15  // how often a remedy helps
	partsOff   = 0.005 // by how much the causes of a part may miss its declared weight, as a share
)

// weights looks at numbers that are far from all others, and at the sums by part.
func (r *reviewer) weights() {
	b := r.b
	sums := map[string]float64{}
	for i := range b.Causes {
		c := &b.Causes[i]
		weight := 1000 * c.Prior
		sums[c.Part] += weight
		if weight > heaviest || weight < lightest {
			r.say(c.Pos, "far-weight", "%s has a weight of %g in 1,000; below %g and above %g a slip is likelier than a fact", c.ID, weight, lightest, float64(heaviest))
		}
		for _, l := range c.MoreLikely {
			if l.Times > farthest || l.Times < 1.0/farthest {
				r.say(l.When.Pos, "far-factor", "%q makes %s %g times as likely; above %d and below 1/%d a slip is likelier than a fact", l.When.Text, c.ID, l.Times, farthest, farthest)
			}
		}
		for _, h := range c.Remedies {
			if h.Chance < leastHelps {
				r.say(c.Pos, "hardly-helps", "%s helps against %s in only %g of 1 cases: nobody would begin with it", b.Remedies[h.Remedy].ID, c.ID, h.Chance)
			}
		}
	}
	for _, p := range b.Parts {
		sum := sums[p.Part]
		if math.Abs(sum-p.PerThousand) > partsOff*p.PerThousand+1e-9 {
			r.say(p.Pos, "parts-do-not-add-up", "the causes of the part %s add up to %g in 1,000, and the header says %g", p.Part, math.Round(1000*sum)/1000, p.PerThousand)
		}
		delete(sums, p.Part)
	}
	if len(b.Parts) > 0 {
		for i := range b.Causes {
			if c := &b.Causes[i]; c.Part != "" && sums[c.Part] > 0 {
				r.say(c.Pos, "parts-do-not-add-up", "%s is of the part %s, for which the header says no weight", c.ID, c.Part)
			}
		}
	}
}

// outPart is of which part some cause of a remedy must be that ends so.
var outPart = map[rulebase.Outcome]string{rulebase.UnitOut: "unit", rulebase.ModuleOut: "module"}

// remedies looks at what causes and their remedies say of each other.
func (r *reviewer) remedies() {
	b := r.b
	by := make([][]int, len(b.Remedies))
	for i := range b.Causes {
		for _, h := range b.Causes[i].Remedies {
			by[h.Remedy] = append(by[h.Remedy], i)
		}
	}
	for m := range b.Remedies {
		remedy := &b.Remedies[m]
		ofPart := func(part string) bool {
			return slices.ContainsFunc(by[m], func(c int) bool { return b.Causes[c].Part == part })
		}
		if part := outPart[remedy.EndsAs]; part != "" && len(by[m]) > 0 && !ofPart(part) {
			r.say(remedy.Pos, "outcome-against-part", "%s ends as %s, and no cause that it puts right is of the part %s", remedy.ID, remedy.EndsAs, part)
		}
		for _, c := range by[m] {
			r.ofAnother(c, m, by[m])
		}
		if p := remedy.Proof; p != nil && p.Watch >= 0 && b.Symptoms[p.Watch].Weighs && len(by[m]) > 0 {
			if !slices.ContainsFunc(by[m], func(c int) bool { return r.shows(p.Watch, c) }) {
				r.say(remedy.Pos, "proof-proves-nothing", "%s is proved by watching %s, which none of its causes changes", remedy.ID, b.Symptoms[p.Watch].ID)
			}
		}
	}
}

// ofAnother remarks on a cause that alone of its part has a remedy that serves
// causes of another part, where not a word of the two agrees.
func (r *reviewer) ofAnother(cause, remedy int, served []int) {
	b := r.b
	c, m := &b.Causes[cause], &b.Remedies[remedy]
	var others []string
	for _, o := range served {
		if o != cause && b.Causes[o].Part == c.Part {
			return
		}
		if o != cause {
			others = append(others, b.Causes[o].ID)
		}
	}
	its := wordsOf(strings.ReplaceAll(c.ID, "_", " "), c.Name, c.Part)
	does := wordsOf(strings.ReplaceAll(m.ID, "_", " "), m.Do)
	if len(others) == 0 || c.Part == "" || common(its, does) > 0 {
		return
	}
	r.say(c.Pos, "remedy-of-another", "%s is put right by %s, which else serves %s of another part, and no word of the two agrees", c.ID, m.ID, listed(others))
}

// listed are ids as a sentence lists them, the first few of many.
func listed(ids []string) string {
	if len(ids) > 3 {
		ids = append(slices.Clone(ids[:2]), "others")
	}
	if n := len(ids); n > 1 {
		return strings.Join(ids[:n-1], ", ") + " and " + ids[n-1]
	}
	return strings.Join(ids, "")
}

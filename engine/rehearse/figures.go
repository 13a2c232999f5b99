package rehearse

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"downdrop/engine"
	"downdrop/rulebase"
)

// A Share is how many of how many.
type Share struct{ Hits, Of int }

// Value is the share itself; 0 of none.
func (s Share) Value() float64 {
	if s.Of == 0 {
		return 0
	}
	return float64(s.Hits) / float64(s.Of)
}

// Interval is the 95 % interval of Wilson (1927, from memory).
func (s Share) Interval() (low, high float64) {
	if s.Of == 0 {
		return 0, 1
	}
	const z = 1.959963984540054
	n, p := float64(s.Of), s.Value()
	middle := (p + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return max(0, middle-half), min(1, middle+half)
}

func (s *Share) count(hit bool) {
	s.Of++
	if hit {
		s.Hits++
	}
}

// Figures are what the cases at one place, of one variant, came to.
type Figures struct {
	Place rulebase.Place
	Cases int

	Advice     Share   // ends with the advice that it is enough, or with a drop that is well
	Right      Share   // of those: the right set of remedies, by phone (of all calls) the right disposition
	Stated     float64 // what the advice gave itself, on the mean of the same
	Part       Share   // of those: not right, but all that was advised was needed
	Restored   Share   // the drop was well after something was tried
	CannotTell Share
	RanOut     Share

	NeedlessVisit, SecondVisit Share // by phone

	CondemnedOfCalls  Share // units condemned wrongly, of all cases
	CondemnedOfPulled Share // of those condemned
	DeclaredGood      Share // bad units declared good, of all bad units

	FalseCertainty Share // wrong advice that called itself 0.999 or more sure
	NeedlessTries  float64
	Tests, Minutes float64 // on the mean
	Forbidden      int

	Confused []Confusion
}

// A Confusion is a wrong end: what there was to do, what was advised, how often.
type Confusion struct {
	True, Advised string
	Count         int
	Numbers       []int // the first of the cases
}

// certain is from where advice counts as certain.
const certain = 0.999

// Sum sums cases up, place by place.
func Sum(all []Course) []Figures {
	var out []Figures
	for _, place := range Places() {
		f := Figures{Place: place}
		confused := map[[2]string]*Confusion{}
		for i := range all {
			if all[i].Place == place {
				f.add(&all[i], confused)
			}
		}
		if f.Cases == 0 {
			continue
		}
		f.finish(confused)
		out = append(out, f)
	}
	return out
}

func (f *Figures) add(c *Course, confused map[[2]string]*Confusion) {
	f.Cases++
	ended := c.End == Advised || c.End == Restored
	f.Advice.count(ended)
	f.Restored.count(c.End == Restored)
	f.CannotTell.count(c.End == CannotTell)
	f.RanOut.count(c.End == RanOut)
	if ended || c.Place == rulebase.Phone {
		f.Right.count(c.Right)
		f.Part.count(c.Part)
		f.Stated += c.Stated
		f.FalseCertainty.count(!c.Right && c.Stated >= certain)
		if !c.Right {
			f.confuse(c, confused)
		}
	}
	if c.Place == rulebase.Phone {
		f.NeedlessVisit.count(c.NeedlessVisit)
		f.SecondVisit.count(c.SecondVisit)
	}
	f.CondemnedOfCalls.count(c.WronglyCondemned())
	if c.Condemned {
		f.CondemnedOfPulled.count(c.WronglyCondemned())
	}
	if c.Bad {
		f.DeclaredGood.count(c.DeclaredGood)
	}
	f.NeedlessTries += float64(c.NeedlessTries)
	f.Tests += float64(c.Tests)
	f.Minutes += c.Minutes
	f.Forbidden += c.Forbidden
}

func (f *Figures) finish(confused map[[2]string]*Confusion) {
	n := float64(f.Cases)
	f.Tests /= n
	f.Minutes /= n
	f.NeedlessTries /= n
	if f.Right.Of > 0 {
		f.Stated /= float64(f.Right.Of)
	}
	for _, c := range confused {
		f.Confused = append(f.Confused, *c)
	}
	slices.SortFunc(f.Confused, func(a, b Confusion) int {
		return cmp.Or(cmp.Compare(b.Count, a.Count), strings.Compare(a.True, b.True), strings.Compare(a.Advised, b.Advised))
	})
}

// shownNumbers is how many cases of a confusion are named.
const shownNumbers = 3

func (f *Figures) confuse(c *Course, confused map[[2]string]*Confusion) {
	key := [2]string{TrueIn(c), AdvisedIn(c)}
	one := confused[key]
	if one == nil {
		one = &Confusion{True: key[0], Advised: key[1]}
		confused[key] = one
	}
	one.Count++
	if len(one.Numbers) < shownNumbers {
		one.Numbers = append(one.Numbers, c.Number)
	}
}

// TrueIn names what there was to do at the end of a case, by phone with the kind of
// disposition that was cheapest.
func TrueIn(c *Course) string {
	if c.Place == rulebase.Phone {
		return string(c.Cheapest) + ": " + Named(c.True)
	}
	return Named(c.True)
}

// AdvisedIn names what was advised.
func AdvisedIn(c *Course) string {
	if !c.Final.Possible {
		return "impossible"
	}
	if c.Place == rulebase.Phone {
		return string(c.Final.Disposition.Kind) + ": " + Named(c.Final.Advice.Lead)
	}
	return Named(c.Final.Advice.Lead)
}

// Named names an outcome by its lists of remedies.
func Named(t engine.ToDo) string {
	switch {
	case t.Outside:
		return "outside"
	case t.Nothing():
		return "nothing"
	}
	lists := make([]string, len(t.Lists))
	for i, l := range t.Lists {
		lists[i] = strings.Join(strings.Fields(l), ">")
	}
	if t.Elsewhere {
		lists = append(lists, "elsewhere")
	}
	return strings.Join(lists, " + ")
}

package plan

import (
	"cmp"
	"math"
	"slices"
)

// A policy is the base policy on one list of worlds: worlds with the same ways
// of being put right are one class, since they cost the same.
type policy struct {
	m       *Matters
	skip    int     // the remedy just done, or -1
	class   []int32 // by world; -1 where nothing is present
	sizes   []int   // by class: how many causes
	cures   [][]cure
	takes   [][]Cure // by class: chance that the remedy takes any of its causes
	on      *stage
	scratch scratch
}

// cure is a cure of the n-th cause of a class.
type cure struct {
	cause  int
	remedy int
	chance float64
}

type scratch struct {
	order, position []int
	score, upTo     []float64
	alive           []float64
	sorted          []cure
}

func (s *Scene) policy(on *stage, skip int) *policy {
	p := &policy{m: s.m, skip: skip, on: on, class: make([]int32, on.space.Len())}
	number := map[outcomeKey]int32{}
	same := make([]int, 0, 8)
	for i := range p.class {
		set := on.space.Set(i)
		if len(set) == 0 {
			p.class[i] = -1
			continue
		}
		same = same[:0]
		for _, c := range set {
			same = append(same, int(c))
		}
		key := setKey(same)
		c, ok := number[key]
		if !ok {
			c = int32(len(p.cures))
			number[key] = c
			p.add(same)
		}
		p.class[i] = c
	}
	return p
}

func setKey(set []int) outcomeKey {
	key := outcomeKey{}
	if len(set) <= 4 {
		for _, c := range set {
			key.packed = key.packed<<16 | uint64(c+1)
		}
		return key
	}
	text := make([]byte, 0, len(set)*2)
	for _, c := range set {
		text = append(text, byte(c>>8), byte(c))
	}
	key.text = string(text)
	return key
}

func (p *policy) add(set []int) {
	var cures []cure
	miss := map[int]float64{}
	for n, c := range set {
		for _, q := range p.m.Cures[c] {
			if q.Remedy == p.skip || !p.m.Remedies[q.Remedy].Open {
				continue
			}
			cures = append(cures, cure{n, q.Remedy, q.Chance})
			if _, ok := miss[q.Remedy]; !ok {
				miss[q.Remedy] = 1
			}
			miss[q.Remedy] *= 1 - q.Chance
		}
	}
	takes := make([]Cure, 0, len(miss))
	for r, q := range miss {
		takes = append(takes, Cure{r, 1 - q})
	}
	slices.SortFunc(takes, func(a, b Cure) int { return cmp.Compare(a.Remedy, b.Remedy) })
	p.sizes = append(p.sizes, len(set))
	p.cures = append(p.cures, cures)
	p.takes = append(p.takes, takes)
}

// now is the mass of every class as things stand.
func (p *policy) now() []float64 {
	mass := make([]float64, len(p.cures))
	for i, c := range p.class {
		if c >= 0 {
			mass[c] += p.on.weight[i]
		}
	}
	return mass
}

// arrange puts the open remedies in the policy's order for masses that sum to
// total, and says which comes first, -1 where none is left. Ratios are compared
// at 12 significant digits, so that rounding decides nothing.
func (p *policy) arrange(mass []float64, total float64) int {
	s := &p.scratch
	s.score = append(s.score[:0], make([]float64, len(p.m.Remedies))...)
	for c, m := range mass {
		if m == 0 {
			continue
		}
		for _, t := range p.takes[c] {
			s.score[t.Remedy] += float64(m * t.Chance)
		}
	}
	s.order = s.order[:0]
	for _, r := range p.m.ByID {
		if r == p.skip || !p.m.Remedies[r].Open {
			continue
		}
		s.score[r] = significant(ratio(s.score[r]/total, p.m.Remedies[r].Rate))
		s.order = append(s.order, r)
	}
	slices.SortStableFunc(s.order, func(a, b int) int { return cmp.Compare(s.score[b], s.score[a]) })
	if len(s.order) == 0 {
		return -1
	}
	return s.order[0]
}

func ratio(p, minutes float64) float64 {
	if p == 0 {
		return 0
	}
	return p / minutes
}

// significant rounds to 12 significant digits.
func significant(x float64) float64 {
	if x == 0 || math.IsInf(x, 0) {
		return x
	}
	unit := math.Pow(10, 11-math.Floor(math.Log10(math.Abs(x))))
	if math.IsInf(unit, 0) {
		return x
	}
	return math.Round(x*unit) / unit
}

func (p *policy) first(mass []float64) int {
	total := p.on.outside
	for _, w := range p.on.weight {
		total += w
	}
	return p.arrange(mass, total)
}

// tally adds up the prices along the order: upTo[i] is what the first i
// remedies cost, the visit where the first one that is away is reached.
func (p *policy) tally() {
	s := &p.scratch
	s.position = append(s.position[:0], make([]int, len(p.m.Remedies))...)
	s.upTo = append(s.upTo[:0], 0)
	sum, visited := 0.0, false
	for i, r := range s.order {
		s.position[r] = i
		if p.m.Remedies[r].Away && !visited {
			visited = true
			sum += p.m.Visit
		}
		sum += p.m.Remedies[r].Price
		s.upTo = append(s.upTo, sum)
	}
}

// everything is what a world costs that no remedy helps.
func (p *policy) everything() float64 {
	return p.scratch.upTo[len(p.scratch.upTo)-1] + p.m.GiveUp
}

// cost is the expected minutes for a class, along the order tallied: each
// remedy is paid while a cause is present, which only changes where one of the
// class's own cures comes.
func (p *policy) cost(class int) float64 {
	s := &p.scratch
	s.sorted = append(s.sorted[:0], p.cures[class]...)
	for i := 1; i < len(s.sorted); i++ {
		for j := i; j > 0 && s.position[s.sorted[j].remedy] < s.position[s.sorted[j-1].remedy]; j-- {
			s.sorted[j], s.sorted[j-1] = s.sorted[j-1], s.sorted[j]
		}
	}
	s.alive = s.alive[:0]
	for range p.sizes[class] {
		s.alive = append(s.alive, 1)
	}
	cost, present, paid := 0.0, 1.0, 0.0
	for i, c := range s.sorted {
		upTo := s.upTo[s.position[c.remedy]+1]
		cost += float64((upTo - paid) * present)
		paid = upTo
		s.alive[c.cause] *= 1 - c.chance
		if i+1 < len(s.sorted) && s.sorted[i+1].remedy == c.remedy {
			continue
		}
		if present = presence(s.alive); present == 0 {
			return cost
		}
	}
	return cost + float64((p.everything()-paid)*present)
}

// presence is the chance that any cause is left.
func presence(alive []float64) float64 {
	none := 1.0
	for _, a := range alive {
		none *= 1 - a
	}
	return 1 - none
}

// Minutes is the action's price plus the mean, over its results, of the base
// policy's minutes; changes says whether some result makes another remedy the
// first to try.
func (s *Scene) Minutes(a *Action) (minutes float64, changes bool) {
	r := s.results(s.narrow, a)
	p := s.policy(r.stage, a.Remedy)
	mass := make([][]float64, r.n)
	flat := make([]float64, r.n*len(p.cures))
	for v := range mass {
		mass[v] = flat[v*len(p.cures) : (v+1)*len(p.cures)]
	}
	lost := make([]float64, r.n) // nothing is present, or outside
	for v, q := range r.outside {
		lost[v] = r.stage.outside * q
	}
	for i, k := range r.kind {
		w := r.stage.weight[i]
		into := p.class[i]
		for v, q := range r.p[k] {
			if into < 0 {
				lost[v] += float64(w * q)
			} else {
				mass[v][into] += float64(w * q)
			}
		}
	}
	minutes = a.Price
	for v := range mass {
		total := lost[v]
		for _, m := range mass[v] {
			total += m
		}
		if total == 0 {
			continue
		}
		if p.arrange(mass[v], total) != s.first {
			changes = true
		}
		if r.well[v] {
			continue
		}
		p.tally()
		minutes += float64(lost[v] * p.everything())
		for c, m := range mass[v] {
			if m > 0 {
				minutes += float64(m * p.cost(c))
			}
		}
	}
	return minutes, changes
}

package plan

import (
	"cmp"
	"encoding/binary"
	"math"
	"slices"
)

// cureClasses numbers the cureClasses in which worlds can be put right. Causes with the same
// cures are one kind of cause, and worlds with the same kinds are one class:
// they cost the same. What is worked out for a class serves every action.
type cureClasses struct {
	m       *Matters
	number  map[string]int32 // of kinds of causes, by their cures
	kinds   []causeKind
	plain   []int32 // by cause: its kind when no remedy has just been done
	packed  map[uint64]int32
	spelled map[string]int32
	classes []class
	key     []int32
	text    []byte
}

type causeKind struct {
	cures []Cure
	sure  bool // every cure takes it away for sure
}

type class struct {
	kinds []int32
	takes []Cure // chance that a remedy takes any of its causes
	sure  bool
}

func newCureClasses(m *Matters) *cureClasses {
	w := &cureClasses{m: m, number: map[string]int32{}, packed: map[uint64]int32{}, spelled: map[string]int32{}}
	for c := range m.Cures {
		w.plain = append(w.plain, w.kind(c, -1))
	}
	return w
}

// kind numbers a cause by its open cures, without the remedy just done.
func (w *cureClasses) kind(cause, skip int) int32 {
	var cures []Cure
	w.text = w.text[:0]
	sure := true
	for _, q := range w.m.Cures[cause] {
		if q.Remedy == skip || !w.m.Remedies[q.Remedy].Open {
			continue
		}
		cures = append(cures, q)
		sure = sure && q.Chance == 1
		w.text = binary.LittleEndian.AppendUint32(w.text, uint32(q.Remedy))
		w.text = binary.LittleEndian.AppendUint64(w.text, math.Float64bits(q.Chance))
	}
	n, ok := w.number[string(w.text)]
	if !ok {
		n = int32(len(w.kinds))
		w.number[string(w.text)] = n
		w.kinds = append(w.kinds, causeKind{cures, sure})
	}
	return n
}

// class numbers a set of causes; kindOf gives a cause's kind.
func (w *cureClasses) class(set []uint16, kindOf []int32) int32 {
	w.key = w.key[:0]
	for _, c := range set {
		k := kindOf[c]
		// Two causes that the same remedies take away for sure cost what one does.
		if at, twice := slices.BinarySearch(w.key, k); !twice || !w.kinds[k].sure {
			w.key = slices.Insert(w.key, at, k)
		}
	}
	if len(w.key) <= 4 && len(w.kinds) < 1<<16-1 {
		packed := uint64(0)
		for _, k := range w.key {
			packed = packed<<16 | uint64(k+1)
		}
		n, ok := w.packed[packed]
		if !ok {
			n = w.add()
			w.packed[packed] = n
		}
		return n
	}
	w.text = w.text[:0]
	for _, k := range w.key {
		w.text = binary.LittleEndian.AppendUint32(w.text, uint32(k))
	}
	n, ok := w.spelled[string(w.text)]
	if !ok {
		n = w.add()
		w.spelled[string(w.text)] = n
	}
	return n
}

func (w *cureClasses) add() int32 {
	c := class{kinds: slices.Clone(w.key), sure: true}
	for _, k := range c.kinds {
		c.sure = c.sure && w.kinds[k].sure
		for _, q := range w.kinds[k].cures {
			at := slices.IndexFunc(c.takes, func(t Cure) bool { return t.Remedy == q.Remedy })
			if at < 0 {
				c.takes = append(c.takes, q)
			} else {
				c.takes[at].Chance = 1 - (1-c.takes[at].Chance)*(1-q.Chance)
			}
		}
	}
	w.classes = append(w.classes, c)
	return int32(len(w.classes) - 1)
}

// A basePolicy is the base basePolicy for the worlds of one stage.
type basePolicy struct {
	w     *cureClasses
	skip  int     // the remedy just done, or -1
	of    []int32 // by world: which of used its class is; -1 where nothing is present
	used  []int32 // classes
	order []int
	idle  []int
	score []float64
	place []int     // by remedy: its place in order
	upTo  []float64 // what the first i remedies cost, the visit included
	alive []float64
	steps []cureStep
	first []int     // by kind of cause: the place of the first of its cures, -1: not looked up for this order
	lone  []float64 // by kind of cause: the minutes of a world with one of it, -1: not worked out for this order
}

// cureStep is a cure of the n-th cause of a class, in the order of the policy.
type cureStep struct {
	place, cause int
	chance       float64
}

// policy sorts a stage's worlds into classes. from says which world of the narrow
// stage each comes from, nil: the same place; a world that the remedy just done
// has nothing to do with keeps its class.
func (s *Scene) policy(on *stage, from []int32, skip int) *basePolicy {
	p := &basePolicy{w: s.ways, skip: skip, of: make([]int32, on.space.Len())}
	kindOf := s.ways.plain
	var touched []bool // by cause
	if skip >= 0 {
		kindOf = slices.Clone(kindOf)
		touched = make([]bool, len(s.m.Cures))
		for c, cures := range s.m.Cures {
			if slices.ContainsFunc(cures, func(q Cure) bool { return q.Remedy == skip }) {
				kindOf[c], touched[c] = s.ways.kind(c, skip), true
			}
		}
	}
	s.local = s.local[:0]
	for i := range p.of {
		set := on.space.Set(i)
		if len(set) == 0 {
			p.of[i] = -1
			continue
		}
		c := s.sameClass(i, set, from, touched)
		if c < 0 {
			c = int(s.ways.class(set, kindOf))
		}
		for len(s.local) <= c {
			s.local = append(s.local, 0)
		}
		if s.local[c] == 0 {
			p.used = append(p.used, int32(c))
			s.local[c] = int32(len(p.used))
		}
		p.of[i] = s.local[c] - 1
	}
	return p
}

// sameClass is the class that a world had before a remedy, where the remedy
// touched none of its causes; -1 otherwise.
func (s *Scene) sameClass(i int, set []uint16, from []int32, touched []bool) int {
	if s.base == nil || touched == nil {
		return -1
	}
	if from != nil {
		i = int(from[i])
	}
	for _, c := range s.narrow.space.Set(i) {
		if touched[c] {
			return -1
		}
	}
	if len(set) != len(s.narrow.space.Set(i)) {
		return -1
	}
	return int(s.base.used[s.base.of[i]])
}

// now is the mass of every class as things stand.
func (p *basePolicy) now(on *stage) []float64 {
	mass := make([]float64, len(p.used))
	for i, c := range p.of {
		if c >= 0 {
			mass[c] += on.weight[i]
		}
	}
	return mass
}

// arrange puts the open remedies in the policy's order for masses that sum to
// total, and says which comes first, -1 where none is left. Ratios are compared
// at 12 significant digits, so that rounding decides nothing.
func (p *basePolicy) arrange(mass []float64, total float64) int {
	remedies := p.w.m.Remedies
	if p.score == nil {
		p.score = make([]float64, len(remedies))
	}
	clear(p.score)
	for i, m := range mass {
		if m == 0 {
			continue
		}
		for _, t := range p.w.classes[p.used[i]].takes {
			p.score[t.Remedy] += float64(m * t.Chance)
		}
	}
	// Those that take nothing come last, as they stand: by id.
	p.order, p.idle = p.order[:0], p.idle[:0]
	for _, r := range p.w.m.ByID {
		switch {
		case r == p.skip || !remedies[r].Open:
		case p.score[r] == 0:
			p.idle = append(p.idle, r)
		default:
			p.score[r] = significant(ratio(p.score[r]/total, remedies[r].Rate))
			p.order = append(p.order, r)
		}
	}
	slices.SortStableFunc(p.order, func(a, b int) int { return cmp.Compare(p.score[b], p.score[a]) })
	p.order = append(p.order, p.idle...)
	if len(p.order) == 0 {
		return -1
	}
	return p.order[0]
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
	unit := powerOfTen(11 - int(math.Floor(math.Log10(math.Abs(x)))))
	if math.IsInf(unit, 0) {
		return x
	}
	return math.Round(x*unit) / unit
}

var tens = func() (t [40]float64) {
	for i := range t {
		t[i] = math.Pow(10, float64(i))
	}
	return t
}()

func powerOfTen(n int) float64 {
	if n >= 0 && n < len(tens) {
		return tens[n]
	}
	return math.Pow(10, float64(n))
}

// tally adds up the prices along the order: upTo[i] is what the first i
// remedies cost, the visit where the first one that is away is reached.
func (p *basePolicy) tally() {
	if p.place == nil {
		p.place = make([]int, len(p.w.m.Remedies))
	}
	p.upTo = append(p.upTo[:0], 0)
	p.lone = p.lone[:0]
	p.first = p.first[:0]
	for range p.w.kinds {
		p.lone = append(p.lone, -1)
		p.first = append(p.first, -1)
	}
	sum, visited := 0.0, false
	for i, r := range p.order {
		p.place[r] = i
		if p.w.m.Remedies[r].Away && !visited {
			visited = true
			sum += p.w.m.Visit
		}
		sum += p.w.m.Remedies[r].Price
		p.upTo = append(p.upTo, sum)
	}
}

// everything is what a world costs that no remedy helps.
func (p *basePolicy) everything() float64 { return p.upTo[len(p.upTo)-1] + p.w.m.GiveUp }

// cost is the expected minutes for a class, along the order tallied.
func (p *basePolicy) cost(used int) float64 {
	c := &p.w.classes[p.used[used]]
	if len(c.kinds) == 1 {
		k := c.kinds[0]
		if p.lone[k] < 0 {
			p.lone[k] = p.costOf(c)
		}
		return p.lone[k]
	}
	return p.costOf(c)
}

func (p *basePolicy) costOf(c *class) float64 {
	if !c.sure {
		return p.costUnsure(c)
	}
	// Every cause goes with the first of its cures: the last of these ends it.
	last := -1
	for _, k := range c.kinds {
		if p.first[k] < 0 {
			p.first[k] = len(p.order)
			for _, q := range p.w.kinds[k].cures {
				p.first[k] = min(p.first[k], p.place[q.Remedy])
			}
		}
		last = max(last, p.first[k])
	}
	if last >= len(p.order) {
		return p.everything()
	}
	return p.upTo[last+1]
}

// costUnsure pays each remedy while a cause is present, which only changes
// where one of the class's own cures comes.
func (p *basePolicy) costUnsure(c *class) float64 {
	p.steps, p.alive = p.steps[:0], p.alive[:0]
	for n, k := range c.kinds {
		p.alive = append(p.alive, 1)
		for _, q := range p.w.kinds[k].cures {
			p.steps = append(p.steps, cureStep{p.place[q.Remedy], n, q.Chance})
		}
	}
	// There are few: sorting by insertion beats the library's.
	for i := 1; i < len(p.steps); i++ {
		for j := i; j > 0 && p.steps[j].place < p.steps[j-1].place; j-- {
			p.steps[j], p.steps[j-1] = p.steps[j-1], p.steps[j]
		}
	}
	cost, present, paid := 0.0, 1.0, 0.0
	for i, s := range p.steps {
		upTo := p.upTo[s.place+1]
		cost += float64((upTo - paid) * present)
		paid = upTo
		p.alive[s.cause] *= 1 - s.chance
		if i+1 < len(p.steps) && p.steps[i+1].place == s.place {
			continue
		}
		if present = presence(p.alive); present == 0 {
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
	p, n, mass, lost, well := s.spread(a)
	minutes = a.Price
	for v := range lost {
		m, first := p.after(mass[v*n:(v+1)*n], lost[v], well[v])
		minutes += m
		changes = changes || first != s.first && first != unseen
	}
	return minutes, changes
}

// Changes is what Minutes says of it, without the minutes.
func (s *Scene) Changes(a *Action) bool {
	p, n, mass, lost, _ := s.spread(a)
	for v := range lost {
		total := lost[v]
		for _, m := range mass[v*n : (v+1)*n] {
			total += m
		}
		if total > 0 && p.arrange(mass[v*n:(v+1)*n], total) != s.first {
			return true
		}
	}
	return false
}

// spread is the mass of every result of an action: by result, in each of the n classes
// of the policy that counts after it, and lost where nothing is present, or outside.
func (s *Scene) spread(a *Action) (p *basePolicy, n int, mass, lost []float64, well []bool) {
	s.forMinutes()
	r := s.results(s.narrow, a)
	p = s.base
	if r.stage != s.narrow || a.Remedy >= 0 {
		p = s.policy(r.stage, r.from, a.Remedy)
	}
	n = len(p.used)
	mass = make([]float64, r.n*n)
	lost = make([]float64, r.n)
	for v, q := range r.outside {
		lost[v] = r.stage.outside * q
	}
	for i, k := range r.kind {
		w, into := r.stage.weight[i], int(p.of[i])
		if into < 0 {
			for v, q := range r.p[k] {
				lost[v] += float64(w * q)
			}
			continue
		}
		for v, q := range r.p[k] {
			mass[v*n+into] += float64(w * q)
		}
	}
	return p, n, mass, lost, r.well
}

// unseen stands for the first remedy after a result that cannot be.
const unseen = -2

// after is the base policy's minutes after one result, weighed by the result's
// probability, and the remedy it tries first.
func (p *basePolicy) after(mass []float64, lost float64, well bool) (minutes float64, first int) {
	total := lost
	for _, m := range mass {
		total += m
	}
	if total == 0 {
		return 0, unseen
	}
	first = p.arrange(mass, total)
	if well {
		return 0, first
	}
	p.tally()
	minutes = float64(lost * p.everything())
	for c, m := range mass {
		if m > 0 {
			minutes += float64(m * p.cost(c))
		}
	}
	return minutes, first
}

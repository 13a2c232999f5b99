package plan_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"
	"time"

	"downdrop/engine/belief"
	"downdrop/engine/hypothesis"
	"downdrop/engine/plan"
	"downdrop/testdata/support"
)

// first makes a symptom of two values that shows the first exactly where a formula holds.
func exactly(f *hypothesis.Formula) *belief.Symptom {
	return belief.FirstMatch(2, []belief.Row{{When: f, P: []float64{1, 0}}, {When: hypothesis.Constant(true), P: []float64{0, 1}}})
}

// Six states, five sure tests (Pattipati and Alexandridis 1990, table from
// memory, gains computed four ways): s0 is the empty set.
func TestGainsOfThePublishedTable(t *testing.T) {
	p := []float64{.01, .02, .10, .05, .12}
	rows := []string{"01001", "00110", "10011", "11000", "11110"}
	want := []float64{0.8414646362081755, 0.6800770457282799, 0.5842388116428558, 0.7950402793845222, 0.49991595816452805}
	odds := make([]float64, 5)
	for i := range odds {
		odds[i] = p[i] / .70
	}
	system := hypothesis.NewSystem(nil)
	b := belief.Prior(system, system.Settle(hypothesis.Enumerate(5, 1)), odds, 1, 0, 0, &belief.Desk{})
	m := &plan.Matters{Lists: []int{0, 1, 2, 3, 4}, Cures: make([][]plan.Cure, 5)}
	scene := plan.New(b, system, m)
	if h := scene.Entropy(); !(math.Abs(h-1.454873) <= 1e-6) {
		t.Errorf("entropy %v, want 1.454873", h)
	}
	for test := range 5 {
		var fails []*hypothesis.Formula
		for s, row := range rows {
			if row[test] == '1' {
				fails = append(fails, hypothesis.Cause(s))
			}
		}
		a := &plan.Action{Views: []plan.View{{Symptom: exactly(hypothesis.Or(fails...)), Report: -1}}, Remedy: -1}
		if got := scene.Gain(a); !(math.Abs(got-want[test]) <= 1e-12) {
			t.Errorf("test %d: gain %v, want %v", test+1, got, want[test])
		}
	}
}

// world is a set of causes with its weight, for the slow versions.
type world struct {
	set    []int
	weight float64
}

// scenario is a random problem, small enough for the slow versions.
type scenario struct {
	causes   int
	worlds   []world
	outside  float64
	belief   *belief.Belief
	system   *hypothesis.System
	symptoms []*belief.Symptom
	m        *plan.Matters
}

func newScenario(r *rand.Rand, causes, k, symptoms int) *scenario {
	s := &scenario{causes: causes, system: hypothesis.NewSystem(nil)}
	space := hypothesis.Enumerate(causes, k)
	odds := make([]float64, causes)
	for i := range odds {
		odds[i] = 0.3 * r.Float64()
	}
	s.belief = belief.Prior(s.system, s.system.Settle(space), odds, 0.5, 0.1*float64(r.IntN(2)), 0, &belief.Desk{})
	for range symptoms {
		s.symptoms = append(s.symptoms, randomSymptom(r, causes))
	}
	s.belief.Observe(belief.Seen(s.symptoms[0], 0, 0.9))
	total := s.belief.Total()
	for i, w := range s.belief.Weight {
		var set []int
		for _, c := range space.Set(i) {
			set = append(set, int(c))
		}
		s.worlds = append(s.worlds, world{set, w / total})
	}
	s.outside = s.belief.Outside / total
	s.m = randomMatters(r, causes, s.symptoms[1])
	return s
}

func randomSymptom(r *rand.Rand, causes int) *belief.Symptom {
	n := 2 + r.IntN(2)
	row := func(when *hypothesis.Formula) belief.Row {
		p, sum := make([]float64, n), 0.0
		for i := range p {
			p[i] = r.Float64()
			sum += p[i]
		}
		for i := range p {
			p[i] /= sum
		}
		return belief.Row{When: when, P: p}
	}
	c := func() *hypothesis.Formula { return hypothesis.Cause(r.IntN(causes)) }
	if r.IntN(4) == 0 {
		pair := func(q float64) []float64 { return []float64{q, 1 - q} }
		return belief.Independent(0, []belief.Row{{When: c(), P: pair(r.Float64())}, {When: hypothesis.And(c(), c()), P: pair(r.Float64())}, {When: hypothesis.Constant(true), P: pair(.02)}})
	}
	rows := []belief.Row{row(hypothesis.Or(c(), c())), row(hypothesis.Not(c()))}
	if r.IntN(2) == 0 {
		rows = append(rows, row(hypothesis.Constant(true)))
	}
	return belief.FirstMatch(n, rows)
}

func randomMatters(r *rand.Rand, causes int, complaint *belief.Symptom) *plan.Matters {
	m := &plan.Matters{Visit: 50, GiveUp: 200}
	remedies := 2 + r.IntN(4)
	for i := range remedies {
		x := 1 + float64(r.IntN(30))
		m.Remedies = append(m.Remedies, plan.Remedy{Price: x, Rate: x, Away: r.IntN(3) == 0, Open: r.IntN(6) > 0})
		m.ByID = append(m.ByID, i)
	}
	for c := range causes {
		m.Lists = append(m.Lists, r.IntN(causes))
		var cures []plan.Cure
		for i := range remedies {
			if r.IntN(3) == 0 {
				cures = append(cures, plan.Cure{Remedy: i, Chance: []float64{1, 1, .5, .7}[r.IntN(4)]})
			}
		}
		m.Cures = append(m.Cures, cures)
		_ = c
	}
	if r.IntN(3) > 0 {
		m.Complaint = &plan.Complaint{Symptom: complaint, Reported: 0, Well: 1}
	}
	return m
}

// branch is a way an action can turn out: the world before and after, the results and their chance.
type branch struct {
	before, after []int
	outside       bool
	result        string
	well          bool
	p             float64
}

// branches lists everything that an action can show, world by world.
func (s *scenario) branches(a *plan.Action) []branch {
	var all []branch
	add := func(w world, after []int, outside bool, chance float64) {
		parts := [][]float64{}
		for _, v := range a.Views {
			p := make([]float64, v.Symptom.Values())
			switch {
			case outside && v.Keeps:
				p[s.m.Complaint.Reported] = 1
			case outside:
				for i := range p {
					p[i] = 1 / float64(len(p))
				}
			default:
				copy(p, s.shows(v.Symptom, w.set))
			}
			if v.Report >= 0 {
				sum := 0.0
				for i := range p {
					k := (1 - v.Sure) / float64(len(p))
					if i == v.Report {
						k += v.Sure
					}
					p[i] *= k
					sum += p[i]
				}
				for i := range p {
					p[i] /= sum
				}
			}
			parts = append(parts, p)
		}
		c := s.m.Complaint
		watched := a.Watched && c != nil
		if watched {
			p := make([]float64, c.Symptom.Values())
			if outside {
				p[c.Reported] = 1
			} else {
				copy(p, s.shows(c.Symptom, after))
			}
			parts = append(parts, p)
		}
		var each func(i int, result string, p float64)
		each = func(i int, result string, p float64) {
			if i < len(parts) {
				for v, q := range parts[i] {
					each(i+1, result+fmt.Sprint(v), p*q)
				}
				return
			}
			well := watched && result[len(result)-1:] == fmt.Sprint(c.Well)
			if c != nil && !watched {
				for i, v := range a.Views {
					well = well || v.Symptom == c.Symptom && result[i+1:i+2] == fmt.Sprint(c.Well)
				}
			}
			all = append(all, branch{w.set, after, outside, result, well, p})
		}
		each(0, "r", w.weight*chance)
	}
	for _, w := range s.worlds {
		for _, way := range ways(w.set, a.Takes) {
			add(w, way.left, false, way.p)
		}
	}
	add(world{nil, s.outside}, nil, true, 1)
	return all
}

func (s *scenario) shows(symptom *belief.Symptom, set []int) []float64 {
	one := hypothesis.Of(s.causes, [][]int{set})
	k := symptom.Sort(s.system.Settle(one), &belief.Desk{})
	return k.P[k.Of[0]]
}

type way struct {
	left []int
	p    float64
}

func ways(set []int, takes []hypothesis.Taking) []way {
	all := []way{{nil, 1}}
	for _, c := range set {
		chance := 0.0
		for _, t := range takes {
			if t.Cause == c {
				chance = t.Chance
			}
		}
		var next []way
		for _, w := range all {
			if chance < 1 {
				next = append(next, way{append(slices.Clone(w.left), c), w.p * (1 - chance)})
			}
			if chance > 0 {
				next = append(next, way{w.left, w.p * chance})
			}
		}
		all = next
	}
	return all
}

// of names the set of what the causes of a branch have, by cause.
func of(b branch, numbers []int) string {
	if b.outside {
		return "outside"
	}
	var lists []int
	for _, c := range b.before {
		lists = append(lists, numbers[c])
	}
	slices.Sort(lists)
	return fmt.Sprint(slices.Compact(lists))
}

// slowGain is H(outcome) - sum over results P(result) H(outcome given result).
func (s *scenario) slowGain(a *plan.Action, by []int) float64 {
	joint := map[string]map[string]float64{}
	outcome := map[string]float64{}
	for _, b := range s.branches(a) {
		if joint[b.result] == nil {
			joint[b.result] = map[string]float64{}
		}
		joint[b.result][of(b, by)] += b.p
		outcome[of(b, by)] += b.p
	}
	entropy := func(p map[string]float64) (h, sum float64) {
		for _, x := range p {
			sum += x
		}
		for _, x := range p {
			if x > 0 {
				h -= x / sum * math.Log2(x/sum)
			}
		}
		return h, sum
	}
	gain, _ := entropy(outcome)
	for _, p := range joint {
		h, sum := entropy(p)
		if sum > 0 {
			gain -= sum * h
		}
	}
	return gain
}

// slowMinutes plays the base policy in every branch after every result.
func (s *scenario) slowMinutes(a *plan.Action) float64 {
	byResult := map[string][]branch{}
	for _, b := range s.branches(a) {
		byResult[b.result] = append(byResult[b.result], b)
	}
	minutes := a.Price
	for _, all := range byResult {
		if all[0].well {
			continue
		}
		order := s.order(all, a.Remedy)
		for _, b := range all {
			if b.p > 0 {
				minutes += b.p * s.play(b, order)
			}
		}
	}
	return minutes
}

func (s *scenario) chance(remedy, cause int) float64 {
	for _, q := range s.m.Cures[cause] {
		if q.Remedy == remedy {
			return q.Chance
		}
	}
	return 0
}

func (s *scenario) order(all []branch, skip int) []int {
	type scored struct {
		r     int
		ratio float64
	}
	total := 0.0
	for _, b := range all {
		total += b.p
	}
	var order []scored
	for _, r := range s.m.ByID {
		if r == skip || !s.m.Remedies[r].Open {
			continue
		}
		p := 0.0
		for _, b := range all {
			miss := 1.0
			for _, c := range b.after {
				miss *= 1 - s.chance(r, c)
			}
			p += b.p * (1 - miss)
		}
		ratio, _ := strconv.ParseFloat(fmt.Sprintf("%.11e", p/total/s.m.Remedies[r].Rate), 64)
		order = append(order, scored{r, ratio})
	}
	slices.SortStableFunc(order, func(a, b scored) int {
		switch {
		case a.ratio > b.ratio:
			return -1
		case a.ratio < b.ratio:
			return 1
		}
		return 0
	})
	var out []int
	for _, o := range order {
		out = append(out, o.r)
	}
	return out
}

// play is the expected minutes of trying remedies in order until no cause is left.
func (s *scenario) play(b branch, order []int) float64 {
	lost := len(b.after) == 0
	states := map[string]float64{fmt.Sprint(b.after): 1}
	sets := map[string][]int{fmt.Sprint(b.after): b.after}
	minutes, visited := 0.0, false
	present := func() float64 {
		if lost {
			return 1
		}
		p := 0.0
		for k, x := range states {
			if len(sets[k]) > 0 {
				p += x
			}
		}
		return p
	}
	for _, r := range order {
		if s.m.Remedies[r].Away && !visited {
			visited = true
			minutes += s.m.Visit * present()
		}
		minutes += s.m.Remedies[r].Price * present()
		next := map[string]float64{}
		for k, x := range states {
			var takes []hypothesis.Taking
			for _, c := range sets[k] {
				takes = append(takes, hypothesis.Taking{Cause: c, Chance: s.chance(r, c)})
			}
			for _, w := range ways(sets[k], takes) {
				key := fmt.Sprint(w.left)
				sets[key] = w.left
				next[key] += x * w.p
			}
		}
		states = next
	}
	return minutes + s.m.GiveUp*present()
}

func (s *scenario) actions(r *rand.Rand) []*plan.Action {
	view := func() plan.View {
		v := plan.View{Symptom: s.symptoms[r.IntN(len(s.symptoms))], Report: -1}
		if r.IntN(3) == 0 {
			v.Report, v.Sure = r.IntN(v.Symptom.Values()), 0.8
		}
		v.Keeps = s.m.Complaint != nil && v.Symptom == s.m.Complaint.Symptom && r.IntN(2) == 0
		return v
	}
	test := &plan.Action{Price: 4, Views: []plan.View{view()}, Remedy: -1}
	one, other := view(), view()
	for other.Symptom == one.Symptom {
		other = view() // a test yields a symptom once
	}
	joint := &plan.Action{Price: 7, Views: []plan.View{one, other}, Remedy: -1}
	swap := &plan.Action{Price: 9, Views: []plan.View{view()}, Takes: []hypothesis.Taking{{Cause: 0, Chance: 1}}, Watched: true, Remedy: -1}
	all := []*plan.Action{test, joint, swap}
	for i, x := range s.m.Remedies {
		a := &plan.Action{Price: x.Price, Watched: true, Remedy: i}
		for c := range s.causes {
			if q := s.chance(i, c); q > 0 {
				a.Takes = append(a.Takes, hypothesis.Taking{Cause: c, Chance: q})
			}
		}
		all = append(all, a)
	}
	return all
}

func TestWorthAgreesWithTheDefinition(t *testing.T) {
	for seed := range support.Deep(t, 150) {
		r := rand.New(rand.NewPCG(uint64(seed), 3))
		s := newScenario(r, 2+r.IntN(4), 1+r.IntN(3), 4)
		scene := plan.New(s.belief, s.system, s.m)
		phone, asks := *s.m, []int{r.IntN(3), r.IntN(3), r.IntN(3)}
		calls := make([]int, len(s.m.Lists)) // equal for equal lists
		for c, list := range s.m.Lists {
			calls[c] = asks[list%3]
		}
		phone.Calls = calls
		byPhone := plan.New(s.belief, s.system, &phone)
		for i, a := range s.actions(r) {
			if got, want := scene.Gain(a), s.slowGain(a, s.m.Lists); !(math.Abs(got-want) <= 1e-10) {
				t.Fatalf("seed %d, action %d: gain %v, want %v", seed, i, got, want)
			}
			if got, call := byPhone.Gains(a); !(math.Abs(got-s.slowGain(a, s.m.Lists)) <= 1e-10) || !(math.Abs(call-s.slowGain(a, calls)) <= 1e-10) {
				t.Fatalf("seed %d, action %d: by phone %v and %v, want %v and %v", seed, i, got, call, s.slowGain(a, s.m.Lists), s.slowGain(a, calls))
			}
			if got, _ := scene.Minutes(a); !(math.Abs(got-s.slowMinutes(a)) <= 1e-9*got) {
				t.Fatalf("seed %d, action %d: minutes %v, want %v", seed, i, got, s.slowMinutes(a))
			}
		}
	}
}

// BenchmarkOrder puts 60 tests and 40 remedies in order on all triples of 100
// causes after 12 findings, summed over the likeliest that hold 99.9 % of the mass.
func BenchmarkOrder(b *testing.B) {
	l := newLarge()
	b.ReportAllocs()
	for b.Loop() {
		scene := plan.New(l.belief, l.system, l.m)
		for _, a := range l.tests {
			scene.Minutes(a)
		}
		for _, a := range l.remedies {
			scene.Minutes(a)
		}
	}
	b.ReportMetric(float64(len(l.belief.Likeliest(0.999))), "worlds")
}

// BenchmarkGains computes 60 gains, exactly, over all triples; the peer computes
// one by its definition.
func BenchmarkGains(b *testing.B) {
	l := newLarge()
	start := time.Now()
	l.gainByDefinition(l.tests[0])
	slow := time.Since(start) * time.Duration(len(l.tests))
	b.ReportAllocs()
	for b.Loop() {
		scene := plan.New(l.belief, l.system, l.m)
		for _, a := range l.tests {
			scene.Gain(a)
		}
	}
	b.ReportMetric(float64(len(belief.Matter(l.belief.Weight, 1e-12))), "worlds")
	b.ReportMetric(float64(slow.Nanoseconds())*float64(b.N)/float64(b.Elapsed().Nanoseconds()), "x-faster-than-by-definition")
}

type large struct {
	system          *hypothesis.System
	belief          *belief.Belief
	m               *plan.Matters
	tests, remedies []*plan.Action
}

func newLarge() *large {
	r := rand.New(rand.NewPCG(1, 9))
	var conditions []*hypothesis.Formula
	for i := range 80 {
		var args []*hypothesis.Formula
		for range 2 + r.IntN(4) {
			args = append(args, hypothesis.Cause(r.IntN(100)))
		}
		if i > 0 && r.IntN(2) == 0 {
			args = append(args, hypothesis.Condition(r.IntN(i)))
		}
		conditions = append(conditions, hypothesis.Or(args...))
	}
	l := &large{system: hypothesis.NewSystem(conditions)}
	odds := make([]float64, 100)
	for i := range odds {
		odds[i] = 0.002 + 0.03*r.Float64()
	}
	l.belief = belief.Prior(l.system, l.system.Settle(hypothesis.Enumerate(100, 3)), odds, 0.1, 0.015, 0, &belief.Desk{})
	// The findings are what two causes that are really there would show.
	truth := l.system.Settle(hypothesis.Of(100, [][]int{{17, 63}}))
	l.m = &plan.Matters{Visit: 120, GiveUp: 240}
	for c := range 100 {
		l.m.Lists = append(l.m.Lists, c%40)
		l.m.Cures = append(l.m.Cures, []plan.Cure{{Remedy: c % 40, Chance: 1}})
	}
	for i := range 40 {
		x := 5 + float64(r.IntN(30))
		l.m.Remedies = append(l.m.Remedies, plan.Remedy{Price: x, Rate: x, Away: i%2 == 0, Open: true})
		l.m.ByID = append(l.m.ByID, i)
	}
	for i := range 60 {
		var rows []belief.Row
		for j := range 8 {
			when := hypothesis.Condition(r.IntN(80))
			if j == 7 {
				when = hypothesis.Constant(true)
			}
			main := r.IntN(3)
			p := []float64{.05, .05, .05}
			p[main] = .9
			rows = append(rows, belief.Row{When: when, P: p})
		}
		s := belief.FirstMatch(3, rows)
		if i == 0 {
			l.m.Complaint = &plan.Complaint{Symptom: s, Reported: 0, Well: 1}
		}
		if i < 12 {
			k := s.Sort(truth, &belief.Desk{})
			l.belief.Observe(belief.Seen(s, draw(r, k.P[k.Of[0]]), 0.97))
		}
		l.tests = append(l.tests, &plan.Action{Price: 3, Views: []plan.View{{Symptom: s, Report: -1}}, Remedy: -1})
	}
	for i := range 40 {
		a := &plan.Action{Price: l.m.Remedies[i].Price, Watched: true, Remedy: i}
		for c := i; c < 100; c += 40 {
			a.Takes = append(a.Takes, hypothesis.Taking{Cause: c, Chance: 1})
		}
		l.remedies = append(l.remedies, a)
	}
	return l
}

func draw(r *rand.Rand, p []float64) int {
	x := r.Float64()
	for v, q := range p {
		if x -= q; x < 0 {
			return v
		}
	}
	return len(p) - 1
}

// gainByDefinition keeps the joint distribution of outcome and result in a table
// and takes both entropies.
func (l *large) gainByDefinition(a *plan.Action) float64 {
	b := l.belief
	k := a.Views[0].Symptom.Sort(b.Settled, &belief.Desk{})
	number := map[string]int{}
	var joint [][3]float64
	for i, w := range b.Weight {
		var lists []int
		for _, c := range b.Now.Set(i) {
			lists = append(lists, l.m.Lists[c])
		}
		slices.Sort(lists)
		key := fmt.Sprint(slices.Compact(lists))
		n, ok := number[key]
		if !ok {
			n = len(joint)
			number[key] = n
			joint = append(joint, [3]float64{})
		}
		for v, p := range k.P[k.Of[i]] {
			joint[n][v] += w * p
		}
	}
	h := func(x float64) float64 {
		if x <= 0 {
			return 0
		}
		return -x * math.Log2(x)
	}
	gain := 0.0
	for _, row := range joint {
		gain += h(row[0] + row[1] + row[2])
		for _, x := range row {
			gain -= h(x)
		}
	}
	return gain
}

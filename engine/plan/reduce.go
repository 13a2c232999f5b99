package plan

import (
	"encoding/binary"
	"fmt"
	"slices"

	"downdrop/engine/belief"
	"downdrop/engine/hypothesis"
)

// A Trial is an action on offer, with what a model asks of it beyond its worth.
type Trial struct {
	Action *Action
	Sure   []float64 // by view: how sure what is reported of it will be
	Once   []bool    // by view: what somebody remembers, which work does not change
	Seen   []bool    // by view: it was seen in this state of work, and is only seen anew after work
}

// A reduction makes a model of a scene: the likeliest worlds one by one; the rest of
// them by what there is to do, each outcome one state that shows what its worlds show
// on average; what is left as one more state; and outside.
type reduction struct {
	s      *Scene
	m      *Model
	sets   [][]int
	place  map[string]int
	many   []int       // states that stand for more than one world
	of     map[int]int // by state that stands for many: which of many it is
	member [][]int32   // by which of many: the worlds of the narrow stage
	rest   []int32     // worlds that belong to no state
	signs  map[*belief.Symptom]int
	states belief.Desk
	at     *hypothesis.Settled
	lists  []int
	text   []byte
}

// mostShown bounds how many joint results of one test a model tells apart: of its
// symptoms only the first that stay within it are kept.
const mostShown = 24

// surer is by how much a report has to be surer than an earlier one to count as a
// look of its own (a choice of ours).
const surer = 0.05

// Model makes a model of at most [MostSteps] trials, with at most so many worlds as states of their own, and so many
// outcomes of the rest, to which come the states that work makes of them. Its first
// steps are the trials; behind them stand the remedies that are open and no trials,
// wherever they can be done.
func (s *Scene) Model(trials []Trial, worlds, outcomes int) *Model {
	r := &reduction{s: s, m: &Model{Visit: s.m.Visit, Return: s.m.GiveUp}, place: map[string]int{}, of: map[int]int{}, signs: map[*belief.Symptom]int{}}
	s.few()
	r.worlds(worlds, outcomes)
	tried := map[int]bool{}
	takes := make([][]hypothesis.Taking, 0, len(trials))
	for i := range trials {
		a := trials[i].Action
		tried[a.Remedy] = true
		r.m.Steps = append(r.m.Steps, Step{Price: a.Price, Away: a.Remedy >= 0 && s.m.Remedies[a.Remedy].Away})
		takes = append(takes, a.Takes)
	}
	for _, remedy := range s.m.ByID {
		if x := s.m.Remedies[remedy]; x.Open && !tried[remedy] {
			if t := r.cures(remedy); len(t) > 0 && len(r.m.Steps) < MostSteps {
				r.m.Steps = append(r.m.Steps, Step{Price: x.Price, Away: x.Away})
				takes = append(takes, t)
			}
		}
	}
	moves := r.moves(takes)
	r.describe()
	for i := range takes {
		if len(takes[i]) > 0 {
			r.m.Steps[i].Moves = r.full(moves[i])
		}
		if i < len(trials) {
			r.shows(&r.m.Steps[i], &trials[i])
		}
	}
	r.m.Ready()
	return r.m
}

// worlds takes the likeliest worlds as states, and the outcomes of the others.
func (r *reduction) worlds(most, outcomes int) {
	n := r.s.narrow // its worlds stand by falling weight
	byOutcome := map[string]int{}
	var set []int
	for w := range n.weight {
		set = set[:0]
		for _, c := range n.space.Set(w) {
			set = append(set, int(c))
		}
		if w < most {
			r.m.Weight[r.state(slices.Clone(set))] += n.weight[w]
			continue
		}
		x, known := byOutcome[r.outcome(set)]
		if !known {
			if len(byOutcome) == outcomes {
				r.rest = append(r.rest, int32(w))
				continue
			}
			x = len(r.sets)
			byOutcome[r.outcome(set)] = x
			r.sets = append(r.sets, slices.Clone(set)) // not in place: no work leads to a state of many
			r.m.Weight = append(r.m.Weight, 0)
			r.of[x] = len(r.many)
			r.many = append(r.many, x)
			r.member = append(r.member, nil)
		}
		r.m.Weight[x] += n.weight[w]
		r.member[r.of[x]] = append(r.member[r.of[x]], int32(w))
	}
}

// outcome names what there is to do about a set of causes.
func (r *reduction) outcome(set []int) string {
	r.lists = r.lists[:0]
	for _, c := range set {
		l := r.s.m.Lists[c]
		if at, twice := slices.BinarySearch(r.lists, l); !twice {
			r.lists = slices.Insert(r.lists, at, l)
		}
	}
	r.text = r.text[:0]
	for _, l := range r.lists {
		r.text = binary.LittleEndian.AppendUint32(r.text, uint32(l))
	}
	return string(r.text)
}

// state finds or makes the state of a set of causes.
func (r *reduction) state(set []int) int {
	key := fmt.Sprint(set)
	x, ok := r.place[key]
	if !ok {
		x = len(r.sets)
		r.place[key] = x
		r.sets = append(r.sets, set)
		r.m.Weight = append(r.m.Weight, 0)
	}
	return x
}

func (r *reduction) cures(remedy int) []hypothesis.Taking {
	var all []hypothesis.Taking
	for c, cures := range r.s.m.Cures {
		for _, q := range cures {
			if q.Remedy == remedy {
				all = append(all, hypothesis.Taking{Cause: c, Chance: q.Chance})
			}
		}
	}
	return all
}

// moves says for every step where it leads from every set, the new ones included;
// states that stay as they are have none.
func (r *reduction) moves(takes [][]hypothesis.Taking) []map[int][]Move {
	moves := make([]map[int][]Move, len(takes))
	for i := range moves {
		moves[i] = map[int][]Move{}
	}
	for x := 0; x < len(r.sets); x++ {
		for i := range takes {
			if mv := r.movesFrom(x, takes[i]); mv != nil {
				moves[i][x] = mv
			}
		}
	}
	return moves
}

func (r *reduction) movesFrom(x int, takes []hypothesis.Taking) []Move {
	type part struct {
		set    []int
		chance float64
	}
	all := []part{{nil, 1}}
	taken := false
	for _, c := range r.sets[x] {
		chance := 0.0
		for _, t := range takes {
			if t.Cause == c {
				chance = t.Chance
			}
		}
		taken = taken || chance > 0
		var next []part
		for _, p := range all {
			if chance > 0 {
				next = append(next, part{slices.Clone(p.set), p.chance * chance})
			}
			if chance < 1 {
				next = append(next, part{append(slices.Clone(p.set), c), p.chance * (1 - chance)})
			}
		}
		all = next
	}
	if !taken {
		return nil
	}
	var moves []Move
	for _, p := range all {
		moves = append(moves, Move{r.state(p.set), p.chance})
	}
	return moves
}

func (r *reduction) full(moves map[int][]Move) [][]Move {
	all := make([][]Move, len(r.m.Weight))
	for x, mv := range moves {
		all[x] = mv
	}
	return all
}

// describe ends the list of states with what the rest of the worlds is, and outside,
// and says of each what is to be done and how the drop is found.
func (r *reduction) describe() {
	causes := len(r.s.m.Cures)
	r.at = r.s.system.Settle(hypothesis.Of(causes, r.sets))
	outcome := map[string]int{}
	for _, set := range r.sets {
		key := r.outcome(set)
		if _, ok := outcome[key]; !ok {
			outcome[key] = len(outcome)
		}
		r.m.Outcome = append(r.m.Outcome, outcome[key])
		r.m.Open = append(r.m.Open, len(set) > 0)
		well := 0.0
		if len(set) == 0 {
			well = 1
		}
		r.m.Well = append(r.m.Well, well)
	}
	rest := 0.0
	for _, w := range r.rest {
		rest += r.s.narrow.weight[w]
	}
	r.m.Weight = append(r.m.Weight, rest, r.s.narrow.outside)
	r.m.Outcome = append(r.m.Outcome, len(outcome), len(outcome)+1)
	r.m.Open = append(r.m.Open, true, true)
	r.m.Many = []int{len(r.sets)}
	r.m.Well = append(r.m.Well, 0, 0)
	if c := r.s.m.Complaint; c != nil {
		kinds := c.Symptom.Sort(r.at, &r.states)
		for x, k := range kinds.Of {
			r.m.Well[x] = kinds.P[k][c.Well]
		}
	}
	r.m.Ends = []End{{Cost: make([]float64, len(r.m.Weight))}}
	for x := range r.m.Weight {
		r.m.Ends[0].Cost[x] = r.s.m.GiveUp
	}
}

// shows gives a step its signs.
func (r *reduction) shows(step *Step, t *Trial) {
	results := 1
	for i, v := range t.Action.Views {
		if v.Report >= 0 && !t.Seen[i] && t.Sure[i] < v.Sure+surer {
			continue // whoever looks again reports the same
		}
		if results *= v.Symptom.Values(); results > mostShown && len(step.Shows) > 0 {
			return
		}
		sign, ok := r.signs[v.Symptom]
		if !ok {
			if len(r.m.Signs) == MostSteps {
				return
			}
			sign = len(r.m.Signs)
			r.signs[v.Symptom] = sign
			if t.Seen[i] {
				v.Report = -1
				r.m.Seen = append(r.m.Seen, sign)
			}
			r.m.Signs = append(r.m.Signs, r.sign(v, t.Sure[i], t.Once[i]))
		}
		step.Shows = append(step.Shows, sign)
	}
}

// sign says how likely each report of a symptom is, state by state.
func (r *reduction) sign(v View, sure float64, once bool) Sign {
	values := v.Symptom.Values()
	sign := Sign{P: make([][]float64, values), Once: once}
	for i := range sign.P {
		sign.P[i] = make([]float64, len(r.m.Weight))
	}
	put := func(x int, p []float64, by float64) {
		for i, q := range p {
			sign.P[i][x] += by * (sure*q + (1-sure)/float64(values))
		}
	}
	kinds := adjusted(v.Symptom.Sort(r.at, &r.states), v)
	for x, k := range kinds.Of {
		put(x, kinds.P[k], 1)
	}
	put(len(r.sets)+1, r.s.outsideView(v), 1)
	if len(r.rest) == 0 && len(r.many) == 0 {
		put(len(r.sets), r.s.outsideView(v), 1)
		return sign
	}
	r.s.narrow.used = 0
	wide := adjusted(r.s.narrow.sort(v.Symptom), v)
	mean := func(x int, worlds []int32) {
		mass := make([]float64, len(wide.P))
		for _, w := range worlds {
			mass[wide.Of[w]] += r.s.narrow.weight[w] / r.m.Weight[x]
		}
		for k, by := range mass {
			put(x, wide.P[k], by)
		}
	}
	for i, x := range r.many {
		for v := range sign.P {
			sign.P[v][x] = 0
		}
		mean(x, r.member[i])
	}
	if len(r.rest) == 0 {
		put(len(r.sets), r.s.outsideView(v), 1)
	} else {
		mean(len(r.sets), r.rest)
	}
	return sign
}

// ToIdentify makes a model that was made for a working drop one for finding out what
// to do. Where tests are not sure, that is known once an outcome is as likely as
// certain says, and a test that gains less than idle does not count as telling more.
func (m *Model) ToIdentify(certain, idle float64) {
	m.Identify = true
	m.bounds()
	if !m.sure {
		m.Certain, m.Idle = certain, idle
	}
}

// Sure says whether all that can be seen is certain in every state.
func (m *Model) Sure() bool { return m.sure }

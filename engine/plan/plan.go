// Package plan says what a step is worth, and in which order steps are best taken.
//
// # What a step tells, and the minutes of the format
//
// What has to be told apart is what to do, not what is wrong: two causes with
// the same remedies are one outcome. The gain of a step is the mutual
// information, in bits, between the outcome and the step's results seen jointly
// (Shannon 1948; for tests per minute Johnson 1960, both from memory).
//
// [Scene.Minutes] are those of a base policy: try the remedies in falling
// order of the chance that one takes a cause away, divided by its price, until
// the drop is well, and at the end the last resort. They are the
// expected_minutes of the rulebase format. They order nothing: whoever follows that
// list to its end pays for every remedy there is, so they read as hours.
//
// # The model of acting
//
// A [Model] has numbered states, one of which is true, each with a chance. What is
// known is that chance and what was seen and done; a policy says what to do there.
//
//   - A test costs minutes, with what they stop, and shows one or more signs jointly.
//     A sign's value has a chance in each state, that of what will be reported, which
//     is unsure to the extent that the reporter is. What was seen is not seen anew
//     until work was done; what somebody remembers, never.
//   - A remedy, or a test that puts something right, costs minutes, its proof
//     included, and moves the state: each cause that it helps goes, or stays, with the
//     chance that it has. It is done at most once. Then the drop is watched for the
//     length of the proof: found well, the case ends; found down, belief moves on, to
//     what was not helped and to the second fault behind the first. A fault that comes
//     and goes may be quiet so long: that chance is the state's, and a case that ends
//     with a cause still present comes back, at a price.
//     How long quiet has to last to mean something is told to whoever watches
//     (engine.ProofOf) and is nobody's working time: the price holds the proof's own
//     minutes only.
//   - A remedy that is temporary takes nothing away, and so is no step of a policy: it
//     says what else it does and when it ends, and leaves the case open. One for what is
//     no fault ends the case like any other, without a repair.
//   - A case that ends as well has proven the causes that work took. What was found
//     abnormal and they do not explain is named then (engine.Diagnosis.NotExplained):
//     it may be a second fault that no complaint is about.
//   - What cannot be done from here costs a visit, once.
//   - An end is a last resort: it has a price, which may depend on the state, and
//     always ends the case. It can be taken at any time, not only at the end of a list.
//   - To identify ([Model.Identify]) only tests are done, until an outcome is certain,
//     or as likely as counts as certain, or no test can tell more; the rest is free.
//
// When looking further stops being worth it is said beside the policy, on all outcomes
// and not on the model's few: engine.Advice, with what it costs to be wrong.
//
// Minutes are all there is to a price. What may be offered is decided elsewhere,
// for remedies as for tests; hazard has no price.
//
// # Policies
//
//   - [Acting]: remedies by chance per minute, set in order again after each, ended
//     where ending is cheaper (the ratio rule of Kalagnanam and Henrion 1990 and of
//     Heckerman, Breese and Rommelse 1995). Where an end may stand for the last
//     remedy, which is then the only thing left, each is tried as that one.
//   - [Greedy]: one test ahead of that, by the minutes that it leaves (Heckerman, Breese
//     and Rommelse 1995); to identify, the test that tells most per minute.
//   - [Rollout]: of all steps the one that costs least if Greedy follows (Tu and
//     Pattipati 2003). The default. A ratio of gain to minutes taken over two steps is
//     not offered: where prices differ, a cheap useless test rides along in it, and it
//     is worse than one step.
//   - [Search]: the cheapest policy, proven, by AO* with lower bounds (Pattipati and
//     Alexandridis 1990), or as near as a budget allows, with the gap. A state that is
//     known costs no more than one that is not, which bounds acting; sure tests
//     have a search of their own over sets of states, bounded by entropy.
//
// The articles are cited from memory. All of them agree with brute force on small
// problems and with the numbers in testdata/checks.
//
// # From a belief to a model
//
// [Scene.Model] takes the likeliest sets of causes one by one as states, the rest by
// outcome, what is then left as one state, and outside, of which nothing is known but
// that only a last resort ends it. [Model.Ranks] looks at everything where that
// is little ([Whole]), and else screens the steps, follows the best of them for a few
// steps of Greedy, and behind those estimates: what a bit costs, and what has to be
// done once all is known. Those minutes are good for an order, not for a promise.
//
// The package knows causes, remedies and values by number only.
package plan

import (
	"downdrop/engine/belief"
	"downdrop/engine/hypothesis"
)

// A Cure is a remedy of a cause and the chance that it takes it away.
type Cure struct {
	Remedy int
	Chance float64
}

// A Remedy is one not done yet.
type Remedy struct {
	Price float64 // minutes, with what it stops and its proof
	Rate  float64 // minutes by which its chance is divided for the order (the price and the proof)
	Away  bool    // cannot be done from here: somebody has to come
	Open  bool    // false: done already, or otherwise not in the policy
}

// A Complaint is what everybody watches.
type Complaint struct {
	Symptom  *belief.Symptom
	Reported int // the value when the case began; outside keeps it
	Well     int
}

// Matters is what a step's worth depends on, besides the belief.
type Matters struct {
	Lists     []int    // by cause: a number for its list of remedies not yet done; equal lists, equal numbers
	Calls     []int    // by cause: a number for what it asks of the end of a call, the same for equal lists; nil: not by phone
	Helps     []int    // by cause: a number for its list of remedies not yet done and how often each helps; nil: not by phone
	Cures     [][]Cure // by cause: what takes it away and is not done yet
	Remedies  []Remedy
	ByID      []int   // the remedies in the order of their ids
	Visit     float64 // minutes
	GiveUp    float64 // minutes
	Complaint *Complaint
}

// A View is a symptom that a step lets somebody see. Where it was reported
// before and not for sure, Report is that value and Sure how sure it was; the
// new look replaces the report. Report is -1 where there was none.
type View struct {
	Symptom *belief.Symptom
	Report  int
	Sure    float64
	Keeps   bool // it is the complaint's, after work: under outside it keeps the value reported when the case began
}

// An Action is a step to be valued.
type Action struct {
	Price   float64 // minutes; a remedy's holds its proof
	Views   []View
	Takes   []hypothesis.Taking
	Watched bool // the complaint is seen again, in the state the step leaves
	Remedy  int  // the remedy that it is, else -1
}

// exact is up to how many worlds the minutes are summed over all of them;
// above, over the likeliest that hold 99.9 % of the mass.
const exact = 1024

// A Scene is a belief made ready for valuing steps. It must not be used by two
// goroutines at once; see [Scene.Fork].
type Scene struct {
	m      *Matters
	belief *belief.Belief // worlds that hold the same causes now are one
	system *hypothesis.System

	// For minutes and models, made when first asked for.
	narrow *stage
	ways   *cureClasses
	base   *basePolicy // on narrow, as things stand
	local  []int32     // see Scene.policy
	first  int         // the remedy that the base policy tries first as things stand; -1: none

	// For gains, made when first asked for.
	wide    *stage  // all worlds but those that cannot change a digit, by outcome
	ends    []int32 // where the runs of worlds of one outcome end
	entropy float64

	// By phone.
	calls       []int32 // where the runs of worlds end that ask the same of a call
	callEntropy float64
}

// New makes a scene. The belief's mass must not be 0.
func New(b *belief.Belief, system *hypothesis.System, m *Matters) *Scene {
	return &Scene{m: m, belief: b.Gathered(), system: system}
}

// Fork is the same scene for another goroutine; what was made already is shared. All
// forks are made before any of them, or s, is used by another goroutine: making one
// readies what they share.
func (s *Scene) Fork() *Scene {
	f := &Scene{m: s.m, belief: s.belief, system: s.system, ends: s.ends, entropy: s.entropy, calls: s.calls, callEntropy: s.callEntropy}
	if s.wide != nil {
		f.wide = s.wide.fork()
	}
	return f
}

// Ready makes now what gains need, to be shared by forks.
func (s *Scene) Ready() { s.forGains() }

// few makes the worlds that minutes and models are made of.
func (s *Scene) few() *stage {
	if s.narrow == nil {
		share := 1.0
		if len(s.belief.Weight) > exact {
			share = 0.999
		}
		s.narrow = newStage(s.belief, s.system, s.belief.Likeliest(share))
	}
	return s.narrow
}

// forMinutes makes what minutes need.
func (s *Scene) forMinutes() {
	if s.base != nil {
		return
	}
	s.ways = newCureClasses(s.m)
	base := s.policy(s.few(), nil, -1)
	total := s.narrow.outside
	for _, w := range s.narrow.weight {
		total += w
	}
	s.first = base.arrange(base.now(s.narrow), total)
	s.base = base
}

// forGains makes what gains need.
func (s *Scene) forGains() {
	if s.wide != nil {
		return
	}
	places := belief.Matter(s.belief.Weight, negligible)
	if s.m.Calls != nil {
		places, s.ends, s.calls = byCall(s.belief.Now, places, s.m)
	} else {
		places, s.ends = byOutcome(s.belief.Now, places, s.m.Lists)
	}
	s.wide = newStage(s.belief, s.system, places)
	s.entropy = max(s.entropyOf(s.ends), 0) // one outcome of 1 + a rounding has less than nothing
	s.callEntropy = max(s.entropyOf(s.calls), 0)
}

// negligible is the share of the mass that gains may leave out: it can change one by
// less than 1e-10 bits, a tenth of what answers are held to.
const negligible = 1e-12

// A stage is a list of worlds with their weights, scaled to sum to 1 with outside.
type stage struct {
	space   *hypothesis.Space
	system  *hypothesis.System
	settled *hypothesis.Settled
	weight  []float64
	outside float64
	desk    belief.Desk
	kinds   map[*belief.Symptom]belief.Kinds

	sorting *belief.Sorting // nil: symptoms are sorted here
	places  []int32         // of the worlds, in the sorting's space
	lists   [][]int32       // for what the sorting gives, used anew by each action
	used    int             // how many of them this action has used
}

func newStage(b *belief.Belief, system *hypothesis.System, places []int32) *stage {
	s := &stage{space: b.Now.Pick(places), system: system, kinds: map[*belief.Symptom]belief.Kinds{}, sorting: b.Sorting(), places: places}
	s.settled = system.Lazily(s.space)
	s.weight = make([]float64, len(places))
	total := b.Outside
	for i, p := range places {
		s.weight[i] = b.Weight[p]
		total += b.Weight[p]
	}
	for i := range s.weight {
		s.weight[i] /= total
	}
	s.outside = b.Outside / total
	return s
}

// fork is the same stage for another goroutine.
func (s *stage) fork() *stage {
	return &stage{space: s.space.Ready(), system: s.system, settled: s.system.Lazily(s.space), weight: s.weight, outside: s.outside, kinds: map[*belief.Symptom]belief.Kinds{}, sorting: s.sorting, places: s.places}
}

// after is the stage that work leaves; from says which world each comes from, nil: the same place.
func (s *stage) after(takes []hypothesis.Taking) (left *stage, from []int32) {
	if len(takes) == 0 {
		return s, nil
	}
	space, branches := s.space.Take(takes)
	left = &stage{space: space, system: s.system, settled: s.system.Lazily(space), weight: s.weight, outside: s.outside, kinds: map[*belief.Symptom]belief.Kinds{}, sorting: s.sorting}
	if s.sorting != nil {
		left.places = s.sorting.Places(space)
	}
	if branches == nil {
		return left, nil
	}
	from = make([]int32, len(branches))
	left.weight = make([]float64, len(branches))
	for i, br := range branches {
		from[i] = br.From
		left.weight[i] = s.weight[br.From] * br.Chance
	}
	return left, from
}

func (s *stage) sort(symptom *belief.Symptom) belief.Kinds {
	if s.sorting != nil { // looked up each time: that is quicker than keeping it
		if sorted := s.sorting.Of(symptom); sorted != nil {
			return s.lookUp(sorted)
		}
	}
	k, ok := s.kinds[symptom]
	if !ok {
		k = symptom.Sort(s.settled, &s.desk)
		s.kinds[symptom] = k
	}
	return k
}

// lookUp gives the kinds of the stage's worlds. They are good until the next action is
// looked at.
func (s *stage) lookUp(sorted *belief.Sorted) belief.Kinds {
	if s.used == len(s.lists) {
		s.lists = append(s.lists, make([]int32, len(s.places)))
	}
	s.used++
	return sorted.At(s.places, s.lists[s.used-1])
}

package engine

import (
	"cmp"
	"container/heap"
	"context"
	"errors"
	"math"
	"runtime"
	"slices"
	"sync"

	"downdrop/engine/belief"
	"downdrop/rulebase"
)

// ChartOptions say how far a tree of what to do is unfolded.
type ChartOptions struct {
	Identify bool    // tests only, until it is known what to do
	Optimal  bool    // the best there is, as far as it can be proven, instead of the default policy
	Levels   int     // steps and readings below one another; 0: 12
	Nodes    int     // at most this many places where something is done or read; 0: 200
	Parts    float64 // what a reading parts has to be at least so likely, from the beginning; 0: as two of Nodes are
	Least    float64 // a way less likely than this, from the beginning, ends in handing over; 0: 0.005, and none to identify or for the best; below 0: none
}

// A ChartTree is what to do, unfolded from a situation on.
type ChartTree struct {
	Root    *ChartNode
	Policy  string
	Nodes   int     // nodes with a step
	TooRare float64 // chance that a way ends because it is less likely than Least
	Cut     float64 // chance that a way ends because of Levels or Nodes
	Settled float64 // chance that a way ends well, or with what to do
	Sent    float64 // by phone: chance that somebody is sent though more could be asked

	unfolding *unfolding
	taken     []*ChartNode // nodes with a step, in the order in which they were taken up
}

// Trim takes a place with a step out of the tree: of those behind which only ends are,
// the one that settles least for its size, and of several the least likely. Where size is
// nil all are alike. It says whether there was one.
func (t *ChartTree) Trim(size func(*ChartNode) float64) bool {
	at, least := -1, 0.0
	for i, n := range slices.Backward(t.taken) {
		if slices.ContainsFunc(n.Ways, func(w ChartWay) bool { return w.Node.Step != nil }) {
			continue
		}
		settled := 0.0
		for _, w := range n.Ways {
			settled += w.Node.settles()
		}
		if size != nil {
			settled /= size(n)
		}
		if at < 0 || settled < least-1e-12 {
			at, least = i, settled
		}
	}
	if at < 0 {
		return false
	}
	n := t.taken[at]
	t.taken = slices.Delete(t.taken, at, at+1)
	t.Nodes = len(t.taken)
	n.Step, n.Symptom, n.Goes, n.Ways = nil, -1, false, nil
	n.End = t.unfolding.handOver(n, ChartCut)
	t.reckon()
	return true
}

// reckon works out what a tree comes to.
func (t *ChartTree) reckon() {
	t.TooRare, t.Cut, t.Settled, t.Sent = 0, 0, 0, 0
	t.count(t.Root)
	t.Root.reckon(t.unfolding.p.base, t.unfolding.o)
}

func (t *ChartTree) count(n *ChartNode) {
	for _, w := range n.Ways {
		t.count(w.Node)
	}
	switch n.End {
	case ChartTooRare:
		t.TooRare += n.Share
	case ChartCut:
		t.Cut += n.Share
	case ChartDisposition:
		if !n.Diagnosis.Disposition.Enough {
			t.Sent += n.Share
		}
	}
	t.Settled += n.settles()
}

// settles is the chance that the case is settled where a way ends.
func (n *ChartNode) settles() float64 {
	switch n.End {
	case ChartWell, ChartEnough, ChartNothingWrong:
		return n.Share
	case ChartDisposition:
		if n.Diagnosis.Disposition.Enough {
			return n.Share
		}
	}
	return 0
}

// A ChartEnd is why a way ends.
type ChartEnd string

// The ends of a way.
const (
	ChartGoesOn       ChartEnd = ""              // it does not: the node has a step
	ChartWell         ChartEnd = "well"          // the drop is well, proven as the remedy says
	ChartEnough       ChartEnd = "enough"        // enough is known: do what Diagnosis.Advice.Lead says
	ChartDisposition  ChartEnd = "disposition"   // by phone: the call ends as Diagnosis.Disposition says
	ChartNothingWrong ChartEnd = "nothing_wrong" // nothing is to be done
	ChartCannotTell   ChartEnd = "cannot_tell"   // nothing on offer tells more: hand over, with Diagnosis.Advice.Elsewhere
	ChartTooRare      ChartEnd = "too_rare"      // less likely than Least: hand over
	ChartCut          ChartEnd = "cut"           // deeper than Levels, or more than Nodes: hand over
	ChartImpossible   ChartEnd = "impossible"    // nothing listed allows this
)

// A ChartNode is a place in the tree: something to do or to read, or an end.
type ChartNode struct {
	Share     float64    // chance of coming here, from the beginning
	Diagnosis *Diagnosis // what is believed here; nil for ChartTooRare
	End       ChartEnd
	Step      *Proposal // what to do, with its warnings and what to ask first; nil at an end
	Symptom   int       // for a test: the symptom that Ways are the values of, a place in Base.Symptoms; -1: Ways are what the drop does after work
	Goes      bool      // goes on with the test of the node above: another of its symptoms is read, at no price
	Confirm   []string  // warnings to be confirmed before the step is on offer
	Ways      []ChartWay
	Minutes   float64 // expected from here on along this tree; handing over costs what the rulebase says
	Bound     float64 // no policy has fewer expected minutes from here; 0 where none was worked out
	Proven    bool    // Bound is reached
}

// A ChartWay is what was seen, and where that leads.
type ChartWay struct {
	Values []int            // places in the symptom's Values; several where all of them are too rare to go on with
	Drop   rulebase.DropNow // after work
	Chance float64          // given the node
	Node   *ChartNode
}

const (
	chartLevels = 12
	chartNodes  = 200
	chartLeast  = 0.005
	ahead       = 3 // places thought about at a time, for each core
	// How many places a search for the best opens from the beginning, and from each
	// place below: small problems are proven within that, large ones get a bound.
	placesFirst    = 100
	placesIdentify = 2_000  // instead, to identify, where each is quick
	placesBelow    = 10_000 // only where the beginning was proven
)

func (o *ChartOptions) complete() {
	if o.Levels == 0 {
		o.Levels = chartLevels
	}
	if o.Nodes == 0 {
		o.Nodes = chartNodes
	}
	if o.Parts == 0 {
		o.Parts = splitShare / float64(o.Nodes)
	}
	if o.Least == 0 && !o.Identify && !o.Optimal { // what is left out is neither identified nor proven
		o.Least = chartLeast
	}
}

// Chart unfolds what to do from a situation on: at every place the step that the
// policy takes there, so that a chart never does what the engine would not offer.
// The likeliest places are unfolded first. The error is only ever ctx's.
func Chart(ctx context.Context, p *Prepared, s rulebase.Situation, o ChartOptions) (*ChartTree, error) {
	o.complete()
	u := &unfolding{ctx: ctx, p: p, o: o, tree: &ChartTree{}, splits: max(o.Least, o.Parts)}
	u.tree.unfolding = u
	d, err := u.diagnose(s, nil)
	if err != nil {
		return nil, err
	}
	u.tree.Policy = d.Policy
	bound, proven := d.Plan.Bound, d.Plan.Proven
	if o.Optimal && !proven { // too large to be proven: the default policy, with the gap
		u.o.Optimal = false
		if d, err = u.diagnose(s, nil); err != nil {
			return nil, err
		}
		u.tree.Policy = d.Policy
	}
	u.tree.Root = &ChartNode{Share: 1, Diagnosis: d, Symptom: -1}
	u.frontier = []*unfold{{node: u.tree.Root}}
	for len(u.frontier) > 0 {
		if err := u.unfoldNext(); err != nil {
			return nil, err
		}
	}
	if !proven {
		d.Plan.Bound = bound
	}
	u.tree.reckon()
	return u.tree, nil
}

// An unfolding is a tree in the making.
type unfolding struct {
	ctx      context.Context
	p        *Prepared
	o        ChartOptions
	tree     *ChartTree
	frontier frontier
	splits   float64 // what a reading parts has to be at least so likely, from the beginning
}

// unfold is a place still to be looked at.
type unfold struct {
	node    *ChartNode
	level   int
	reading *Proposal // a test of which more can be read
	order   int
	move    *move // nil: not thought about yet
}

// A move is what is done at a place: an end, or a step with the ways it leads to. It
// follows from the place alone, so that several are thought about at once.
type move struct {
	end     ChartEnd
	wants   bool // a step is wanted here, whether or not it fits the chart
	step    *Proposal
	symptom int
	goes    bool
	ways    []ChartWay
	rare    ChartWay // those too rare to go on with; of chance 0: none
	err     error
}

// frontier has the likeliest place on top.
type frontier []*unfold

func (f frontier) Len() int { return len(f) }
func (f frontier) Less(i, j int) bool {
	a, b := rounded(f[i].node.Share), rounded(f[j].node.Share)
	return a > b || a == b && f[i].order < f[j].order
}
func (f frontier) Swap(i, j int) { f[i], f[j] = f[j], f[i] }
func (f *frontier) Push(x any)   { *f = append(*f, x.(*unfold)) }
func (f *frontier) Pop() any {
	last := (*f)[len(*f)-1]
	*f = (*f)[:len(*f)-1]
	return last
}

func (u *unfolding) diagnose(s rulebase.Situation, earlier *Diagnosis) (*Diagnosis, error) {
	o := Options{Earlier: earlier, Lean: !u.o.Identify && !u.o.Optimal, Identify: u.o.Identify, OneCore: earlier != nil}
	if u.o.Optimal {
		o.Optimal = placesBelow
		switch {
		case earlier == nil && u.o.Identify:
			o.Optimal = placesIdentify
		case earlier == nil:
			o.Optimal = placesFirst
		}
	}
	return Diagnose(u.ctx, u.p, s, o)
}

// unfoldNext unfolds the likeliest place. Those that are likely to follow are thought
// about beside it, a few for each core, since they take unlike times: which are
// unfolded, and in what order, is the same with any number of cores.
func (u *unfolding) unfoldNext() error {
	x := heap.Pop(&u.frontier).(*unfold)
	room := u.o.Nodes - u.tree.Nodes
	if x.move == nil {
		batch := []*unfold{x}
		for len(batch) < min(ahead*runtime.GOMAXPROCS(0), room) && len(u.frontier) > 0 {
			batch = append(batch, heap.Pop(&u.frontier).(*unfold))
		}
		var group sync.WaitGroup
		for _, y := range batch {
			if y.move == nil {
				group.Go(func() { y.move = u.think(y, room > 0) })
			}
		}
		group.Wait()
		for _, y := range batch[1:] {
			heap.Push(&u.frontier, y)
		}
	}
	m := x.move
	switch {
	case m.err != nil:
		return m.err
	case m.wants && (room == 0 || x.level >= u.o.Levels):
		x.node.End = u.handOver(x.node, ChartCut)
	case m.end != ChartGoesOn:
		x.node.End = m.end
	default:
		u.take(x, m)
	}
	return nil
}

// think decides what is done at a place, and diagnoses where it leads. Without room for
// a step it only says whether one is wanted.
func (u *unfolding) think(x *unfold, room bool) *move {
	n, m := x.node, &move{symptom: -1}
	if x.reading != nil && !u.enough(n.Diagnosis) {
		if m.symptom = n.Diagnosis.mostTelling(x.reading.Step); m.symptom >= 0 {
			m.step, m.goes = x.reading, true
		}
	}
	if m.step == nil {
		if m.step, m.end, m.err = u.decide(n); m.err != nil || m.end != ChartGoesOn {
			return m
		}
		m.symptom = n.Diagnosis.mostTelling(m.step.Step)
	}
	if m.wants = true; room && x.level < u.o.Levels {
		m.err = u.lead(n, m)
	}
	return m
}

// handOver is how a way ends that goes no further for want of room or cases.
func (u *unfolding) handOver(n *ChartNode, why ChartEnd) ChartEnd {
	if n.Diagnosis.Situation.At == rulebase.Phone && n.Diagnosis.Possible && !u.o.Identify && !u.o.Optimal {
		return ChartDisposition // a call always ends as something
	}
	return why
}

// enough says that nothing further is worth looking at. To identify, and for the best
// policy, that is the planner's word, else the advice's.
func (u *unfolding) enough(d *Diagnosis) bool {
	switch {
	case !d.Possible || IsWell(d):
		return true
	case u.o.Identify || u.o.Optimal:
		return d.Plan.Stop
	case d.Situation.At == rulebase.Phone:
		return d.Disposition.Enough
	}
	return d.Advice.Enough
}

// decide says what is done at a place. Where nothing on offer tells more, the
// warnings of what waits for them are confirmed.
func (u *unfolding) decide(n *ChartNode) (*Proposal, ChartEnd, error) {
	for {
		d := n.Diagnosis
		step, end := u.choose(d)
		if end != ChartCannotTell && end != ChartEnough {
			return step, end, nil
		}
		ids := d.toConfirm(end == ChartEnough)
		if len(ids) == 0 || u.o.Identify && end == ChartEnough || u.o.Optimal && n.Confirm != nil {
			return nil, end, nil
		}
		s := d.Situation.Clone()
		s.Confirmed = append(s.Confirmed, ids...)
		next, err := u.diagnose(s, d)
		if err != nil {
			return nil, "", err
		}
		n.Diagnosis, n.Confirm = next, append(n.Confirm, ids...)
	}
}

// choose is what the policy does with a diagnosis.
func (u *unfolding) choose(d *Diagnosis) (*Proposal, ChartEnd) {
	switch {
	case !d.Possible:
		return nil, ChartImpossible
	case IsWell(d):
		return nil, ChartWell
	case u.enough(d):
		return u.settle(d)
	case u.o.Identify || u.o.Optimal:
		return &d.Next[0], ChartGoesOn
	}
	for i := range d.Next {
		p := &d.Next[i]
		if d.WorthAsking(p) || d.tries(p.Step) {
			return p, ChartGoesOn
		}
	}
	return nil, ChartCannotTell
}

// settle is what is done once enough is known: what the advice says, as far as it
// can be done here.
func (u *unfolding) settle(d *Diagnosis) (*Proposal, ChartEnd) {
	do, end := d.Advice.Lead.Remedies, ChartEnough
	if d.Situation.At == rulebase.Phone {
		do, end = nil, ChartDisposition
		if d.Disposition.Kind == SolveNow {
			do = d.Disposition.Remedies
		}
	}
	if u.o.Identify || u.o.Optimal {
		if end == ChartEnough && d.Advice.Lead.Probability < Likely {
			end = ChartCannotTell
		}
		return nil, end
	}
	for i := range d.Next {
		if slices.ContainsFunc(do, func(r int) bool { return d.Next[i].Step == &d.Base.Remedies[r] }) {
			return &d.Next[i], ChartGoesOn
		}
	}
	if d.Advice.Lead.Nothing() {
		return nil, ChartNothingWrong
	}
	return nil, end
}

// tries says whether a remedy is tried before it is known what is wrong: one that
// ends nothing, or takes the unit or a module out, is not.
func (d *Diagnosis) tries(step *rulebase.Step) bool {
	if step.Kind != rulebase.KindRemedy || step.Temporary || takesPartOut(step) {
		return false
	}
	return d.takesChance(step) >= Idle
}

// takesPartOut says whether a remedy ends with the unit, or one of its modules, taken out.
func takesPartOut(step *rulebase.Step) bool {
	return step.EndsAs == rulebase.UnitOut || step.EndsAs == rulebase.ModuleOut
}

// takesChance is how likely it is, at most, that a remedy takes a cause that is still there.
func (d *Diagnosis) takesChance(step *rulebase.Step) float64 {
	p := 0.0
	for _, c := range d.Causes {
		p += c.Now * takes(d.Base, step, c.Cause)
	}
	return min(p, 1)
}

// toConfirm are the warnings not confirmed of what waits for nothing else: of the
// remedies that the advice names, or else of the most telling step.
func (d *Diagnosis) toConfirm(advised bool) []string {
	for _, w := range d.NotOffered {
		if w.Why != WhyUnconfirmed {
			continue
		}
		useful := w.Step.Kind == rulebase.KindTest && w.GainBits >= Idle && d.Fresh(w.Step)
		if advised {
			useful = slices.ContainsFunc(d.Advice.Lead.Remedies, func(r int) bool { return w.Step == &d.Base.Remedies[r] })
		}
		if !useful {
			continue
		}
		return d.Unconfirmed(w.Step)
	}
	return nil
}

// lead finds the ways that a step, or the reading of one of a test's symptoms, leads to.
func (u *unfolding) lead(n *ChartNode, m *move) error {
	ways := u.ways(n.Diagnosis, m.step.Step, m.symptom)
	if !u.o.Identify && !u.o.Optimal && !works(m.step.Step) {
		if !u.parts(n, ways) {
			if p, s := u.partingTest(n); p != nil {
				m.step, m.symptom, m.goes = p, s, false
				ways = u.ways(n.Diagnosis, p.Step, s)
			}
		}
		var err error
		if ways, err = u.merge(n, m.step, m.symptom, ways); err != nil {
			return err
		}
	}
	if !u.goes(n, ways) || len(ways) == 1 && !works(m.step.Step) {
		try := u.firstTry(n.Diagnosis)
		if try == nil {
			m.end = u.handOver(n, ChartTooRare)
			return nil
		}
		// Whatever a test showed would be too rare to go on with: try what is likeliest.
		m.step, m.symptom, m.goes = try, -1, false
		ways = u.ways(n.Diagnosis, try.Step, -1)
	}
	for _, w := range ways {
		if n.Share*w.Chance < u.o.Least && w.Drop != rulebase.Well {
			m.rare.Chance += w.Chance
			m.rare.Values = append(m.rare.Values, w.Values...)
			m.rare.Drop = w.Drop
			continue
		}
		if w.Node == nil {
			w.Node = &ChartNode{Share: n.Share * w.Chance, Symptom: -1}
		}
		m.ways = append(m.ways, w)
	}
	return u.diagnoseWays(n, m.step, m.symptom, m.ways)
}

// take makes the places that a move leads to.
func (u *unfolding) take(x *unfold, m *move) {
	n := x.node
	u.tree.Nodes++
	u.tree.taken = append(u.tree.taken, n)
	n.Step, n.Symptom, n.Goes, n.Ways = m.step, m.symptom, m.goes, m.ways
	for _, w := range n.Ways {
		next := &unfold{node: w.Node, level: x.level + 1, order: u.tree.Nodes}
		if !works(m.step.Step) {
			next.reading = m.step
		}
		if n.Goes {
			next.level = x.level // a further reading of one test is no further step
		}
		heap.Push(&u.frontier, next)
	}
	if rare := m.rare; rare.Chance > 0 {
		rare.Node = &ChartNode{Share: n.Share * rare.Chance, Symptom: -1, End: ChartTooRare}
		n.Ways = append(n.Ways, rare)
	}
}

// merge puts the values of a reading together from which the same follows, and
// those that are too rare to go on with by themselves: together they are as likely
// as they are, and what is believed after "one of these" is what Bayes' rule says.
func (u *unfolding) merge(n *ChartNode, step *Proposal, symptom int, ways []ChartWay) ([]ChartWay, error) {
	if len(ways) == 0 {
		return nil, nil
	}
	rare := ChartWay{}
	var groups []ChartWay
	for _, w := range ways {
		if n.Share*w.Chance < u.splits {
			rare.Values, rare.Chance = append(rare.Values, w.Values...), rare.Chance+w.Chance
		} else {
			groups = append(groups, w)
		}
	}
	if rare.Chance > 0 && (n.Share*rare.Chance >= u.splits || len(groups) == 0) {
		groups = append(groups, rare)
	} else if rare.Chance > 0 {
		groups[0].Values, groups[0].Chance = append(groups[0].Values, rare.Values...), groups[0].Chance+rare.Chance
	}
	for {
		for i := range groups {
			if groups[i].Node == nil {
				groups[i].Node = &ChartNode{Share: n.Share * groups[i].Chance, Symptom: -1}
			}
		}
		if len(groups) == 1 {
			return groups, nil
		}
		if err := u.diagnoseWays(n, step, symptom, groups); err != nil {
			return nil, err
		}
		var out []ChartWay
		for _, g := range groups {
			what := u.follows(g.Node.Diagnosis)
			i := slices.IndexFunc(out, func(o ChartWay) bool { return what != nil && u.follows(o.Node.Diagnosis) == what })
			if i < 0 {
				out = append(out, g)
				continue
			}
			out[i].Values, out[i].Chance, out[i].Node = append(slices.Clone(out[i].Values), g.Values...), out[i].Chance+g.Chance, nil
			break
		}
		if len(out) == len(groups) {
			return groups, nil
		}
		// Two were put together: the others are as they were.
		merged := out
		for _, g := range groups {
			if !slices.ContainsFunc(merged, func(o ChartWay) bool { return slices.Contains(o.Values, g.Values[0]) }) {
				merged = append(merged, g)
			}
		}
		groups = merged
	}
}

// follows is the remedy that the policy tries next after a diagnosis; nil where it
// looks further, or ends.
func (u *unfolding) follows(d *Diagnosis) *rulebase.Step {
	if step, end := u.choose(d); end == ChartGoesOn && step.Step.Kind == rulebase.KindRemedy {
		return step.Step
	}
	return nil
}

// diagnoseWays diagnoses those ways of a node that are not yet, all at once.
func (u *unfolding) diagnoseWays(n *ChartNode, step *Proposal, symptom int, ways []ChartWay) error {
	errs := make([]error, len(ways))
	var group sync.WaitGroup
	for i := range ways {
		if w := &ways[i]; w.Node.Diagnosis == nil {
			group.Go(func() {
				w.Node.Diagnosis, errs[i] = u.diagnose(u.after(n.Diagnosis, step.Step, symptom, *w), n.Diagnosis)
			})
		}
	}
	group.Wait()
	return errors.Join(errs...)
}

// parts says whether a reading leaves two ways that are likely enough to go on with,
// once those that are not are put together.
func (u *unfolding) parts(n *ChartNode, ways []ChartWay) bool {
	groups, rare := 0, 0.0
	for _, w := range ways {
		if n.Share*w.Chance >= u.splits {
			groups++
		} else {
			rare += n.Share * w.Chance
		}
	}
	if rare >= u.splits {
		groups++
	}
	return groups > 1
}

// partingTest is the first test on offer that parts what can be here, with the
// symptom to read; nil where none does.
func (u *unfolding) partingTest(n *ChartNode) (*Proposal, int) {
	d := n.Diagnosis
	if n.Share < 2*u.splits {
		return nil, -1
	}
	for i := range d.Next {
		p := &d.Next[i]
		if works(p.Step) || p.GainBits < Idle || !d.Fresh(p.Step) {
			continue
		}
		if s := d.mostTelling(p.Step); s >= 0 && u.parts(n, u.ways(d, p.Step, s)) {
			return p, s
		}
	}
	return nil, -1
}

// goes says whether some way is likely enough to go on with.
func (u *unfolding) goes(n *ChartNode, ways []ChartWay) bool {
	return slices.ContainsFunc(ways, func(w ChartWay) bool { return n.Share*w.Chance >= u.o.Least })
}

// firstTry is the first remedy on offer that is worth trying for want of anything
// better: it takes fewer minutes than handing over, the price of which it saves as
// often as it helps. A unit or module is taken out only where that is as likely to be
// right as the advice asks for. nil where there is none.
func (u *unfolding) firstTry(d *Diagnosis) *Proposal {
	if u.o.Identify || u.o.Optimal {
		return nil
	}
	for i := range d.Next {
		p := &d.Next[i]
		chance := d.takesChance(p.Step)
		if (d.tries(p.Step) || takesPartOut(p.Step) && chance >= Likely) && chance*d.Base.GiveUp > p.Price+p.Step.ProofMinutes() {
			return p
		}
	}
	return nil
}

// splitShare is how many of the places of a chart a group of answers has to be worth to
// be gone on with by itself: with few places for many causes, more splitting leaves none to try
// anything. Of 1, 2 and 4 it has the fewest expected minutes on the shipped rulebase, and settles most of
// a silent drop with its light lit: 37 of 100 with 200 places, 30 with 60, 12 with 15.
const splitShare = 2

// works says whether a step changes something of the drop, and does not only look.
func works(step *rulebase.Step) bool {
	return step.Kind == rulebase.KindRemedy || len(step.PutsRight) > 0
}

// ways are the results of a reading, or of work, the likeliest first.
func (u *unfolding) ways(d *Diagnosis, step *rulebase.Step, symptom int) []ChartWay {
	var all []ChartWay
	if works(step) {
		well := d.wellAfter(step)
		all = []ChartWay{{Drop: rulebase.Well, Chance: well}, {Drop: rulebase.StillDown, Chance: 1 - well}}
		return slices.DeleteFunc(all, func(w ChartWay) bool { return w.Chance <= 0 })
	}
	if symptom < 0 {
		return nil
	}
	reports, _ := d.reading(symptom)
	for v, p := range reports {
		if p > 0 {
			all = append(all, ChartWay{Values: []int{v}, Chance: p})
		}
	}
	slices.SortStableFunc(all, func(a, b ChartWay) int { return cmp.Compare(rounded(b.Chance), rounded(a.Chance)) })
	return all
}

// after is the situation once a way was gone.
func (u *unfolding) after(d *Diagnosis, step *rulebase.Step, symptom int, w ChartWay) rulebase.Situation {
	s := d.Situation.Clone()
	if w.Drop != rulebase.NotSaid {
		s.Done = append(s.Done, rulebase.Done{ID: step.ID, Drop: w.Drop})
		return s
	}
	values := d.Base.Symptoms[symptom].Values
	f := rulebase.Finding{Symptom: d.Base.Symptoms[symptom].ID}
	if len(w.Values) == 1 {
		f.Value.Word = values[w.Values[0]]
	} else {
		for _, v := range w.Values {
			f.Among = append(f.Among, values[v])
		}
	}
	if n := len(s.Done); n > 0 {
		f.After = s.Done[n-1].ID
	}
	s.Findings = append(s.Findings, f)
	return s
}

// reading gives the chances of what would be reported of a symptom now, and what
// that tells about what is wrong, in bits.
func (d *Diagnosis) reading(symptom int) (reports []float64, bits float64) {
	b := d.working.belief
	s := d.working.session.symptoms[symptom]
	share, shows := b.Kinds(s)
	sure := d.Base.SureOf(symptom, d.Situation.At)
	reports = make([]float64, s.Values())
	total := b.Total()
	reported := func(p float64) float64 { return float64(sure*p) + (1-sure)/float64(len(reports)) }
	for k, m := range share {
		if m == 0 {
			continue
		}
		for v, p := range shows[k] {
			reports[v] += float64(m * reported(p))
			bits += float64(m * plogp(reported(p)))
		}
	}
	// Outside shows every value alike, but of the complaint, after work, the one reported when the case began.
	k, alike, outside := d.working.known, 1/float64(len(reports)), b.Outside/total
	kept := d.Base.Complaint != nil && symptom == d.Base.Complaint.Symptom && len(d.Situation.Done) > 0
	for v := range reports {
		p := alike
		if kept {
			p = (1 - sure) * alike
			if v == k.reported() {
				p += sure
			}
		}
		reports[v] += float64(outside * p)
		bits += float64(outside * plogp(p))
	}
	for _, p := range reports {
		bits -= plogp(p)
	}
	return reports, bits
}

func plogp(p float64) float64 {
	if p <= 0 {
		return 0
	}
	return p * math.Log2(p)
}

// mostTelling is the symptom of a test that tells most of those not yet reported in
// this state of work; -1 where none tells anything, and for work.
func (d *Diagnosis) mostTelling(step *rulebase.Step) int {
	best, most := -1, 0.0
	if works(step) {
		return best
	}
	k := d.working.known
	for _, s := range step.Yields {
		if !d.Base.Symptoms[s].Weighs || d.Base.Symptoms[s].Banded() && k.limits[s] == nil || d.seenNow(s) || d.certainNow(s) {
			continue
		}
		if _, bits := d.reading(s); bits > most {
			best, most = s, bits
		}
	}
	if most < 1e-9 {
		return -1
	}
	return best
}

// seenNow says whether a symptom was reported by somebody in this state of work.
func (d *Diagnosis) seenNow(symptom int) bool {
	return slices.ContainsFunc(d.working.known.counting, func(r seen) bool {
		return r.symptom == symptom && r.rule < 0 && !r.silent && r.state == len(d.Situation.Done)
	})
}

// certainNow says whether a symptom is known for sure in this state of work, as the complaint is that nobody had to give.
func (d *Diagnosis) certainNow(symptom int) bool {
	return slices.ContainsFunc(d.working.known.counting, func(r seen) bool {
		return r.symptom == symptom && r.value >= 0 && r.sure == 1 && r.state == len(d.Situation.Done)
	})
}

// wellAfter is the chance that the drop is found well after work.
func (d *Diagnosis) wellAfter(step *rulebase.Step) float64 {
	c := d.Base.Complaint
	if c == nil || d.working.session.symptoms[c.Symptom] == nil {
		return 0
	}
	b := d.working.belief.Copy()
	after := b.Work(takings(d.Base, step.ID))
	kinds := d.working.session.symptoms[c.Symptom].Sort(after.Settled, &belief.Desk{})
	sum := 0.0
	for i, k := range kinds.Of {
		sum += float64(after.Weight[i] * kinds.P[k][c.Well])
	}
	if d.working.known.reported() == c.Well {
		sum += after.Outside
	}
	return sum / after.Total()
}

// reckon works out the expected minutes along the tree, and says whether all of it
// that the policy would do stands in it. To identify, a way that is cut counts with what the planner expects of it.
func (n *ChartNode) reckon(base *rulebase.Base, o ChartOptions) (whole bool) {
	n.Minutes = 0
	if n.Diagnosis != nil {
		n.Bound, n.Proven = n.Diagnosis.Plan.Bound, n.Diagnosis.Plan.Proven
	}
	whole = true
	switch n.End {
	case ChartGoesOn:
		if !n.Goes {
			n.Minutes = n.Step.Price + n.Step.Step.ProofMinutes()
		}
		for _, w := range n.Ways {
			whole = w.Node.reckon(base, o) && whole
			n.Minutes += float64(w.Chance * w.Node.Minutes)
		}
	case ChartCut, ChartTooRare:
		whole = false
		if !o.Identify {
			n.Minutes = base.GiveUp
		} else if n.Diagnosis != nil {
			n.Minutes = n.Diagnosis.Plan.Minutes
		}
	case ChartEnough, ChartCannotTell, ChartImpossible:
		if !o.Identify {
			n.Minutes = base.GiveUp
		}
	case ChartDisposition:
		if !o.Identify {
			n.Minutes = n.Diagnosis.Disposition.Minutes
		}
	}
	switch {
	case n.Minutes < n.Bound-1e-9*n.Bound: // the model, which tells less apart than the chart does, is refuted
		n.Bound, n.Proven = 0, false
	case n.Minutes <= n.Bound+1e-9*n.Bound:
		n.Proven = true
	}
	n.Proven = n.Proven && whole
	return whole
}

package chain_test

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand"
	"slices"
	"sort"
	"strings"
	"testing"
	"time"

	"downdrop/engine/chain"
	"downdrop/rulebase"
)

// The workload ruleload-1: inputs are flags or numbers; a rule is a conjunction
// of conditions that concludes one derived fact, ten levels deep. A session
// changes ten inputs of the state before it; then the engine must know exactly
// which derived facts hold. The digest (FNV-1a 64 over the names that hold) lets
// any engine check every answer; the first ones for seed 1 were computed by
// twelve engines that agreed.

type loadInput struct {
	Name string
	Kind string // "bool" or "num"
	Init any
}
type loadCond struct {
	F  string
	Op string // "==", ">=", "<"
	V  any
}
type loadRule struct {
	ID   string
	If   []loadCond
	Then string
}
type loadChange struct {
	F string
	V any
}
type loadSession struct {
	Set []loadChange
}
type loadExpected struct {
	Derived   int
	Satisfied int
	Digest    string
}
type ruleload struct {
	Format   string
	Seed     int64
	Levels   int
	Inputs   []loadInput
	Derived  []string   // in level order
	Rules    []loadRule // shuffled
	Sessions []loadSession
	Initial  loadExpected
	Expected []loadExpected
}

// generateRuleload makes a workload of nRules rules.
func generateRuleload(seed int64, nRules, nSessions int) *ruleload {
	r := rand.New(rand.NewSource(seed))
	const levels = 10
	nb, nn := max(30, nRules*14/100), max(10, nRules*6/100)
	w := &ruleload{Seed: seed, Levels: levels}
	base := map[string]any{}
	for i := 0; i < nb; i++ {
		in := loadInput{fmt.Sprintf("b%d", i), "bool", r.Intn(2) == 1}
		w.Inputs = append(w.Inputs, in)
		base[in.Name] = in.Init
	}
	for i := 0; i < nn; i++ {
		in := loadInput{fmt.Sprintf("n%d", i), "num", float64(r.Intn(1001)) / 10}
		w.Inputs = append(w.Inputs, in)
		base[in.Name] = in.Init
	}
	perLevel := nRules / (2 * levels)
	for i := 0; i < perLevel*levels; i++ {
		w.Derived = append(w.Derived, fmt.Sprintf("d%d", i))
	}
	inputCond := func() loadCond {
		in := w.Inputs[r.Intn(len(w.Inputs))]
		likely := r.Float64() < 0.85 // true in the initial state?
		if in.Kind == "bool" {
			return loadCond{in.Name, "==", in.Init.(bool) == likely}
		}
		t := float64(r.Intn(200)) / 2
		op := ">="
		if (in.Init.(float64) >= t) != likely {
			op = "<"
		}
		return loadCond{in.Name, op, t}
	}
	for lv := 0; lv < levels; lv++ {
		for k := 0; k < perLevel; k++ {
			then := lv*perLevel + k
			for a := 0; a < 2; a++ {
				var conds []loadCond
				nIn := 2 + r.Intn(2)
				if lv > 0 {
					nIn = 1 + r.Intn(2)
					conds = append(conds, loadCond{w.Derived[(lv-1)*perLevel+r.Intn(perLevel)], "==", true})
					if r.Intn(2) == 0 {
						conds = append(conds, loadCond{w.Derived[r.Intn(lv*perLevel)], "==", true})
					}
				}
				for j := 0; j < nIn; j++ {
					conds = append(conds, inputCond())
				}
				seen := map[string]bool{}
				uniq := conds[:0]
				for _, c := range conds { // one condition per fact
					if !seen[c.F] {
						seen[c.F] = true
						uniq = append(uniq, c)
					}
				}
				r.Shuffle(len(uniq), func(i, j int) { uniq[i], uniq[j] = uniq[j], uniq[i] })
				w.Rules = append(w.Rules, loadRule{If: uniq, Then: w.Derived[then]})
			}
		}
	}
	r.Shuffle(len(w.Rules), func(i, j int) { w.Rules[i], w.Rules[j] = w.Rules[j], w.Rules[i] })
	for i := range w.Rules {
		w.Rules[i].ID = fmt.Sprintf("r%d", i)
	}
	// sessions: 10 real changes each, mean-reverting so that about 15 % of inputs stand off base
	state := map[string]any{}
	for k, v := range base {
		state[k] = v
	}
	ref := newLoadReference(w)
	w.Initial = ref.Solve(state)
	for s := 0; s < nSessions; s++ {
		var ses loadSession
		touched := map[string]bool{}
		for len(ses.Set) < 10 {
			in := w.Inputs[r.Intn(len(w.Inputs))]
			if touched[in.Name] {
				continue
			}
			atBase := state[in.Name] == base[in.Name]
			if atBase && r.Float64() > 0.176 {
				continue
			}
			var v any
			switch {
			case !atBase:
				v = base[in.Name]
			case in.Kind == "bool":
				v = !state[in.Name].(bool)
			default:
				v = float64(r.Intn(1001)) / 10
				if v == state[in.Name] {
					continue
				}
			}
			touched[in.Name] = true
			state[in.Name] = v
			ses.Set = append(ses.Set, loadChange{in.Name, v})
		}
		w.Sessions = append(w.Sessions, ses)
		w.Expected = append(w.Expected, ref.Solve(state))
	}
	return w
}

// loadReference is a deliberately plain solver: repeat all rules until nothing changes.
type loadReference struct {
	w       *ruleload
	derived map[string]int
}

func newLoadReference(w *ruleload) *loadReference {
	ref := &loadReference{w, map[string]int{}}
	for i, d := range w.Derived {
		ref.derived[d] = i
	}
	return ref
}

func (ref *loadReference) Solve(state map[string]any) loadExpected {
	// What the inputs allow is settled once; then only derived facts matter.
	type open struct {
		needs []int
		then  int
	}
	var rules []open
	for _, r := range ref.w.Rules {
		o, ok := open{then: ref.derived[r.Then]}, true
		for _, c := range r.If {
			if d, isDerived := ref.derived[c.F]; isDerived {
				o.needs = append(o.needs, d)
			} else {
				ok = ok && loadHolds(c, state[c.F])
			}
		}
		if ok {
			rules = append(rules, o)
		}
	}
	holds := make([]bool, len(ref.w.Derived))
	sat := 0
	for changed := true; changed; {
		changed = false
		sat = 0
		for _, r := range rules {
			if slices.ContainsFunc(r.needs, func(d int) bool { return !holds[d] }) {
				continue
			}
			sat++
			if !holds[r.then] {
				holds[r.then], changed = true, true
			}
		}
	}
	n := 0
	for _, h := range holds {
		n += int(b2u(h))
	}
	return loadExpected{n, sat, loadDigest(ref.w.Derived, func(i int) bool { return holds[i] })}
}

// loadHolds says whether an input condition is met by value v.
func loadHolds(c loadCond, v any) bool {
	switch c.Op {
	case "==":
		return v == c.V
	case ">=":
		return v.(float64) >= c.V.(float64)
	default:
		return v.(float64) < c.V.(float64)
	}
}

// loadDigest is FNV-1a 64 over the names that hold, in the order of derived, each followed by a newline.
func loadDigest(derived []string, holds func(int) bool) string {
	h := fnv.New64a()
	for i, n := range derived {
		if holds(i) {
			h.Write([]byte(n))
			h.Write([]byte{'\n'})
		}
	}
	return fmt.Sprintf("%016x", h.Sum64())
}

// A floorNet is the compiled rulebase: atoms (floorInput conditions) and derived facts share one literal space.
type floorNet struct {
	nAtoms, nDerived, nRules int
	// literal l < nAtoms is an floorInput condition; nAtoms+k is derived fact k
	useStart []int32 // CSR: literal -> rules that have it
	use      []int32
	need     []int32 // rule -> number of antecedents
	head     []int32 // rule -> derived fact
	antStart []int32 // CSR: rule -> literals
	ant      []int32
	order    []int32 // rules in topological order
	level    []int32 // derived fact -> level
	nLevels  int
	inputs   map[string]int
	in       []floorInput
	names    []string
}

type floorInput struct {
	isBool bool
	atomT  int32 // literal "== true", or -1
	atomF  int32
	th     []float64 // sorted thresholds
	atomGE []int32   // literal "x >= th[i]" or -1
	atomLT []int32
}

func compileFloor(w *ruleload) *floorNet {
	n := &floorNet{inputs: map[string]int{}, nDerived: len(w.Derived), nRules: len(w.Rules), names: w.Derived}
	for i, in := range w.Inputs {
		n.inputs[in.Name] = i
		n.in = append(n.in, floorInput{isBool: in.Kind == "bool", atomT: -1, atomF: -1})
	}
	// thresholds
	for _, r := range w.Rules {
		for _, c := range r.If {
			if c.Op != "==" {
				p := &n.in[n.inputs[c.F]]
				t := c.V.(float64)
				k := sort.SearchFloat64s(p.th, t)
				if k == len(p.th) || p.th[k] != t {
					p.th = append(p.th, 0)
					copy(p.th[k+1:], p.th[k:])
					p.th[k] = t
				}
			}
		}
	}
	for i := range n.in {
		p := &n.in[i]
		p.atomGE, p.atomLT = make([]int32, len(p.th)), make([]int32, len(p.th))
		for k := range p.th {
			p.atomGE[k], p.atomLT[k] = -1, -1
		}
	}
	derived := map[string]int32{}
	for i, d := range w.Derived {
		derived[d] = int32(i)
	}
	atom := func(slot *int32) int32 {
		if *slot < 0 {
			*slot = int32(n.nAtoms)
			n.nAtoms++
		}
		return *slot
	}
	const derivedBase = 1 << 28
	rules := make([][]int32, len(w.Rules))
	for i, r := range w.Rules {
		for _, c := range r.If {
			var l int32
			if d, ok := derived[c.F]; ok {
				l = derivedBase + d
			} else {
				p := &n.in[n.inputs[c.F]]
				switch {
				case p.isBool && c.V.(bool):
					l = atom(&p.atomT)
				case p.isBool:
					l = atom(&p.atomF)
				default:
					k := sort.SearchFloat64s(p.th, c.V.(float64))
					if c.Op == ">=" {
						l = atom(&p.atomGE[k])
					} else {
						l = atom(&p.atomLT[k])
					}
				}
			}
			rules[i] = append(rules[i], l)
		}
		n.head = append(n.head, derived[r.Then])
		n.need = append(n.need, int32(len(r.If)))
	}
	nl := n.nAtoms + n.nDerived
	cnt := make([]int32, nl+1)
	n.antStart = append(n.antStart, 0)
	for i := range rules {
		for j, l := range rules[i] {
			if l >= derivedBase {
				l = l - derivedBase + int32(n.nAtoms)
				rules[i][j] = l
			}
			cnt[l+1]++
			n.ant = append(n.ant, l)
		}
		n.antStart = append(n.antStart, int32(len(n.ant)))
	}
	for l := 0; l < nl; l++ {
		cnt[l+1] += cnt[l]
	}
	n.useStart = append([]int32(nil), cnt...)
	n.use = make([]int32, len(n.ant))
	fill := append([]int32(nil), cnt[:nl]...)
	for i := range rules {
		for _, l := range rules[i] {
			n.use[fill[l]] = int32(i)
			fill[l]++
		}
	}
	// levels by relaxation over the acyclic graph
	n.level = make([]int32, n.nDerived)
	for changed := true; changed; {
		changed = false
		for i := range rules {
			lv := int32(0)
			for _, l := range rules[i] {
				if int(l) >= n.nAtoms {
					lv = max(lv, n.level[int(l)-n.nAtoms]+1)
				}
			}
			if lv > n.level[n.head[i]] {
				n.level[n.head[i]] = lv
				changed = true
			}
		}
	}
	for _, l := range n.level {
		n.nLevels = max(n.nLevels, int(l)+1)
	}
	n.order = make([]int32, n.nRules)
	for i := range n.order {
		n.order[i] = int32(i)
	}
	sort.SliceStable(n.order, func(a, b int) bool { return n.level[n.head[n.order[a]]] < n.level[n.head[n.order[b]]] })
	return n
}

// setAll writes the truth of every atom for a whole state.
func (n *floorNet) setAll(bools []bool, nums []float64, val []uint8) {
	for i := range n.in {
		p := &n.in[i]
		if p.isBool {
			if p.atomT >= 0 {
				val[p.atomT] = b2u(bools[i])
			}
			if p.atomF >= 0 {
				val[p.atomF] = b2u(!bools[i])
			}
			continue
		}
		for k, t := range p.th {
			if p.atomGE[k] >= 0 {
				val[p.atomGE[k]] = b2u(nums[i] >= t)
			}
			if p.atomLT[k] >= 0 {
				val[p.atomLT[k]] = b2u(nums[i] < t)
			}
		}
	}
}

func b2u(b bool) uint8 {
	if b {
		return 1
	}
	return 0
}

type floor struct {
	n       *floorNet
	val     []uint8 // literal truth
	left    []int32
	support []int32
	bools   []bool
	nums    []float64
	pending [][]int32 // by level: derived facts whose support changed
	queued  []bool
	sat     int
	touched int // rule visits, a machine-independent count
}

func newFloor(n *floorNet) *floor {
	s := &floor{n: n, val: make([]uint8, n.nAtoms+n.nDerived), left: append([]int32(nil), n.need...), support: make([]int32, n.nDerived),
		bools: make([]bool, len(n.in)), nums: make([]float64, len(n.in)), pending: make([][]int32, n.nLevels), queued: make([]bool, n.nDerived)}
	return s
}

func (s *floor) flip(l int32, up bool) {
	n := s.n
	us := n.use[n.useStart[l]:n.useStart[l+1]]
	s.touched += len(us)
	if up {
		s.val[l] = 1
		for _, r := range us {
			s.left[r]--
			if s.left[r] == 0 {
				s.sat++
				s.bump(n.head[r], 1)
			}
		}
		return
	}
	s.val[l] = 0
	for _, r := range us {
		if s.left[r] == 0 {
			s.sat--
			s.bump(n.head[r], -1)
		}
		s.left[r]++
	}
}

func (s *floor) bump(h, by int32) {
	s.support[h] += by
	if !s.queued[h] {
		s.queued[h] = true
		lv := s.n.level[h]
		s.pending[lv] = append(s.pending[lv], h)
	}
}

func (s *floor) propagate() {
	n := s.n
	for lv := range s.pending {
		for _, h := range s.pending[lv] {
			s.queued[h] = false
			l := int32(n.nAtoms) + h
			if up := s.support[h] > 0; up != (s.val[l] == 1) {
				s.flip(l, up)
			}
		}
		s.pending[lv] = s.pending[lv][:0]
	}
}

func (s *floor) initial(bools []bool, nums []float64) {
	copy(s.bools, bools)
	copy(s.nums, nums)
	val := make([]uint8, len(s.val))
	s.n.setAll(bools, nums, val)
	for l := 0; l < s.n.nAtoms; l++ {
		if val[l] == 1 {
			s.flip(int32(l), true)
		}
	}
	s.propagate()
}

func (s *floor) setBool(i int, v bool) {
	if s.bools[i] == v {
		return
	}
	s.bools[i] = v
	p := &s.n.in[i]
	if p.atomT >= 0 {
		s.flip(p.atomT, v)
	}
	if p.atomF >= 0 {
		s.flip(p.atomF, !v)
	}
}

func (s *floor) setNum(i int, v float64) {
	old := s.nums[i]
	s.nums[i] = v
	p := &s.n.in[i]
	lo, hi, up := old, v, true // x >= t changes for t in (lo, hi]
	if v < old {
		lo, hi, up = v, old, false
	}
	k := sort.Search(len(p.th), func(k int) bool { return p.th[k] > lo })
	for ; k < len(p.th) && p.th[k] <= hi; k++ {
		if p.atomGE[k] >= 0 {
			s.flip(p.atomGE[k], up)
		}
		if p.atomLT[k] >= 0 {
			s.flip(p.atomLT[k], !up)
		}
	}
}

// rules writes the workload as a rulebase. Each condition ends in what is given
// as tail.
func (w *ruleload) rules(tail string) string {
	var b strings.Builder
	b.WriteString("givens:\n  never: {default: false}\n")
	for _, in := range w.Inputs {
		if in.Kind == "bool" {
			fmt.Fprintf(&b, "  %s:\n", in.Name)
		} else {
			fmt.Fprintf(&b, "  %s: {unit: V}\n", in.Name)
		}
	}
	b.WriteString("rules:\n")
	for _, r := range w.Rules {
		var parts []string
		for _, c := range r.If {
			parts = append(parts, fmt.Sprintf("%s %s %v", c.F, c.Op, c.V))
		}
		fmt.Fprintf(&b, "  %s: {when: %s%s, then: {%s: true}, source: made}\n", r.ID, strings.Join(parts, " and "), tail, r.Then)
	}
	return b.String()
}

func slotFor(v any) rulebase.Slot {
	s := rulebase.Slot{Number: math.NaN(), Rank: rulebase.FromPerson}
	switch v := v.(type) {
	case bool:
		s.Word = 1
		if v {
			s.Word = 2
		}
	case float64:
		s.Number = v
	}
	return s
}

// loaded is a workload as downdrop holds it, beside the hand-written floor.
type loaded struct {
	w       *ruleload
	base    *rulebase.Base
	memory  *chain.Memory
	floor   *floor
	derived []int
	initial []change
	changes [][]change // by session
}

type change struct {
	name, input int // of ours, of the floor's
	slot        rulebase.Slot
	flag        bool
	number      float64
}

func loadRuleload(t testing.TB, rules, sessions int, tail string) *loaded {
	l := &loaded{w: generateRuleload(1, rules, sessions)}
	l.base = mustLoad(t, l.w.rules(tail))
	at := map[string]int{}
	for i, n := range l.base.Names {
		at[n.ID] = i
	}
	inputs := map[string]int{}
	changeOf := func(id string, v any) change {
		c := change{name: at[id], input: inputs[id], slot: slotFor(v)}
		c.flag, _ = v.(bool)
		c.number, _ = v.(float64)
		return c
	}
	for i, x := range l.w.Inputs {
		inputs[x.Name] = i
		l.initial = append(l.initial, changeOf(x.Name, x.Init))
	}
	for _, d := range l.w.Derived {
		l.derived = append(l.derived, at[d])
	}
	for _, s := range l.w.Sessions {
		var all []change
		for _, c := range s.Set {
			all = append(all, changeOf(c.F, c.V))
		}
		l.changes = append(l.changes, all)
	}
	l.begin()
	return l
}

// begin makes both engines and gives them the initial state.
func (l *loaded) begin() {
	in := empty(l.base)
	net := compileFloor(l.w)
	bools, nums := make([]bool, len(net.in)), make([]float64, len(net.in))
	for i, c := range l.initial {
		in.Slots[c.name] = c.slot
		bools[i], nums[i] = c.flag, c.number
	}
	l.memory = chain.Compile(l.base).NewMemory(in)
	l.floor = newFloor(net)
	l.floor.initial(bools, nums)
	l.floor.touched = 0
}

func (l *loaded) session(changes []change) {
	for i := range changes {
		l.memory.Set(changes[i].name, changes[i].slot, 0)
	}
	l.memory.Slot(l.derived[0]) // what follows is worked out when it is asked for
}

func (l *loaded) floorSession(changes []change) {
	f := l.floor
	for i := range changes {
		c := &changes[i]
		if f.n.in[c.input].isBool {
			f.setBool(c.input, c.flag)
		} else {
			f.setNum(c.input, c.number)
		}
	}
	f.propagate()
}

// check compares both engines with what the plain solver expects.
func (l *loaded) check(t testing.TB, when string, want loadExpected) {
	t.Helper()
	if got := loadDigest(l.w.Derived, func(i int) bool { return l.memory.Slot(l.derived[i]).Rank == rulebase.FromRules }); got != want.Digest {
		t.Fatalf("%s: digest %s, want %s", when, got, want.Digest)
	}
	if got := loadDigest(l.w.Derived, func(i int) bool { return l.floor.val[l.floor.n.nAtoms+i] == 1 }); got != want.Digest || l.floor.sat != want.Satisfied {
		t.Fatalf("%s: the floor's digest is %s with %d rules satisfied, want %s with %d", when, got, l.floor.sat, want.Digest, want.Satisfied)
	}
}

// checkAll plays all sessions and compares; it gives rules looked at, and
// antecedents visited by the floor, a session.
func (l *loaded) checkAll(t testing.TB, digest string) (visits, floorVisits float64) {
	t.Helper()
	if l.w.Initial.Digest != digest {
		t.Fatalf("the generator gives %s at first, want %s", l.w.Initial.Digest, digest)
	}
	l.check(t, "at first", l.w.Initial)
	before := l.memory.Visits()
	for s, changes := range l.changes {
		l.session(changes)
		l.floorSession(changes)
		l.check(t, fmt.Sprintf("session %d", s), l.w.Expected[s])
	}
	n := float64(len(l.changes))
	return float64(l.memory.Visits()-before) / n, float64(l.floor.touched) / n
}

// All digests of ruleload-1 come out, and the work stays what it is. (The floor
// visits 216.5 antecedents a session, as it did where it was first measured.)
func TestRuleload(t *testing.T) {
	visits, floorVisits := loadRuleload(t, 1000, 200, "").checkAll(t, "5e729500bc646618")
	if math.Abs(floorVisits-216.5) > 0.05 {
		t.Errorf("the floor visits %.2f antecedents a session, want 216.5", floorVisits)
	}
	if visits > 116 {
		t.Errorf("%.1f rules looked at in a session, want at most 116", visits)
	}
	evaluated, _ := loadRuleload(t, 1000, 200, " or never").checkAll(t, "5e729500bc646618")
	if evaluated > 216.5 {
		t.Errorf("%.1f rules looked at in a session where all are evaluated, want no more than the floor's antecedents", evaluated)
	}
}

// A session in a settled memory allocates nothing.
func TestSetAllocatesNothing(t *testing.T) {
	l := loadRuleload(t, 100, 40, "")
	for _, changes := range l.changes {
		l.session(changes)
	}
	n := 0
	if a := testing.AllocsPerRun(80, func() { l.session(l.changes[n%40]); n++ }); a != 0 {
		t.Errorf("a session allocates %v times", a)
	}
}

// Nor does one in which a circle is settled again.
func TestCircleAllocatesNothing(t *testing.T) {
	b := mustLoad(t, `
givens: {start: {ask: did it start}, other: {ask: the other}}
rules:
  enter: {when: start or other, then: {a: true}, source: made}
  there: {when: a, then: {b: true}, source: made}
  back:  {when: b, then: {a: true}, source: made}
`)
	m := chain.Compile(b).NewMemory(empty(b))
	start, a := slotOf(t, b, "start"), slotOf(t, b, "a")
	if n := testing.AllocsPerRun(50, func() {
		m.Set(start, said(2), 0)
		if !m.Known(a) {
			t.Fatal("a does not follow")
		}
		m.Retract(start)
		if m.Known(a) {
			t.Fatal("a stays")
		}
	}); n != 0 {
		t.Errorf("settling a circle allocates %v times", n)
	}
}

func benchmarkRuleload(b *testing.B, rules int, digest, tail string) {
	l := loadRuleload(b, rules, 200, tail)
	visits, floorVisits := l.checkAll(b, digest)
	var ours, floor time.Duration
	n := 0
	for b.Loop() {
		// Back to the start, which is not measured; then in turn, so that both see the same machine.
		l.session(l.initial)
		l.floorSession(l.initial)
		start := time.Now()
		for _, changes := range l.changes {
			l.session(changes)
		}
		middle := time.Now()
		for _, changes := range l.changes {
			l.floorSession(changes)
		}
		floor += time.Since(middle)
		ours += middle.Sub(start)
		n += len(l.changes)
	}
	b.ReportMetric(float64(ours.Nanoseconds())/float64(n), "ns/session")
	b.ReportMetric(float64(floor.Nanoseconds())/float64(n), "floor-ns/session")
	b.ReportMetric(float64(ours)/float64(floor), "x-floor")
	b.ReportMetric(visits, "visits/session")
	b.ReportMetric(floorVisits, "floor-visits/session")
}

// The initial digests are those of the first ruleload-1, seed 1.
func BenchmarkRuleload1000(b *testing.B)  { benchmarkRuleload(b, 1000, "5e729500bc646618", "") }
func BenchmarkRuleload10000(b *testing.B) { benchmarkRuleload(b, 10000, "12a9381187e6af61", "") }

// The same with conditions that are no plain rows of parts joined by `and`, so
// that every rule that reads something changed is evaluated.
func BenchmarkRuleloadEvaluated1000(b *testing.B) {
	benchmarkRuleload(b, 1000, "5e729500bc646618", " or never")
}
func BenchmarkRuleloadEvaluated10000(b *testing.B) {
	benchmarkRuleload(b, 10000, "12a9381187e6af61", " or never")
}

// BenchmarkReady10000 is the way from 10,000 rules as text to the first answer,
// stage by stage.
func BenchmarkReady10000(b *testing.B) {
	l := loadRuleload(b, 10000, 0, "")
	yaml := l.w.rules("")
	in := empty(l.base)
	for _, c := range l.initial {
		in.Slots[c.name] = c.slot
	}
	b.Run("load", func(b *testing.B) {
		for b.Loop() {
			mustLoad(b, yaml)
		}
	})
	b.Run("compile", func(b *testing.B) {
		for b.Loop() {
			chain.Compile(l.base)
		}
	})
	b.Run("run", func(b *testing.B) {
		p := chain.Compile(l.base)
		for b.Loop() {
			p.Run(in)
		}
	})
	b.Run("memory", func(b *testing.B) {
		for b.Loop() {
			chain.Compile(l.base).NewMemory(in)
		}
	})
}

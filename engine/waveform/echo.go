package waveform

import (
	"cmp"
	"math"
	"slices"

	"downdrop/engine/line"
)

// An EchoKind says what sends a wave back.
type EchoKind string

// The kinds.
const (
	OpenEnd EchoKind = "open_end" // an end without its terminator, or a break: the echo has the sign of the wave
	LowEnd  EchoKind = "low_end"  // a terminator too many or too low, a leak: the echo has the other sign, and stays
	Stub    EchoKind = "stub"     // a branch with an open end: first the other sign, then back
)

// An Echo is what came back, from where.
type Echo struct {
	Kind     EchoKind // "" with a Why
	Why      Unseen
	First    float64 // share of the first edge that the first echo adds
	Delay    Figure  // seconds from the edge to the first echo
	Round    Figure  // seconds there and back: to the end from the sender, or along the stub
	Distance Figure  // metres: of the end from the sender or the probe, whichever is nearer to it; of the stub, its length
	Nearer   line.Metre
	Settled  float64 // the settled swing as a multiple of the first step
	Misfit   float64 // rms, share of the swing
	fits     map[EchoKind]float64
	sigma    float64
}

// A front is the first edge of a response: where it begins and ends, its shape
// from 0 to 1, and how high it goes.
type front struct {
	from, mid, to int
	shape         []float64
	step          float64 // share of the settled swing
	rise          float64 // samples, 10 to 90 %
}

// frontOf finds the first edge: its steepest place, and from there both ways to
// where it is flat.
func (p *response) frontOf() (front, bool) {
	half := 0
	if p.sigma > 0.01 {
		half = 1
	}
	s := smooth(p.s, half)
	slope := make([]float64, len(s)-1)
	most := 0.0
	for i := range slope {
		slope[i] = s[i+1] - s[i]
		if i < 2*p.before {
			most = max(most, slope[i])
		}
	}
	if most < 6*p.sigma && most < 0.05 {
		return front{}, false
	}
	k := slices.IndexFunc(slope, func(x float64) bool { return x >= 0.5*most })
	for k+1 < len(slope) && slope[k+1] > slope[k] {
		k++
	}
	flat := max(0.08*slope[k], 3*p.sigma/math.Sqrt(float64(2*half+1)))
	f := front{mid: k, from: k, to: k + 1}
	for f.from > 0 && slope[f.from-1] > flat {
		f.from--
	}
	for f.to < len(slope) && slope[f.to] > flat {
		f.to++
	}
	if f.to+2 >= len(s) {
		return front{}, false
	}
	base := 0.0
	if f.from > 2 {
		base = mean(p.s[:f.from-1])
	}
	after := min(len(p.s), f.to+1+max(2, (f.to-f.from)/2))
	top := mean(p.s[f.to:after])
	f.step = top - base
	if f.step < 0.2 {
		return front{}, false
	}
	for i := f.from; i <= f.to; i++ {
		f.shape = append(f.shape, min(1, max(0, (p.s[i]-base)/f.step)))
	}
	f.rise = passes(p.s, f.from, f.to, base+0.9*f.step) - passes(p.s, f.from, f.to, base+0.1*f.step)
	return f, f.rise > 0
}

// passes is where a trace first reaches a level between two samples.
func passes(s []float64, from, to int, level float64) float64 {
	for i := max(1, from-1); i <= min(to+1, len(s)-1); i++ {
		if s[i] >= level && s[i-1] < level {
			return float64(i-1) + (level-s[i-1])/(s[i]-s[i-1])
		}
	}
	return float64(from)
}

// edge measures rise and overshoot.
func (r *Reading) edge(t *Talker) {
	p := &t.response
	f, ok := front{}, false
	if p.why == "" {
		f, ok = p.frontOf()
	}
	if !ok {
		why := cmp.Or(p.why, EchoUnsettled)
		t.Rise.Why, t.Overshoot.Why = why, why
		return
	}
	t.RiseRaw = f.rise * r.Step
	blur := 0.8 * r.Step // ten to ninety per cent of what laying edges on whole samples smears
	t.Rise = Figure{Value: t.RiseRaw, Plus: max(0.3*r.Step, 2*p.sigma*t.RiseRaw)}
	own := blur
	if r.Bandwidth > 0 {
		own = math.Hypot(own, riseOf(r.Bandwidth))
	}
	switch {
	case f.rise < 2:
		t.Rise.Why = FasterThanStep
	case r.Bandwidth > 0 && t.RiseRaw < 1.1*own:
		t.Rise.Why = FasterThanScope
	default:
		t.Rise.Value = math.Sqrt(t.RiseRaw*t.RiseRaw - own*own)
		t.Rise.Plus *= t.RiseRaw / t.Rise.Value
	}
	most := slices.Max(p.s[f.to:])
	t.Overshoot = Figure{Value: max(0, most-1), Plus: p.sigma}
}

// riseOf is the rise time, 10 to 90 %, of an instrument of this bandwidth: 0.35
// over the bandwidth for one that falls off gently (common practice; exactly
// ln 9 / 2 pi for a single pole).
func riseOf(bandwidth float64) float64 { return 0.35 / bandwidth }

// What an echo must have to be looked at.
const (
	leastEcho   = 0.05 // share of the first step
	candidates  = 6
	leastMisfit = 0.012 // share of the swing: no response fits a lattice better than cable does
	apart       = 1.35  // how much worse the second kind must fit
	goodFit     = 0.09  // share of the swing, rms: beyond it nothing fits
)

// echo says what follows a sender's edges.
func (r *Reading) echo(t *Talker, s *scan) Echo {
	p := &t.response
	if p.why != "" {
		return Echo{Why: p.why}
	}
	f, ok := p.frontOf()
	if !ok {
		return Echo{Why: EchoUnsettled}
	}
	// An echo within two samples or the edge is part of the edge.
	least := max(3, int(math.Ceil(max(2, f.rise)))) // samples
	e := Echo{sigma: p.sigma, Settled: 1 / f.step, Nearer: line.Metre(float64(least) * r.Step / (2 * float64(r.Delay)))}
	steps := p.steps(f, least)
	if len(steps) == 0 {
		e.Why = NoEcho
		return e
	}
	m := newMatcher(p, f, steps, least)
	e.fits = map[EchoKind]float64{}
	var best fit
	best.misfit = math.Inf(1)
	none := m.misfitOf([]wave{{0, 1}})
	for _, kind := range []EchoKind{OpenEnd, LowEnd, Stub} {
		one := m.best(kind)
		e.fits[kind] = one.misfit
		if one.misfit < best.misfit {
			best = one
		}
	}
	e.Misfit = best.misfit
	e.First = steps[0].share / f.step
	e.Delay = Figure{Value: float64(steps[0].lag) * r.Step, Plus: max(0.5, 0.2*f.rise) * r.Step}
	if none < 1.5*max(best.misfit, leastMisfit, p.sigma) {
		e.Why = NoEcho
		return e
	}
	e.Kind = best.kind
	e.Round = Figure{Value: float64(best.round) * r.Step, Plus: max(0.5, 0.2*f.rise) * r.Step}
	e.Distance = Figure{Value: e.Round.Value / 2 / float64(r.Delay)}
	// Cables differ: 4.2 to 5.7 ns/m about 5, taken as one deviation of 8 %.
	e.Distance.Plus = e.Distance.Value * math.Hypot(0.08, e.Round.Plus/e.Round.Value)
	return e
}

// A stepAt is a step of the response after its first edge.
type stepAt struct {
	lag   int // samples after the first edge
	share float64
}

// steps are the places where the response steps again, the largest few, in order.
func (p *response) steps(f front, least int) []stepAt {
	w := max(1, f.to-f.from)
	h := max(1, min(w, 4))
	diff := func(i int) float64 { // across an edge's width
		a, b := i-w/2, i+(w+1)/2
		if a-h < 0 || b+h > len(p.s) {
			return 0
		}
		return mean(p.s[b:b+h]) - mean(p.s[a-h:a])
	}
	floor := max(leastEcho*f.step, 5*p.sigma*math.Sqrt(2/float64(h)))
	var all []stepAt
	mid := f.mid
	for lag := least; mid+lag < len(p.s); lag++ {
		d := diff(mid + lag)
		if math.Abs(d) < floor {
			continue
		}
		top := true
		for k := -w; k <= w && top; k++ {
			if mid+lag+k-w/2 > f.to { // not into the first edge itself
				other := math.Abs(diff(mid + lag + k))
				top = other < math.Abs(d) || other == math.Abs(d) && k >= 0
			}
		}
		if top {
			all = append(all, stepAt{lag, d})
		}
	}
	slices.SortStableFunc(all, func(a, b stepAt) int { return cmp.Compare(math.Abs(b.share), math.Abs(a.share)) })
	all = all[:min(len(all), candidates)]
	slices.SortFunc(all, func(a, b stepAt) int { return a.lag - b.lag })
	return all
}

// A wave is a share of the first one, some samples later.
type wave struct {
	lag   int
	share float64
}

// A fit is what a kind of mismatch makes of a response at best.
type fit struct {
	kind   EchoKind
	misfit float64
	round  int // samples there and back that tell the distance
}

// A matcher lays lattices over a response.
type matcher struct {
	s      []float64 // from the first edge on, first step 1 or so
	shape  []float64
	lags   []int // where steps are
	least  int
	sketch []float64
	kernel []float64
}

func newMatcher(p *response, f front, steps []stepAt, least int) *matcher {
	m := &matcher{s: p.s[f.from:], shape: f.shape, least: least}
	for _, s := range steps {
		m.lags = append(m.lags, s.lag)
	}
	m.sketch = make([]float64, len(m.s))
	m.kernel = make([]float64, len(f.shape))
	for i := range m.kernel {
		m.kernel[i] = f.shape[i]
		if i > 0 {
			m.kernel[i] -= f.shape[i-1]
		}
	}
	return m
}

// misfitOf is how far, rms, the response lies from these waves at the best height.
func (m *matcher) misfitOf(waves []wave) float64 {
	clear(m.sketch)
	for _, w := range waves {
		for k, x := range m.kernel {
			if i := w.lag + k; i < len(m.sketch) {
				m.sketch[i] += w.share * x
			}
		}
	}
	var sum, xy, xx, yy float64
	for i, d := range m.sketch {
		sum += d
		y := m.s[i]
		xy, xx, yy = xy+sum*y, xx+sum*sum, yy+y*y
	}
	if xx == 0 || xy <= 0 {
		return math.Inf(1)
	}
	return math.Sqrt(max(0, yy-xy*xy/xx) / float64(len(m.s)))
}

// Reflections at a sender that drives: its own resistance, 15 to 90 ohm, beside a
// terminator or the rest of the trunk.
var atSender = []float64{-0.42, -0.5, -0.58, -0.66, -0.76}

// lowEnds are reflections at one terminator too many (-1/3), two, and at lower or
// higher values of one.
var lowEnds = []float64{-0.2, -1. / 3, -0.5}

// best is the best that a kind can do with the steps that were seen.
func (m *matcher) best(kind EchoKind) fit {
	b := fit{kind: kind, misfit: math.Inf(1)}
	try := func(round int, waves []wave) {
		if x := m.misfitOf(waves); x < b.misfit {
			b.misfit, b.round = x, round
		}
	}
	lags := m.near()
	for _, g := range atSender {
		switch kind {
		case OpenEnd:
			m.ends(lags, []wave{{0, 1}}, g, try)
		case LowEnd:
			for _, low := range lowEnds {
				m.ends(lags, []wave{{0, low}}, g, try)
			}
		case Stub:
			m.branches(lags, g, try)
		}
	}
	return b
}

// near is where steps are, and twice and half of it a little aside: a step whose
// place is off by a sample or two must not spoil a fit.
func (m *matcher) near() []int {
	return m.lags
}

// ends tries what a mismatch sends back, seen from the sender's side of it.
func (m *matcher) ends(lags []int, back []wave, g float64, try func(int, []wave)) {
	for _, round := range lags {
		try(round, m.behind(back, g, round))
		for _, first := range lags {
			if first < round {
				try(first, m.between(back, g, first, round))
			}
		}
		try(round, m.between(back, g, round, m.far())) // the sender's own echo comes too late to be seen
	}
}

// far is a lag beyond all that is looked at.
func (m *matcher) far() int { return len(m.s) + 1 }

// branches tries a stub: seen from the sender's side, from beyond it, from its end.
func (m *matcher) branches(lags []int, g float64, try func(int, []wave)) {
	for i, along := range lags {
		beyond := []wave{{0, 2. / 3}}
		end := []wave{{0, 4. / 3}}
		for k, x := 1, 4./9; k < 6; k, x = k+1, -x/3 {
			beyond = append(beyond, wave{k * along, x})
		}
		for k, x := 1, -4./9; k < 6; k, x = k+1, -x/3 {
			end = append(end, wave{k * along, x})
		}
		rounds := append([]int{m.far()}, lags...)
		for _, round := range rounds {
			again := m.series(m.stub(along), g, round)
			try(along, m.times(beyond, again))
			try(along, m.times(end, again))
		}
		for _, first := range lags[:i] {
			stub := m.stub(along - first)
			try(along-first, m.behind(stub, g, first))
			try(along-first, m.between(stub, g, first, m.far()))
			for _, round := range lags {
				if round > first {
					try(along-first, m.between(stub, g, first, round))
				}
			}
		}
	}
}

// stub is what a stub with an open end, of the trunk's own impedance, sends back.
func (m *matcher) stub(along int) []wave {
	all := []wave{{0, -1. / 3}}
	for k, x := 1, 4./9; k < 6; k, x = k+1, -x/3 {
		all = append(all, wave{k * along, x})
	}
	return all
}

// times is what two mismatches after each other make.
func (m *matcher) times(a, b []wave) []wave {
	var all []wave
	for _, x := range a {
		for _, y := range b {
			if w := (wave{x.lag + y.lag, x.share * y.share}); w.lag < len(m.s) && math.Abs(w.share) > 0.01 {
				all = append(all, w)
			}
		}
	}
	return all
}

// series is the wave that leaves the sender, with all that comes back to it and is
// sent out again.
func (m *matcher) series(back []wave, g float64, round int) []wave {
	all, last := []wave{{0, 1}}, []wave{{0, 1}}
	for range 12 {
		next := m.times(last, back)
		for i := range next {
			next[i].lag += round
			next[i].share *= g
		}
		next = slices.DeleteFunc(next, func(w wave) bool { return w.lag >= len(m.s) || math.Abs(w.share) < 0.01 })
		if len(next) == 0 {
			break
		}
		all, last = append(all, next...), next
	}
	return all
}

// between is what a probe between sender and mismatch sees.
func (m *matcher) between(back []wave, g float64, first, round int) []wave {
	seen := []wave{{0, 1}}
	for _, w := range back {
		seen = append(seen, wave{w.lag + first, w.share})
	}
	return m.times(seen, m.series(back, g, round))
}

// behind is what a probe at the sender, or on its other side, sees.
func (m *matcher) behind(back []wave, g float64, round int) []wave {
	seen := []wave{{0, 1}}
	for _, w := range m.times(back, m.series(back, g, round)) {
		seen = append(seen, wave{w.lag + round, w.share * (1 + g)})
	}
	return seen
}

// together is the echo of all senders: the kind that fits all of them best, told
// by the one that shows it most clearly.
func together(talkers []Talker) Echo {
	fits := map[EchoKind]float64{}
	var shown []Echo
	out := Echo{Why: NothingMoves}
	for _, t := range talkers {
		if t.Echo.Kind == "" {
			if out.Why == NothingMoves || out.Why == EchoUnsettled {
				out = t.Echo
			}
			continue
		}
		shown = append(shown, t.Echo)
		floor := max(leastMisfit, t.Echo.sigma)
		for kind, misfit := range t.Echo.fits {
			fits[kind] += math.Log(math.Hypot(misfit, floor))
		}
	}
	if len(shown) == 0 {
		return out
	}
	kinds := []EchoKind{OpenEnd, LowEnd, Stub}
	slices.SortStableFunc(kinds, func(a, b EchoKind) int { return cmp.Compare(fits[a], fits[b]) })
	i := slices.IndexFunc(shown, func(e Echo) bool { return e.Kind == kinds[0] })
	if i < 0 {
		e := shown[0]
		e.Kind, e.Why = "", EchoAmbiguous
		return e
	}
	e := shown[i]
	if e.Misfit > goodFit || (fits[kinds[1]]-fits[kinds[0]]) < math.Log(apart) {
		e.Kind, e.Why = "", EchoAmbiguous
	}
	return e
}

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

	atEnd  EchoKind = "at_end"  // an open end at the probe itself: no echo comes back from it
	noEcho EchoKind = "no_echo" // an edge and nothing after it
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
	fits     map[EchoKind]fit
	least    float64 // values: an echo before it cannot be told from the edge
	step     float64 // seconds from value to value
}

// A front is the first edge of a response, in its values: where it begins and ends
// and how high it goes.
type front struct {
	from, mid, to int
	middle        float64 // where it has gone half way
	step          float64 // share of the settled swing
	rise          float64 // values, 10 to 90 %
}

// frontOf finds the first edge: its steepest place, and from there both ways to
// where it is flat, or where the next edge begins.
func (p *response) frontOf() (front, bool) {
	var s, slope []float64
	var most, rough float64
	for half := 1; half <= 12; half++ { // a slow edge needs more smoothing
		s = smooth(p.s, half)
		slope, most = make([]float64, len(s)-1), 0
		for i := range slope {
			slope[i] = s[i+1] - s[i]
			if i < 2*p.before {
				most = max(most, slope[i])
			}
		}
		if rough = 1.5 * p.sigma / float64(2*half+1); most > 12*rough {
			break
		}
	}
	if most < 4*rough {
		return front{}, false
	}
	k := 0
	for k < len(slope) && slope[k] < 0.5*most {
		k++
	}
	for k+1 < len(slope) && slope[k+1] > slope[k] {
		k++
	}
	flat := max(0.1*slope[k], 2*rough)
	f := front{mid: k, from: k, to: k + 1}
	for f.from > 0 && slope[f.from-1] > flat {
		f.from--
	}
	for f.to < len(slope) && slope[f.to] > flat && !(slope[f.to] < 0.7*slope[k] && f.to+2 < len(slope) && slope[f.to+2] > slope[f.to]+max(4*rough, 0.2*slope[k])) {
		f.to++
	}
	if f.to+2 >= len(s) {
		return front{}, false
	}
	base := 0.0
	if f.from > 2 {
		base = mean(p.s[:f.from-1])
	}
	top := mean(p.s[f.to:min(len(p.s), f.to+2)])
	f.step = top - base
	if f.step < leastStep {
		return front{}, false
	}
	f.rise = passes(p.s, f.from, f.to, base+0.9*f.step) - passes(p.s, f.from, f.to, base+0.1*f.step)
	f.middle = passes(p.s, f.from, f.to, base+0.5*f.step)
	f.mid = int(math.Round(f.middle))
	return f, f.rise > 0
}

// leastStep is the least that a first edge can be of what it settles to: two thirds
// beyond a stub, and a little more for all else; a smaller one is a bend in it.
const leastStep = 0.5

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
	t.RiseRaw = f.rise * p.fine * r.Step
	blur := 0.6 * r.Step // ten to ninety per cent of what straight lines between values smear
	t.Rise = Figure{Value: t.RiseRaw, Plus: max(0.3*r.Step, 2*p.sigma*t.RiseRaw)}
	own := blur
	if r.Bandwidth > 0 {
		own = math.Hypot(own, riseOf(r.Bandwidth))
	}
	switch {
	case f.rise*p.fine < 2:
		t.Rise.Why = FasterThanStep
	case r.Bandwidth > 0 && t.RiseRaw < 1.1*own:
		t.Rise.Why = FasterThanScope
	default:
		t.Rise.Value = math.Sqrt(t.RiseRaw*t.RiseRaw - own*own)
		t.Rise.Plus *= t.RiseRaw / t.Rise.Value
	}
	if t.Rise.Why == FasterThanStep { // what the points make of a steep edge is no overshoot
		t.Overshoot.Why = FasterThanStep
		return
	}
	most := slices.Max(smooth(p.s, 1)[f.to:])
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
	leastMisfit = 0.01 // share of the swing: no response fits a lattice better than cable does
	apart       = 2    // by how much the second kind must be the worse, as a log-likelihood
	goodFit     = 4    // times what a sample may be off, rms: beyond it nothing fits
)

// An echo hardly beyond what can be seen is told only where all is clear: its trip
// a little longer than it must be, and the fit better.
const (
	surely   = 1.08
	closeFit = 1.5
)

// kinds are all that a response is compared with. noEcho is an edge and nothing after it.
var kinds = []EchoKind{noEcho, OpenEnd, LowEnd, Stub, atEnd}

// echo compares what follows a sender's edges with every kind of echo.
func (r *Reading) echo(s *scan, p *response) Echo {
	if p.why != "" {
		return Echo{Why: p.why}
	}
	f, ok := p.frontOf()
	if !ok {
		return Echo{Why: EchoUnsettled}
	}
	// An echo within two samples or the edge is part of the edge.
	least := int(math.Ceil(max(2/p.fine, f.rise) - 0.5))
	step := r.Step * p.fine
	e := Echo{Settled: 1 / f.step, Nearer: line.Metre(float64(least) * step / (2 * float64(r.Delay))), least: max(2/p.fine, f.rise), step: step}
	steps := p.steps(f, max(2, least-1))
	m := newMatcher(s, p.bursts[0], p, f, steps, least)
	e.fits = map[EchoKind]fit{}
	for _, kind := range kinds {
		e.fits[kind] = m.best(kind)
	}
	if len(steps) > 0 {
		e.First = steps[0].share / f.step
		e.Delay = Figure{Value: float64(steps[0].lag) * step, Plus: max(0.5, 0.2*f.rise) * step}
	}
	return e
}

// decide says of which kind an echo is, by all that show the same one.
func (r *Reading) decide(all []Echo) Echo {
	all = slices.DeleteFunc(slices.Clone(all), func(e Echo) bool { return e.fits == nil })
	if len(all) == 0 {
		return Echo{Why: EchoUnsettled}
	}
	// One after whose edges no step is seen at all may stand so that its echoes lie
	// within them: it says nothing against those of others.
	if some := slices.DeleteFunc(slices.Clone(all), func(e Echo) bool { return e.First == 0 }); len(some) > 0 {
		all = some
	}
	worse := func(kind EchoKind) float64 {
		var sum float64
		for _, e := range all {
			sum += e.fits[kind].against
		}
		return sum
	}
	order := slices.SortedStableFunc(slices.Values(kinds), func(a, b EchoKind) int { return cmp.Compare(worse(a), worse(b)) })
	best := order[0]
	// The one that shows the longest trip tells most of it.
	e := slices.MaxFunc(all, func(a, b Echo) int { return a.fits[best].round - b.fits[best].round })
	one := e.fits[best]
	e.Misfit = one.misfit
	switch {
	case best == noEcho:
		e.Why = NoEcho
	case float64(one.round) < e.least*ofValue*surely:
		e.Why = EchoTooClose
	case best == atEnd || one.misfit > goodFit || one.misfit > closeFit && float64(one.round) < 1.5*e.least*ofValue || worse(order[1])-worse(best) < apart:
		e.Why = EchoAmbiguous
	default:
		e.Kind = best
		e.Round = Figure{Value: float64(one.round) / ofValue * e.step, Plus: e.Delay.Plus}
		e.Distance = Figure{Value: e.Round.Value / 2 / float64(r.Delay)}
		// Cables differ: 4.2 to 5.7 ns/m about 5, taken as one deviation of 8 %.
		e.Distance.Plus = e.Distance.Value * math.Hypot(0.08, e.Round.Plus/e.Round.Value)
	}
	return e
}

// A stepAt is a step of the response after its first edge.
type stepAt struct {
	lag   int // samples after the first edge
	share float64
}

// steps are the places where the response steps again, the largest few, in order.
func (p *response) steps(f front, least int) []stepAt {
	w := max(1, int(math.Round(f.rise*0.8)))
	diff := func(i int) float64 { // across an edge's width
		a, b := i-w/2-1, i+(w+1)/2+1
		if a < 1 || b+1 >= len(p.s) {
			return 0
		}
		return (p.s[b] + p.s[b+1] - p.s[a] - p.s[a-1]) / 2
	}
	floor := max(leastEcho*f.step, 5*p.sigma)
	var all []stepAt
	for lag := least; f.mid+lag < len(p.s); lag++ {
		d := diff(f.mid + lag)
		if math.Abs(d) < floor {
			continue
		}
		top := true
		for k := -w; k <= w && top; k++ {
			if lag+k < least || k == 0 {
				continue
			}
			other := diff(f.mid + lag + k)
			top = math.Abs(other) < math.Abs(d) || other == d && k > 0 || other*d < 0
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

// A wave is a share of the first one, some phases later.
type wave struct {
	lag   int
	share float64
}

// A fit is what a kind of mismatch makes of a response at best.
type fit struct {
	kind    EchoKind
	misfit  float64
	against float64 // how unlikely it makes the response: minus the logarithm, and one for each lag it could choose
	round   int     // phases there and back that tell the distance
}

// A matcher lays lattices over the samples of a burst.
type matcher struct {
	v, weight []float64 // the samples that are compared, and what each counts
	bits      [phases][]float64
	ahead     int // values of bits before the first sample
	last      int // values: the longest lag
	lags      []int
	own       int // phases by which the first wave comes after the edges' places
}

// phases are the parts of a sample by which a wave's lag is told; a value of the
// response is four of them.
const (
	phases  = 8
	ofValue = phases / 2
)

// mostCompared bounds the samples of a burst that are compared.
const mostCompared = 1500

// newMatcher prepares a burst: its bits as they would be without any echo, a
// straight edge for each change, at eight places between the samples.
func newMatcher(s *scan, b *burst, p *response, f front, steps []stepAt, least int) *matcher {
	m := &matcher{last: 2 * p.knots.last}
	from, to := b.span(p.knots)
	to = min(to, len(s.v))
	from = max(from, to-mostCompared)
	m.ahead = p.knots.last + 2
	width := max(0.1, f.rise/0.8*p.fine)
	for phase := range m.bits {
		m.bits[phase] = bitsOf(b.edges, from-m.ahead, to, float64(phase)/phases, width)
	}
	m.own = int(math.Round((f.middle - float64(p.before)) * ofValue))
	swing := math.Abs(p.swing)
	spread := math.Hypot(math.Hypot(s.noise, leastMisfit*swing), p.left/4)
	for i := from; i < to; i++ {
		bend := 0.0
		if i > 0 && i+1 < len(s.v) { // where the trace is steep, a little of a sample is much
			bend = 0.12 * max(math.Abs(s.v[i+1]-s.v[i]), math.Abs(s.v[i]-s.v[i-1]))
		}
		m.v = append(m.v, s.v[i])
		m.weight = append(m.weight, 1/(spread*spread+bend*bend))
	}
	for _, s := range steps {
		m.lags = append(m.lags, s.lag)
	}
	// Beside the echoes that can be seen, those that lie within the edge have their say.
	for lag := 1; len(steps) > 0 && lag < steps[0].lag && lag < least; lag += max(1, least/4) {
		m.lags = append(m.lags, lag)
	}
	slices.Sort(m.lags)
	return m
}

// bitsOf are the bits of a burst, 0 and 1, at the samples from one to another, that
// much later.
func bitsOf(edges []edge, from, to int, later, width float64) []float64 {
	out := make([]float64, 0, to-from)
	passed := 0
	level := 0.0
	if !edges[0].up {
		level = 1
	}
	for i := from; i < to; i++ {
		at := float64(i) - later
		for passed < len(edges) && at-edges[passed].at >= width/2 {
			level = 0
			if edges[passed].up {
				level = 1
			}
			passed++
		}
		x := level
		for _, e := range edges[passed:] {
			share := (at-e.at)/width + 0.5
			if share <= 0 {
				break
			}
			if e.up {
				x += share
			} else {
				x -= share
			}
		}
		out = append(out, x)
	}
	return out
}

// A lattice is the waves of a mismatch, and their longest single trip.
type lattice struct {
	waves []wave
	trip  int
}

// losses are shares that the cable takes of a wave on the longest trip.
var losses = []float64{0, 0.05, 0.1, 0.16}

// distance is how far the samples lie from a lattice, a mean of squares in units of
// what they may: the lattice's height and level are fitted. lost is the share that
// each echo has lost; late are phases by which all of it comes later.
func (m *matcher) distance(l lattice, lost float64, late int) float64 {
	y := make([]float64, len(m.v))
	for _, w := range l.waves {
		share := w.share
		if w.lag > 0 && lost > 0 {
			share *= math.Pow(1-lost, float64(w.lag)/float64(l.trip))
		}
		at := w.lag + m.own + late // phases
		whole := floorDiv(at, phases)
		if whole >= m.ahead || whole < 0 && -whole > m.ahead {
			continue
		}
		bits := m.bits[at-whole*phases]
		for i := range y {
			if k := i + m.ahead - whole; k < len(bits) {
				y[i] += share * bits[k]
			}
		}
	}
	var n, sy, sv, syy, syv, svv float64
	for i, v := range m.v {
		w := m.weight[i]
		n, sy, sv = n+w, sy+w*y[i], sv+w*v
		syy, syv, svv = syy+w*y[i]*y[i], syv+w*y[i]*v, svv+w*v*v
	}
	syy, syv, svv = syy-sy*sy/n, syv-sy*sv/n, svv-sv*sv/n
	if syy <= 0 || syv <= 0 {
		return svv / float64(len(m.v))
	}
	return max(0, svv-syv*syv/syy) / float64(len(m.v))
}

func floorDiv(a, b int) int { return int(math.Floor(float64(a) / float64(b))) }

// Reflections at a sender that drives: its own resistance, 15 to 90 ohm, beside a
// terminator or the rest of the trunk.
var atSender = []float64{-0.42, -0.5, -0.58, -0.66, -0.76}

// lowEnds are reflections at one terminator too many (-1/3), two, and at lower or
// higher values of one.
var lowEnds = []float64{-0.2, -1. / 3, -0.5}

// A form is a mismatch seen from a place: its lattice by the lags of its echoes, of
// which the first so many count.
type form struct {
	lags  int
	round func(l [3]int) int // the trip that tells the distance
	build func(m *matcher, l [3]int, g, low float64) []wave
}

// ends are the forms of one mismatch that sends a share back.
var ends = []form{
	{1, func(l [3]int) int { return l[0] }, func(m *matcher, l [3]int, g, low float64) []wave {
		return m.behind([]wave{{0, low}}, g, l[0])
	}},
	{1, func(l [3]int) int { return l[0] }, func(m *matcher, l [3]int, g, low float64) []wave {
		return m.between([]wave{{0, low}}, g, l[0], m.far())
	}},
	{2, func(l [3]int) int { return l[0] }, func(m *matcher, l [3]int, g, low float64) []wave {
		return m.between([]wave{{0, low}}, g, l[0], l[1])
	}},
}

// branches are the forms of a stub: seen from beyond it, from its end, from the
// sender, from between. A stub moves no settled level.
var branches = []form{
	{1, func(l [3]int) int { return l[0] }, func(m *matcher, l [3]int, g, _ float64) []wave {
		return rung(2./3, 4./9, l[0])
	}},
	{2, func(l [3]int) int { return l[0] }, func(m *matcher, l [3]int, g, _ float64) []wave {
		return m.times(rung(2./3, 4./9, l[0]), m.series(rung(-1./3, 4./9, l[0]), g, l[1]))
	}},
	{2, func(l [3]int) int { return l[1] }, func(m *matcher, l [3]int, g, _ float64) []wave {
		return m.times(rung(2./3, 4./9, l[1]), m.series(rung(-1./3, 4./9, l[1]), g, l[0]))
	}},
	{1, func(l [3]int) int { return l[0] }, func(m *matcher, l [3]int, g, _ float64) []wave {
		return rung(4./3, -4./9, l[0])
	}},
	{2, func(l [3]int) int { return l[0] }, func(m *matcher, l [3]int, g, _ float64) []wave {
		return m.times(rung(4./3, -4./9, l[0]), m.series(rung(-1./3, 4./9, l[0]), g, l[1]))
	}},
	{2, func(l [3]int) int { return l[1] }, func(m *matcher, l [3]int, g, _ float64) []wave {
		return m.times(rung(4./3, -4./9, l[1]), m.series(rung(-1./3, 4./9, l[1]), g, l[0]))
	}},
	{2, func(l [3]int) int { return l[1] - l[0] }, func(m *matcher, l [3]int, g, _ float64) []wave {
		return m.behind(rung(-1./3, 4./9, l[1]-l[0]), g, l[0])
	}},
	{2, func(l [3]int) int { return l[1] - l[0] }, func(m *matcher, l [3]int, g, _ float64) []wave {
		return m.between(rung(-1./3, 4./9, l[1]-l[0]), g, l[0], m.far())
	}},
	{3, func(l [3]int) int { return l[1] - l[0] }, func(m *matcher, l [3]int, g, _ float64) []wave {
		return m.between(rung(-1./3, 4./9, l[1]-l[0]), g, l[0], l[2])
	}},
	{3, func(l [3]int) int { return l[2] - l[0] }, func(m *matcher, l [3]int, g, _ float64) []wave {
		return m.between(rung(-1./3, 4./9, l[2]-l[0]), g, l[0], l[1])
	}},
}

// standing is an open end at the probe: what it sends back comes again from the sender.
var standing = []form{
	{1, func(l [3]int) int { return l[0] }, func(m *matcher, l [3]int, g, _ float64) []wave {
		return m.series([]wave{{0, 1}}, g, l[0])
	}},
}

// rung is a first wave and then, each a lag later, one and what rings after it
// in a stub with an open end, of the trunk's own impedance: a third, the other way.
func rung(first, then float64, lag int) []wave {
	all := []wave{{0, first}}
	for k := 1; math.Abs(then) > 0.004; k, then = k+1, -then/3 {
		all = append(all, wave{k * lag, then})
	}
	return all
}

// best is the best that a kind can do with the steps that were seen, their places
// moved a little.
func (m *matcher) best(kind EchoKind) fit {
	b := fit{kind: kind, misfit: math.Inf(1), against: math.Inf(1)}
	forms, shares := ends, []float64{1}
	switch kind {
	case noEcho:
		forms = alone
	case LowEnd:
		shares = lowEnds
	case Stub:
		forms, shares = branches, []float64{0}
	case atEnd:
		forms = standing
	}
	var tried []search
	least := math.Inf(1)
	for _, f := range forms {
		t := search{m: m, form: f, best: math.Inf(1), lost: losses[1]}
		t.coarse(shares)
		least = min(least, t.best)
		tried = append(tried, t)
	}
	for _, t := range tried {
		if t.best > worthFine*least || math.IsInf(t.best, 1) {
			continue
		}
		t.fine()
		one := fit{kind: kind, misfit: math.Sqrt(t.best), against: m.against(t.best) + 2*float64(t.form.lags), round: t.form.round(t.at)}
		if one.against < b.against {
			b = one
		}
	}
	return b
}

// worthFine is how much farther off than the best a form may lie to be looked at
// more closely.
const worthFine = 4

// A search looks for the best of one form.
type search struct {
	m      *matcher
	form   form
	best   float64
	at     [3]int
	g, low float64
	lost   float64
	late   int
}

func (t *search) try(at [3]int, g, low, lost float64, late int) {
	n := t.form.lags
	if n > 0 && at[0] < 2 || n > 1 && at[1] <= at[0] || n > 2 && at[2] <= at[1] {
		return
	}
	l := lattice{t.form.build(t.m, at, g, low), max(1, at[0], at[1], at[2])}
	if x := t.m.distance(l, lost, late); x < t.best {
		t.best, t.at, t.g, t.low, t.lost, t.late = x, at, g, low, lost, late
	}
}

// coarse puts echoes where steps were seen.
func (t *search) coarse(shares []float64) {
	for _, low := range shares {
		t.m.each(t.form.lags, func(at [3]int) {
			for k := range at {
				at[k] *= ofValue
			}
			t.try(at, atSender[2], low, losses[1], 0)
		})
	}
}

// fine moves everything a little aside.
func (t *search) fine() {
	for _, by := range []int{4, 2, 1, 1} {
		for _, g := range atSender {
			t.try(t.at, g, t.low, t.lost, t.late)
		}
		for _, lost := range losses {
			t.try(t.at, t.g, t.low, lost, t.late)
		}
		for _, move := range []int{-by, by} {
			t.try(t.at, t.g, t.low, t.lost, t.late+move)
			for k := range t.form.lags {
				at := t.at
				at[k] += move
				t.try(at, t.g, t.low, t.lost, t.late)
			}
		}
	}
}

// against is minus the logarithm of how likely a distance makes the samples, their
// spread not being known for sure. As if every second sample were one of its own.
func (m *matcher) against(distance float64) float64 {
	return min(float64(len(m.v))/2, mostOwn) / 2 * math.Log(distance+0.3)
}

// mostOwn bounds what one burst may say.
const mostOwn = 400

// alone is an edge and nothing after it.
var alone = []form{{0, func([3]int) int { return 0 }, func(*matcher, [3]int, float64, float64) []wave { return []wave{{0, 1}} }}}

// each gives every choice of n of the steps, in order.
func (m *matcher) each(n int, try func([3]int)) {
	var choose func(l [3]int, k, from int)
	choose = func(l [3]int, k, from int) {
		if k == n {
			try(l)
			return
		}
		for i := from; i < len(m.lags); i++ {
			l[k] = m.lags[i]
			choose(l, k+1, i+1)
		}
	}
	choose([3]int{}, 0, 0)
}

// far is a lag beyond all that is looked at.
func (m *matcher) far() int { return m.last*ofValue + 1 }

// times is what two mismatches after each other make.
func (m *matcher) times(a, b []wave) []wave {
	var all []wave
	for _, x := range a {
		for _, y := range b {
			if w := (wave{x.lag + y.lag, x.share * y.share}); w.lag < m.far() && math.Abs(w.share) > 0.01 {
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
		next = slices.DeleteFunc(next, func(w wave) bool { return w.lag >= m.far() || math.Abs(w.share) < 0.01 })
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

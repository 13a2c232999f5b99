package waveform

import (
	"math"
	"slices"
)

// A response is what the pair at the probe makes of one clean change of a bit: the
// trace from a little before the edge until long after it, as a share of the swing
// that it settles to. It is found from all edges of a sender at once, by least
// squares, so that echoes longer than a bit come out right too, and noise averages
// away. Edges fall between the samples at all places: together they show more of
// an edge than the samples of a single one do.
type response struct {
	bursts []*burst
	knots  knots
	fine   float64   // samples from value to value
	before int       // values before the edge
	s      []float64 // from there on; settles to 1
	sigma  float64   // noise of a value of s
	swing  float64   // volts that a share of 1 stands for
	left   float64   // volts rms that the edges do not explain
	edges  int
	why    Unseen
}

// Bounds of a response, in values.
const (
	nearSamples = 24  // around the edge, with two values to the sample
	mostLags    = 330 // samples after the edge
	fewestLags  = 6

	// longestEcho is when all echoes of a trunk are over: a few round trips of
	// 1200 m, 12 us each.
	longestEcho = 40e-6
)

// knots are the places of a response's values, in samples from the edge: dense near
// it, one to the sample beyond.
type knots struct {
	before, near, last int // samples
}

func (k knots) count() int { return 2*(k.before+k.near) + (k.last - k.near) + 1 }

// at is a place as a value's number and a part of one.
func (k knots) at(lag float64) float64 {
	if lag <= float64(k.near) {
		return 2 * (lag + float64(k.before))
	}
	return float64(2*(k.before+k.near)) + lag - float64(k.near)
}

// respond finds a sender's response, by each of its bursts that is long enough, the
// longest first, or else by all of them together: senders as loud as each other may
// stand at different places. bit is its bit time in samples.
func respond(s *scan, group []*burst, bit float64) []response {
	var all []response
	for _, b := range slices.SortedStableFunc(slices.Values(group), func(a, b *burst) int { return len(b.edges) - len(a.edges) }) {
		if p := respondOnce(s, []*burst{b}, bit); p.why == "" && len(all) < mostResponses {
			all = append(all, p)
		}
	}
	if len(all) == 0 {
		return []response{respondOnce(s, group, bit)}
	}
	return all
}

// mostResponses bounds the work on a sender with many bursts.
const mostResponses = 4

func respondOnce(s *scan, group []*burst, bit float64) response {
	p := response{bursts: group, fine: 0.5}
	longest := 0.0
	for _, b := range group {
		p.edges += len(b.edges)
		longest = max(longest, float64(b.to-b.from))
	}
	if bit < fewestInBit || p.edges < 4 {
		p.why = FewEdges
		return p
	}
	k := knots{before: int(min(max(3, 0.4*bit), 24))}
	k.last = int(min(mostLags, 6*bit, 0.35*longest, max(0.9*bit, longestEcho/s.step)))
	for rows := 0; ; k.last = k.last * 4 / 5 {
		k.near = min(nearSamples, k.last)
		if k.last < fewestLags {
			p.why = EchoUnsettled
			return p
		}
		if rows = rowsOf(group, k); 10*rows >= 11*k.count() {
			break
		}
	}
	// Unknowns: the values of the response, the settled swing, the level before.
	n := k.count()
	a := newNormal(n + 2)
	for _, b := range group {
		a.burst(s.v, b, k)
	}
	a.stiffen(n)
	x, ok := a.solve()
	if !ok || math.Abs(x[n]) < 1e-12 {
		p.why = EchoUnsettled
		return p
	}
	p.left = math.Sqrt(max(0, a.residual(x)) / math.Max(1, float64(a.rows-n-2)))
	p.swing, p.knots = x[n], k
	p.before = 2 * k.before
	for i := range 2 * (k.before + k.last) {
		at := k.at(float64(i)/2 - float64(k.before))
		j := min(int(at), n-2)
		p.s = append(p.s, (x[j]+(x[j+1]-x[j])*(at-float64(j)))/p.swing)
	}
	p.sigma = max(p.left, s.noise) / math.Abs(p.swing) / math.Sqrt(math.Max(1, float64(p.edges)-2))
	return p
}

// A normal holds the normal equations of a least-squares fit.
type normal struct {
	n    int
	m    []float64 // n by n
	rhs  []float64
	vv   float64
	rows int
}

func newNormal(n int) *normal { return &normal{n: n, m: make([]float64, n*n), rhs: make([]float64, n)} }

// rowsOf is how many samples tell of a response.
func rowsOf(group []*burst, k knots) int {
	sum := 0
	for _, b := range group {
		from, to := b.span(k)
		sum += max(0, to-from)
	}
	return sum
}

// span is where every edge before a sample is known: from a response's length after
// the first edge, for a burst begins from idle, and to the last edge.
func (b *burst) span(k knots) (from, to int) {
	if len(b.edges) < 2 {
		return 0, 0
	}
	return int(b.edges[0].at) + k.last + 1, int(b.edges[len(b.edges)-1].at) - k.before
}

// burst adds a burst's samples.
func (a *normal) burst(v []float64, b *burst, k knots) {
	n := k.count()
	from, to := b.span(k)
	first := 0
	var col []int
	var val []float64
	for i := max(0, from); i < to && i < len(v); i++ {
		for first < len(b.edges) && float64(i)-b.edges[first].at > float64(k.last) {
			first++
		}
		col, val = col[:0], val[:0]
		for _, e := range b.edges[first:] {
			lag := float64(i) - e.at
			if lag < -float64(k.before) {
				break
			}
			w := -1.0
			if e.up {
				w = 1
			}
			at := k.at(lag)
			j := min(int(at), n-2)
			part := at - float64(j)
			col, val = append(col, j, j+1), append(val, w*(1-part), w*part)
		}
		// All edges that are past leave the upper level or the lower one.
		settledUp := !b.edges[0].up
		if first > 0 {
			settledUp = b.edges[first-1].up
		}
		if settledUp {
			col, val = append(col, n), append(val, 1)
		}
		col, val = append(col, n+1), append(val, 1)
		a.row(col, val, v[i])
	}
}

func (a *normal) row(col []int, val []float64, v float64) {
	for i, c := range col {
		for j, d := range col {
			a.m[c*a.n+d] += val[i] * val[j]
		}
		a.rhs[c] += val[i] * v
	}
	a.vv += v * v
	a.rows++
}

// stiffen holds neighbouring values together, weakly: where no edge falls between
// two samples just so, a value goes along with those beside it.
func (a *normal) stiffen(n int) {
	const weight = 0.02
	for i := 1; i+1 < n; i++ {
		for p, x := range [3]float64{1, -2, 1} {
			for q, y := range [3]float64{1, -2, 1} {
				a.m[(i-1+p)*a.n+i-1+q] += weight * x * y
			}
		}
	}
	for i := n - 4; i < n; i++ { // at its end it has settled
		a.m[i*a.n+i]++
		a.m[n*a.n+n]++
		a.m[i*a.n+n]--
		a.m[n*a.n+i]--
	}
	for i := range a.n {
		a.m[i*a.n+i] += 1e-6
	}
}

// solve is Cholesky's way.
func (a *normal) solve() ([]float64, bool) {
	n := a.n
	if a.rows < n {
		return nil, false
	}
	l := append([]float64(nil), a.m...)
	for j := range n {
		row := l[j*n : j*n+j]
		d := l[j*n+j]
		for _, x := range row {
			d -= x * x
		}
		if d <= 0 {
			return nil, false
		}
		d = math.Sqrt(d)
		l[j*n+j] = d
		for i := j + 1; i < n; i++ {
			sum := l[i*n+j]
			other := l[i*n : i*n+j]
			for k, x := range row {
				sum -= x * other[k]
			}
			l[i*n+j] = sum / d
		}
	}
	x := append([]float64(nil), a.rhs...)
	for i := range n {
		for k := range i {
			x[i] -= l[i*n+k] * x[k]
		}
		x[i] /= l[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			x[i] -= l[k*n+i] * x[k]
		}
		x[i] /= l[i*n+i]
	}
	return x, true
}

// residual is the sum of squares that a solution leaves.
func (a *normal) residual(x []float64) float64 {
	n := a.n
	var xmx, xr float64
	for i := range n {
		var row float64
		for j := range n {
			row += a.m[i*n+j] * x[j]
		}
		xmx += x[i] * row
		xr += x[i] * a.rhs[i]
	}
	return a.vv - 2*xr + xmx
}

package waveform

import "math"

// A response is what the pair at the probe makes of one clean change of a bit: the
// trace from a little before the edge until long after it, as a share of the swing
// that it settles to. It is found from all edges of a sender at once, by least
// squares, so that echoes longer than a bit come out right too, and noise averages
// away.
type response struct {
	bursts []*burst
	before int       // samples before the edge
	s      []float64 // from there on; settles to 1
	sigma  float64   // noise of a value of s
	swing  float64   // volts that a share of 1 stands for
	left   float64   // volts rms that the edges do not explain
	edges  int
	why    Unseen
}

// Bounds of a response: lags, and the bits that it may span.
const (
	mostLags   = 360
	fewestLags = 8
)

// respond finds a sender's response. bit is its bit time in samples.
func respond(s *scan, group []*burst, bit float64) response {
	p := response{bursts: group}
	longest := 0.0
	for _, b := range group {
		p.edges += len(b.edges)
		longest = max(longest, float64(b.to-b.from))
	}
	if bit < fewestInBit || p.edges < 4 {
		p.why = FewEdges
		return p
	}
	p.before = int(min(max(3, 0.4*bit), 60))
	lags := int(min(mostLags, 20*bit, max(0.9*bit, 0.28*longest)))
	n := p.before + lags
	if lags < fewestLags {
		p.why = EchoUnsettled
		return p
	}
	// Unknowns: n values of the response, the settled swing, the level before.
	a := newNormal(n + 2)
	for _, b := range group {
		a.burst(s.v, b, p.before, n)
	}
	x, ok := a.solve()
	if !ok || math.Abs(x[n]) < 1e-12 {
		p.why = EchoUnsettled
		return p
	}
	p.swing = x[n]
	p.s = x[:n]
	for i := range p.s {
		p.s[i] /= p.swing
	}
	p.left = math.Sqrt(max(0, a.residual(x, p.swing)) / math.Max(1, float64(a.rows-n-2)))
	p.sigma = p.left / math.Abs(p.swing) / math.Sqrt(math.Max(1, float64(p.edges)-2))
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

// burst adds a burst's samples from where every edge before it is known: a
// response's length after its beginning, for it begins from idle.
func (a *normal) burst(v []float64, b *burst, before, n int) {
	if len(b.edges) < 2 {
		return
	}
	at := make([]int, len(b.edges))
	for i, e := range b.edges {
		at[i] = int(math.Round(e.at))
	}
	// The sender begins and ends somewhere around its first and last edge: only what
	// lies between them is its own, and only once the first edges are long past.
	from := min(at[0]+n-before, at[len(at)-1])
	to := at[len(at)-1] - before
	first := 0
	col := make([]int, 0, 64)
	val := make([]float64, 0, 64)
	for k := from; k < to && k < len(v); k++ {
		for first < len(at) && k-at[first]+before >= n {
			first++
		}
		col, val = col[:0], val[:0]
		for i := first; i < len(at); i++ {
			lag := k - at[i] + before
			if lag < 0 {
				break
			}
			w := -1.0
			if b.edges[i].up {
				w = 1
			}
			col, val = append(col, lag), append(val, w)
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
		a.row(col, val, v[k])
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

// solve is Cholesky's way, with a little weight against values that no sample
// speaks of: they go to nothing.
func (a *normal) solve() ([]float64, bool) {
	n := a.n
	if a.rows < 2*n {
		return nil, false
	}
	l := append([]float64(nil), a.m...)
	for i := range n {
		l[i*n+i] += 1e-6 * float64(a.rows) / float64(n)
	}
	for j := range n {
		for k := range j {
			f := l[j*n+k]
			if f == 0 {
				continue
			}
			for i := j; i < n; i++ {
				l[i*n+j] -= l[i*n+k] * f
			}
		}
		d := l[j*n+j]
		if d <= 0 {
			return nil, false
		}
		d = math.Sqrt(d)
		for i := j; i < n; i++ {
			l[i*n+j] /= d
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

// residual is the sum of squares that a solution leaves; x was divided by scale
// but for its last two values.
func (a *normal) residual(x []float64, scale float64) float64 {
	n := a.n
	full := make([]float64, n)
	for i := range n {
		full[i] = x[i]
		if i < n-2 {
			full[i] *= scale
		}
	}
	var xmx, xr float64
	for i := range n {
		var row float64
		for j := range n {
			row += a.m[i*n+j] * full[j]
		}
		xmx += full[i] * row
		xr += full[i] * a.rhs[i]
	}
	return a.vv - 2*xr + xmx
}

package waveform

import (
	"cmp"
	"math"
	"slices"
)

// A burst is a stretch in which somebody sends, parted from others by silence.
type burst struct {
	from, to  int // samples, to not included
	high, low float64
	edges     []edge
	grid      grid
	fits      bool // the edges lie on a grid of bits
}

func (b *burst) swing() float64 { return b.high - b.low }

// A scan is a capture with what was found on the way.
type scan struct {
	v      []float64
	step   float64 // seconds
	noise  float64 // volts, a first guess
	bit    float64 // samples, a first guess
	bursts []*burst
}

// silentBits is the silence that parts two bursts; no message has as long a run.
const silentBits = 14

// newScan finds the bursts. The loudest sender gives a first bit time; with it,
// every stretch in which the trace moves by more than noise is a burst, loud or weak.
func newScan(c *Capture) *scan {
	s := &scan{v: c.Volts, step: c.Step, noise: roughness(c.Volts, c.Quantum)}
	high, low := quantile(s.v, 0.999), quantile(s.v, 0.001)
	swing := high - low
	if swing < max(10*s.noise, 6*c.Quantum) {
		return s
	}
	edges := edgesOf(s.v, (high+low)/2, s.room(swing))
	bit, ok := firstBit(edges)
	if !ok {
		return s
	}
	s.bit = bit
	half := int(bit / 16)
	soft := smooth(s.v, half)
	quiet := s.noise / math.Sqrt(float64(2*half+1))
	moves := max(8*quiet, 4*c.Quantum, 0.05*swing)
	s.bursts = s.active(soft, moves)
	for {
		for _, b := range s.bursts {
			s.look(b)
		}
		joined := s.join()
		if len(joined) == len(s.bursts) {
			break
		}
		s.bursts = joined
	}
	s.mend()
	s.part()
	s.calm()
	s.bursts = slices.DeleteFunc(s.bursts, func(b *burst) bool { return len(b.edges) == 0 })
	return s
}

// room is how far beyond the middle a trace must go: 15 % of the swing, for a first
// step of a ringing one may reach little further; more where there is much noise.
func (s *scan) room(swing float64) float64 {
	return min(0.15*swing+2*s.noise, 0.25*swing)
}

// active are the stretches in which the trace moves by more than this within a
// bit, joined over runs of equal bits.
func (s *scan) active(soft []float64, moves float64) []*burst {
	w := max(1, int(math.Round(s.bit/2)))
	apart := int(silentBits * s.bit)
	var all []*burst
	for i := w; i+w < len(soft); i++ {
		if math.Abs(soft[i+w]-soft[i-w]) < moves {
			continue
		}
		if n := len(all); n > 0 && i-all[n-1].to < apart {
			all[n-1].to = i + 1
			continue
		}
		all = append(all, &burst{from: i, to: i + 1})
	}
	for _, b := range all {
		b.from, b.to = max(0, b.from-w), min(len(soft), b.to+w)
	}
	return all
}

// look finds the levels and edges of a burst, and the grid they lie on.
func (s *scan) look(b *burst) {
	v := s.v[b.from:b.to]
	high, low := quantile(v, 0.95), quantile(v, 0.05)
	// Noise upon a slow edge makes edges that are none, and the bit too short; a
	// trace smoothed over a part of that bit has fewer of them, and so on.
	soft, bit := v, s.bit
	var edges []edge
	for range 3 {
		edges = edgesOf(soft, (high+low)/2, s.room(high-low))
		next, ok := firstBit(edges)
		if !ok {
			break
		}
		bit = next
		soft = smooth(v, int(bit/12))
	}
	b.high, b.low = levelsOf(v, edges, bit, high, low)
	// Once more with the middle of the settled levels.
	b.edges = edgesOf(soft, (b.high+b.low)/2, s.room(b.high-b.low))
	b.grid, b.fits = fitGrid(b.edges, bit)
	if b.fits {
		settle(b.edges, b.grid)
	}
	for i := range b.edges {
		b.edges[i].at += float64(b.from)
	}
}

// levelsOf are the two levels of a burst: the middle of the later halves of the
// bits, where the edge and most of its echoes are over.
func levelsOf(v []float64, edges []edge, bit, high, low float64) (up, down float64) {
	var above, below []float64
	for i, e := range edges {
		end := e.at + longestRun*bit
		if i+1 < len(edges) {
			end = edges[i+1].at
		} else {
			end = min(end, e.at+bit)
		}
		for k := int(e.at + 0.5*bit); k < min(len(v), int(end-0.1*bit)); k++ {
			if e.up {
				above = append(above, v[k])
			} else {
				below = append(below, v[k])
			}
		}
	}
	up, down = high, low
	if len(above) > 0 {
		up = median(above)
	}
	if len(below) > 0 {
		down = median(below)
	}
	return up, down
}

// join puts bursts together that only a slow sender's long runs have parted: both
// of one height, the gap within a run of their own bits.
func (s *scan) join() []*burst {
	var all []*burst
	for _, b := range s.bursts {
		n := len(all)
		if n == 0 || !s.oneSender(all[n-1], b) {
			all = append(all, b)
			continue
		}
		all[n-1] = &burst{from: all[n-1].from, to: b.to}
	}
	return all
}

// part parts bursts in which one sender follows another so soon that no silence is
// seen between them: where the swing changes, once and for good.
func (s *scan) part() {
	var all []*burst
	for todo := s.bursts; len(todo) > 0; {
		b := todo[0]
		todo = todo[1:]
		k, ok := s.change(b)
		if !ok {
			all = append(all, b)
			continue
		}
		cut := int(b.edges[k].at+b.edges[k+1].at) / 2
		first, second := &burst{from: b.from, to: cut}, &burst{from: cut, to: b.to}
		s.look(first)
		s.look(second)
		todo = append([]*burst{first, second}, todo...)
	}
	s.bursts = all
}

// What a change of swing must be: edges on both sides, share of the swing, and by
// how much two swings must explain the trace better than one.
const (
	leastSide   = 6
	leastChange = 0.12
	betterByTwo = 3
)

// change is the edge after which the swing of a burst is another one.
func (s *scan) change(b *burst) (at int, ok bool) {
	if len(b.edges) < 2*leastSide || !b.fits {
		return 0, false
	}
	var level []float64 // of the runs between edges, their later halves
	for i := 1; i < len(b.edges); i++ {
		from, to := int((b.edges[i-1].at+b.edges[i].at)/2), int(b.edges[i].at-0.15*b.grid.bit)
		level = append(level, median(s.v[from:max(from+1, to)]))
	}
	var swing []float64
	for i := 1; i < len(level); i++ {
		swing = append(swing, math.Abs(level[i]-level[i-1]))
	}
	one, two, apart := spreadOf(swing), math.Inf(1), 0.0
	for k := leastSide; k+leastSide <= len(swing); k++ {
		if x := spreadOf(swing[:k]) + spreadOf(swing[k:]); x < two {
			two, at, apart = x, k, math.Abs(mean(swing[:k])-mean(swing[k:]))
		}
	}
	return at, apart > leastChange*b.swing() && one > betterByTwo*two && apart > 4*s.noise
}

// spreadOf is the sum of squares about the mean.
func spreadOf(v []float64) float64 {
	m, sum := mean(v), 0.0
	for _, x := range v {
		sum += (x - m) * (x - m)
	}
	return sum
}

// calm looks at bursts that seem faster than others: where an echo is so strong that
// it passes the middle by itself, it makes edges that are none. Without its shorter
// pieces such a burst lies on the grid of the others; one that is faster does not.
func (s *scan) calm() {
	for _, b := range s.bursts {
		for _, other := range s.bursts {
			if !other.fits || b.fits && other.grid.bit < 1.15*b.grid.bit {
				continue
			}
			edges := withoutShort(b.edges, 0.6*other.grid.bit)
			if len(edges) < 6 || 10*len(edges) < 6*len(b.edges) || onGrid(edges, other.grid) < 0.9 {
				continue
			}
			if g, fits := fitGrid(edges, other.grid.bit); fits && math.Abs(g.bit/other.grid.bit-1) < 0.02 {
				b.edges, b.grid, b.fits = edges, g, true
				settle(b.edges, b.grid)
			}
		}
	}
}

// withoutShort leaves out pairs of edges that lie nearer than this to each other.
func withoutShort(edges []edge, least float64) []edge {
	var kept []edge
	for _, e := range edges {
		if n := len(kept); n > 0 && e.at-kept[n-1].at < least {
			kept = kept[:n-1]
			continue
		}
		kept = append(kept, e)
	}
	return kept
}

// onGrid is the share of intervals between edges that are whole bits.
func onGrid(edges []edge, g grid) float64 {
	on := 0
	for i := 1; i < len(edges); i++ {
		if _, is := g.bits(edges[i].at - edges[i-1].at); is {
			on++
		}
	}
	return float64(on) / float64(len(edges)-1)
}

// mend tries pieces that lie on no grid, one after the other, as one burst of a
// sender much slower than the loudest: its runs of equal bits look like silence.
func (s *scan) mend() {
	var all []*burst
	for i := 0; i < len(s.bursts); {
		k := i
		for k < len(s.bursts) && !s.bursts[k].fits && float64(s.bursts[k].from-s.bursts[max(i, k-1)].to) < longestRun*silentBits*s.bit {
			k++
		}
		if k-i > 1 {
			whole := &burst{from: s.bursts[i].from, to: s.bursts[k-1].to}
			if s.look(whole); whole.fits && whole.grid.bit > 1.2*s.bit {
				all = append(all, whole)
				i = k
				continue
			}
		}
		k = max(k, i+1)
		all = append(all, s.bursts[i:k]...)
		i = k
	}
	s.bursts = all
}

func (s *scan) oneSender(a, b *burst) bool {
	if a.fits && b.fits && math.Abs(a.grid.bit-b.grid.bit) > 0.1*a.grid.bit {
		return false
	}
	bit := s.bit
	for _, x := range []*burst{a, b} {
		if x.fits {
			bit = max(bit, x.grid.bit)
		}
	}
	alike := len(a.edges) == 0 || len(b.edges) == 0 || math.Abs(a.swing()-b.swing()) < 0.2*max(a.swing(), b.swing())
	return alike && float64(b.from-a.to) < longestRun*bit && bit > 1.2*s.bit
}

// groups puts bursts of one sender together: alike in height and in bit time. Two
// senders as loud as each other and of one rate cannot be told apart.
func (s *scan) groups() [][]*burst {
	var all [][]*burst
	sorted := slices.SortedStableFunc(slices.Values(s.bursts), func(a, b *burst) int { return cmp.Compare(b.swing(), a.swing()) })
	for _, b := range sorted {
		i := slices.IndexFunc(all, func(g []*burst) bool { return s.alike(g[0], b) })
		if i < 0 {
			all = append(all, []*burst{b})
			continue
		}
		all[i] = append(all[i], b)
	}
	return all
}

func (s *scan) alike(a, b *burst) bool {
	if math.Abs(a.swing()-b.swing()) > max(0.07*a.swing(), 1.5*s.noise) {
		return false
	}
	return !a.fits || !b.fits || math.Abs(a.grid.bit-b.grid.bit) < 0.03*a.grid.bit
}

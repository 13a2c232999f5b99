package waveform

import (
	"cmp"
	"math"
	"slices"
)

// An edge is a change of the bit: where the trace passes the middle between two
// levels, in samples and parts of one.
type edge struct {
	at float64
	up bool
}

// edgesOf are the passages of the middle. An edge counts only when the trace has
// gone beyond the middle by the room on both sides, so that noise upon a slow edge
// and a line that idles in the middle make none; its place is where it last passed
// the middle before that.
func edgesOf(v []float64, middle, room float64) []edge {
	var all []edge
	state, last := 0, 0.0 // state: 1 above, -1 below, 0 not known yet
	for i, x := range v {
		if i > 0 && (v[i-1]-middle)*(x-middle) <= 0 && v[i-1] != x {
			last = float64(i-1) + (middle-v[i-1])/(x-v[i-1])
		}
		now := state
		switch {
		case x > middle+room:
			now = 1
		case x < middle-room:
			now = -1
		}
		if now != state && state != 0 {
			all = append(all, edge{last, now > 0})
		}
		state = now
	}
	return all
}

// smooth is the mean over a window around each sample. It is even, so that it
// moves no edge.
func smooth(v []float64, half int) []float64 {
	if half < 1 {
		return v
	}
	sums := make([]float64, len(v)+1)
	for i, x := range v {
		sums[i+1] = sums[i] + x
	}
	out := make([]float64, len(v))
	for i := range v {
		h := min(half, i, len(v)-1-i)
		out[i] = (sums[i+h+1] - sums[i-h]) / float64(2*h+1)
	}
	return out
}

// quantile of values; they are not changed.
func quantile(v []float64, q float64) float64 {
	s := slices.Sorted(slices.Values(v))
	return s[min(len(s)-1, max(0, int(q*float64(len(s)))))]
}

func median(v []float64) float64 { return quantile(v, 0.5) }

// roughness is the noise of a trace that has edges: the middle of its second
// differences, which flat stretches and slow hum leave untouched.
func roughness(v []float64, quantum float64) float64 {
	d := make([]float64, 0, len(v))
	for i := 2; i < len(v); i++ {
		d = append(d, math.Abs(v[i]-2*v[i-1]+v[i-2]))
	}
	return max(median(d)/(0.6745*math.Sqrt(6)), quantum/math.Sqrt(12))
}

// mostIntervals bounds the work of finding a first bit time.
const mostIntervals = 400

// firstBit is a first guess of the bit time in samples: the longest time of which
// the intervals between edges are whole multiples. As all of them are multiples
// of a half and a third of it too, the longest counts; it cannot be much longer
// than the shortest interval.
func firstBit(edges []edge) (float64, bool) {
	var d []float64
	for i := 1; i < len(edges); i++ {
		d = append(d, edges[i].at-edges[i-1].at)
	}
	if len(d) < 3 {
		return 0, false
	}
	slices.Sort(d)
	shortest := d[len(d)/10]
	if i, _ := slices.BinarySearchFunc(d, 12*shortest, cmp.Compare[float64]); i >= 3 {
		d = d[:i]
	}
	if stride := (len(d) + mostIntervals - 1) / mostIntervals; stride > 1 {
		var few []float64
		for i := 0; i < len(d); i += stride {
			few = append(few, d[i])
		}
		d = few
	}
	low, fine := 0.7/shortest, 0.04/(12*shortest)
	fit := make([]float64, int(4*low/fine))
	most := 0.0
	for i := range fit {
		f := low + float64(i)*fine
		var re, im float64
		for _, x := range d {
			s, c := math.Sincos(2 * math.Pi * f * x)
			re, im = re+c, im+s
		}
		// Two edges of one character differ in sign, and their middles by a constant:
		// the phase of the sum may turn a little, its size is what counts.
		fit[i] = math.Hypot(re, im) / float64(len(d))
		most = max(most, fit[i])
	}
	for i := 1; i+1 < len(fit); i++ {
		if fit[i] >= 0.85*most && fit[i] >= fit[i-1] && fit[i] >= fit[i+1] {
			return 1 / (low + float64(i)*fine), true
		}
	}
	return shortest, true
}

// longestRun is the longest stretch without an edge within a message, in bits: a
// start bit, eight data bits and a parity bit alike, and a little room.
const longestRun = 12

// A grid is what a straight line through the edges of a stretch says of its bit time.
type grid struct {
	bit   float64 // samples
	sigma float64 // of bit, samples
	skew  float64 // samples by which rising edges come later than falling ones
	used  int     // edges on the grid
}

// settle puts the edges of a stretch where the line through them says, each part
// by itself: what noise and echoes of earlier bits have moved is put right. An edge
// alone stays.
func settle(edges []edge, g grid) {
	from := 0
	for i := 1; i <= len(edges); i++ {
		if i < len(edges) {
			if _, on := g.bits(edges[i].at - edges[i-1].at); on {
				continue
			}
		}
		if part := edges[from:i]; len(part) > 2 {
			n, t := []float64{0}, []float64{part[0].at + g.half(part[0])}
			for k := 1; k < len(part); k++ {
				whole, _ := g.bits(part[k].at - part[k-1].at)
				n, t = append(n, n[k-1]+whole), append(t, part[k].at+g.half(part[k]))
			}
			mn, mt := mean(n), mean(t)
			for k := range part {
				part[k].at = mt + g.bit*(n[k]-mn)
			}
		}
		from = i
	}
}

// half is what moves an edge to the middle between rising and falling ones.
func (g grid) half(e edge) float64 {
	if e.up {
		return -g.skew / 2
	}
	return g.skew / 2
}

// bits is an interval between edges in whole bits; on says whether it is some.
func (g grid) bits(interval float64) (whole float64, on bool) {
	d := interval / g.bit
	whole = math.Round(d)
	return whole, math.Abs(d-whole) <= 0.22 && whole >= 1 && whole <= longestRun
}

// fitGrid lays a line through edges numbered in bits. The line begins anew after a
// gap that is no whole number of bits: an asynchronous sender waits as it likes
// before a start bit. Rising and falling edges may be shifted against each other,
// which a threshold off the middle does.
func fitGrid(edges []edge, bit float64) (grid, bool) {
	g := grid{bit: bit}
	for range 4 {
		next, ok := fitOnce(edges, g.bit)
		if !ok {
			return g, false
		}
		done := math.Abs(next.bit-g.bit) < 1e-7*g.bit
		g = next
		if done {
			break
		}
	}
	return g, true
}

func fitOnce(edges []edge, bit float64) (grid, bool) {
	var nn, np, pp, nt, pt, tt float64
	used, parts, longest := 0, 0, 0
	flush := func(n, p, t []float64) {
		if len(n) < 2 {
			return
		}
		mn, mp, mt := mean(n), mean(p), mean(t)
		for i := range n {
			a, b, c := n[i]-mn, p[i]-mp, t[i]-mt
			nn, np, pp, nt, pt, tt = nn+a*a, np+a*b, pp+b*b, nt+a*c, pt+b*c, tt+c*c
		}
		used, parts, longest = used+len(n), parts+1, max(longest, len(n))
	}
	var n, p, t []float64
	for i, e := range edges {
		if i > 0 {
			if whole, on := (grid{bit: bit}).bits(e.at - edges[i-1].at); on {
				n = append(n, n[len(n)-1]+whole)
			} else {
				flush(n, p, t)
				n, p, t = nil, nil, nil
			}
		}
		if len(n) == 0 {
			n = []float64{0}
		}
		sign := -0.5
		if e.up {
			sign = 0.5
		}
		p, t = append(p, sign), append(t, e.at)
	}
	flush(n, p, t)
	det := nn*pp - np*np
	free := used - parts - 2
	if used < 4 || free < 1 || det <= 1e-9*nn*max(pp, 1e-9) {
		return grid{}, false
	}
	g := grid{bit: (nt*pp - pt*np) / det, skew: (pt*nn - nt*np) / det, used: used}
	left := max(0, tt-g.bit*nt-g.skew*pt)
	// A straight line through rounded numbers is never better than their rounding.
	g.sigma = math.Sqrt(max(left/float64(free), 1e-4) * pp / det)
	return g, true
}

func mean(v []float64) float64 {
	var sum float64
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

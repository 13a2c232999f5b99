package waveform

import (
	"math"
	"math/rand/v2"
	"testing"
)

// slowResponse is a response from single edges only: those with so much silence on
// both sides that no other edge reaches into them, one put over the other.
func slowResponse(v []float64, edges []edge, before, after int) (s []float64, used int) {
	s = make([]float64, before+after)
	for i := 1; i+1 < len(edges); i++ {
		e := edges[i]
		if e.at-edges[i-1].at < float64(before+after) || edges[i+1].at-e.at < float64(after+before) {
			continue
		}
		used++
		for k := range s {
			at := e.at + float64(k-before)
			j := int(math.Floor(at))
			x := v[j] + (v[j+1]-v[j])*(at-float64(j))
			if !e.up {
				x = -x
			}
			s[k] += x
		}
	}
	base := s[0]
	top := s[len(s)-1]
	for k := range s {
		s[k] = (s[k] - base) / (top - base)
	}
	return s, used
}

// Bits through a pair that answers each edge with echoes: least squares over all
// edges finds the response that single edges far apart show.
func TestResponseIsThatOfSingleEdges(t *testing.T) {
	for seed := range uint64(10) {
		r := rand.New(rand.NewPCG(seed, 1))
		echo, late := 0.5*r.Float64()-0.2, 8+r.IntN(20)
		step := func(t float64) float64 { // a straight edge of five samples, and its echo
			ramp := func(t float64) float64 { return min(1, max(0, t/5+0.5)) }
			return (ramp(t) + echo*ramp(t-float64(late))) / (1 + echo)
		}
		bit := 37.3
		b := &burst{from: 0}
		at := 50.0
		for i := range 60 {
			b.edges = append(b.edges, edge{at, i%2 == 0})
			at += bit * float64(1+r.IntN(5))
		}
		b.to = int(at)
		v := make([]float64, b.to)
		for i := range v {
			v[i] = -1 + 0.01*r.NormFloat64()
			for _, e := range b.edges {
				if e.up {
					v[i] += 2 * step(float64(i)-e.at)
				} else {
					v[i] -= 2 * step(float64(i)-e.at)
				}
			}
		}
		s := &scan{v: v, step: 1e-7, noise: 0.01}
		fast := respondOnce(s, []*burst{b}, bit)
		slow, used := slowResponse(v, b.edges, 10, 60)
		if fast.why != "" || used < 3 {
			t.Fatalf("seed %d: %q, %d single edges", seed, fast.why, used)
		}
		for k := range slow {
			got := fast.s[fast.before+2*(k-10)]
			if !(math.Abs(got-slow[k]) <= 0.04) {
				t.Errorf("seed %d: %d samples from the edge %.3f, single edges say %.3f", seed, k-10, got, slow[k])
			}
		}
	}
}

// slowBit is the bit time that leaves least between edges and a grid, by trying
// every one in turn: the longest of those that are as good as the best.
func slowBit(edges []edge, low, high float64) float64 {
	off := func(bit float64) float64 {
		var sum float64
		for i := 1; i < len(edges); i++ {
			d := (edges[i].at - edges[i-1].at) / bit
			sum += math.Pow(d-math.Round(d), 2)
		}
		return sum
	}
	least, bit := math.Inf(1), 0.0
	for x := low; x < high; x *= 1.0002 {
		if o := off(x); o < 0.8*least {
			least, bit = o, x
		} else if o < 1.1*least+1e-3 && x > bit*1.3 {
			bit = x
		}
	}
	return bit
}

func TestBitIsThatOfTryingAll(t *testing.T) {
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 2))
		bit := 8 + 60*r.Float64()
		var edges []edge
		at := 0.0
		for i := range 40 {
			edges = append(edges, edge{at + 0.02*bit*r.NormFloat64(), i%2 == 0})
			runs := []int{1, 1, 2, 2, 3, 5, 9}
			at += bit * float64(runs[r.IntN(len(runs))])
		}
		first, ok := firstBit(edges)
		g, fits := fitGrid(edges, first)
		if !ok || !fits {
			t.Fatalf("seed %d: no bit time", seed)
		}
		if slow := slowBit(edges, bit/1.9, bit*1.9); math.Abs(slow/bit-1) < 0.02 && !(math.Abs(g.bit/slow-1) <= 0.01) {
			t.Errorf("seed %d: bit %.3f, trying all says %.3f", seed, g.bit, slow)
		}
		if !(math.Abs(g.bit/bit-1) <= 0.005) {
			t.Errorf("seed %d: bit %.3f, made with %.3f", seed, g.bit, bit)
		}
	}
}

// A lattice by its waves is what going to and fro between two places gives, hop by hop.
func TestWavesAreHops(t *testing.T) {
	m := &matcher{last: 400}
	const g, load = -0.55, 1.0
	back := []wave{{0, load}}
	sums := func(waves []wave, until int) float64 {
		var sum float64
		for _, w := range waves {
			if w.lag <= until {
				sum += w.share
			}
		}
		return sum
	}
	for _, until := range []int{0, 20, 50, 70, 110, 130, 170, 190} {
		// Sender at 0, probe a share of the way, an open end: trips of 60, the probe 20 from the end and back.
		want, wave, at := 0.0, 1.0, 0
		for at <= until {
			want += wave // outward past the probe
			if at+20 <= until {
				want += wave * load // and back
			}
			wave *= load * g
			at += 60
		}
		if got := sums(m.between(back, g, 20, 60), until); !(math.Abs(got-want) <= 0.03) {
			t.Errorf("after %d: %.3f, hop by hop %.3f", until, got, want)
		}
	}
}

package waveform_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// The line of these tests is stepped through time: each length of cable holds the
// waves that run through it both ways, each place adds up what arrives (the method
// of characteristics). It shares nothing with engine/line, which sums a lattice,
// nor with the package under test.

// A plant is a trunk with what hangs on it. Ohms of 0 mean nothing is there.
type plant struct {
	z0       float64 // ohm
	delay    float64 // seconds per metre
	loss     float64 // share of a wave left after a kilometre; 0: all
	trunk    float64 // metres
	hostOhm  float64 // terminators
	endOhm   float64
	extra    []across
	stubs    []stub
	talkers  []talker
	scopeAt  float64 // metres along the trunk
	scopeOn  int     // number of the stub at whose end the scope is, from 1; 0: on the trunk
	bias     float64 // volts behind biasOhm, at the host
	biasOhm  float64
	stepHint float64 // seconds of a step at most; 0: 5 ns
}

type across struct{ at, ohm float64 }

type stub struct{ at, length float64 }

// A talker sends bits from its place while its driver is on.
type talker struct {
	at    float64 // metres along the trunk
	volts float64 // its driver's, without load
	ohm   float64 // its driver's own
	rise  float64 // seconds, 10 to 90 %
	sends []message
}

type message struct {
	from float64 // seconds
	bit  float64 // seconds
	bits []bool
}

func (m message) end() float64 { return m.from + m.bit*float64(len(m.bits)) }

// volts of a driver at a time, and whether it is on.
func (t *talker) drive(at float64) (volts float64, on bool) {
	for _, m := range t.sends {
		if at < m.from || at >= m.end() {
			continue
		}
		x := (at - m.from) / m.bit
		i := min(int(x), len(m.bits)-1)
		now, before := sign(m.bits[i]), 1.0
		if i > 0 {
			before = sign(m.bits[i-1])
		}
		share := (at - m.from - float64(i)*m.bit) / (t.rise / 0.8)
		if share < 1 { // a straight edge
			return t.volts * (before + (now-before)*share), true
		}
		return t.volts * now, true
	}
	return 0, false
}

func sign(b bool) float64 {
	if b {
		return 1
	}
	return -1
}

// A length of cable: a wave each way, as rings of what entered a delay ago.
type length struct {
	a, b     int // nodes
	toB, toA []float64
	at       int
	left     float64 // share of a wave that arrives
}

type node struct {
	along float64
	stub  int
	still float64 // siemens that never change
	fed   float64 // amperes of the bias
	waves float64
	admit float64
	volts float64
	who   *talker
}

// run is the voltage at the scope in steps of h seconds, for so many seconds from 0 on.
func (p *plant) run(seconds float64) (volts []float64, h float64) {
	h = 5e-9
	if p.stepHint > 0 {
		h = p.stepHint
	}
	var nodes []*node
	place := func(at float64, stub int) *node {
		for _, n := range nodes {
			if n.stub == stub && math.Abs(n.along-at) < 1e-9 {
				return n
			}
		}
		n := &node{along: at, stub: stub}
		nodes = append(nodes, n)
		return n
	}
	host, end := place(0, 0), place(p.trunk, 0)
	if p.hostOhm > 0 {
		host.still += 1 / p.hostOhm
	}
	if p.endOhm > 0 {
		end.still += 1 / p.endOhm
	}
	if p.biasOhm > 0 {
		host.still += 1 / p.biasOhm
		host.fed = p.bias / p.biasOhm
	}
	for _, x := range p.extra {
		place(x.at, 0).still += 1 / x.ohm
	}
	for i := range p.talkers {
		place(p.talkers[i].at, 0).who = &p.talkers[i]
	}
	for i, s := range p.stubs {
		place(s.at, 0)
		place(s.at, i+1)
	}
	scope := place(p.scopeAt, 0)
	if p.scopeOn > 0 {
		scope = place(p.stubs[p.scopeOn-1].at, p.scopeOn)
	}
	scope.still += 1 / 1e5
	end.still += 1 / 24e3 // a receiver
	index := map[*node]int{}
	for i, n := range nodes {
		index[n] = i
	}
	var cables []*length
	lay := func(a, b *node, metres float64) {
		n := max(1, int(math.Round(metres*p.delay/h)))
		left := 1.0
		if p.loss > 0 {
			left = math.Pow(p.loss, metres/1000)
		}
		cables = append(cables, &length{a: index[a], b: index[b], toB: make([]float64, n), toA: make([]float64, n), left: left})
		a.still, b.still = a.still+1/p.z0, b.still+1/p.z0
	}
	var trunk []*node
	for _, n := range nodes {
		if n.stub == 0 {
			trunk = append(trunk, n)
		}
	}
	slices.SortFunc(trunk, func(a, b *node) int { return int(math.Copysign(1, a.along-b.along)) })
	for i := 1; i < len(trunk); i++ {
		lay(trunk[i-1], trunk[i], trunk[i].along-trunk[i-1].along)
	}
	for i, s := range p.stubs {
		lay(place(s.at, 0), place(s.at, i+1), s.length)
	}
	lead := int(30 * (p.trunk*p.delay/h + 10)) // steps for the bias to settle
	total := int(seconds / h)
	volts = make([]float64, 0, total)
	for k := -lead; k < total; k++ {
		at := float64(k) * h
		for _, n := range nodes {
			n.waves, n.admit = n.fed, n.still
			if n.who == nil {
				continue
			}
			if v, on := n.who.drive(at); on {
				n.waves += v / n.who.ohm
				n.admit += 1 / n.who.ohm
			}
		}
		for _, c := range cables {
			nodes[c.b].waves += 2 * c.toB[c.at] * c.left / p.z0
			nodes[c.a].waves += 2 * c.toA[c.at] * c.left / p.z0
		}
		for _, n := range nodes {
			n.volts = n.waves / n.admit
		}
		for _, c := range cables {
			arrivedB, arrivedA := c.toB[c.at]*c.left, c.toA[c.at]*c.left
			c.toB[c.at] = nodes[c.a].volts - arrivedA
			c.toA[c.at] = nodes[c.b].volts - arrivedB
			c.at = (c.at + 1) % len(c.toB)
		}
		if k >= 0 {
			volts = append(volts, scope.volts)
		}
	}
	return volts, h
}

// An instrument samples what it sees, as real ones do.
type instrument struct {
	step      float64 // seconds
	points    int
	bandwidth float64 // hertz; 0: no limit
	noise     float64 // volts rms
	hum       float64 // volts, amplitude, across the pair
	humHz     float64
	range_    float64 // volts from the lowest to the highest code
	bits      int     // of the converter; 0: ideal
}

// sample makes a capture of what stood at the scope.
func (in instrument) sample(r *rand.Rand, volts []float64, h float64) []float64 {
	if in.bandwidth > 0 { // two equal poles; each wider by 1/sqrt(sqrt(2)-1)
		pole := in.bandwidth / math.Sqrt(math.Sqrt2-1)
		k := 1 - math.Exp(-2*math.Pi*pole*h)
		a, b := volts[0], volts[0]
		soft := make([]float64, len(volts))
		for i, v := range volts {
			a += k * (v - a)
			b += k * (a - b)
			soft[i] = b
		}
		volts = soft
	}
	phase := 2 * math.Pi * r.Float64()
	out := make([]float64, in.points)
	for i := range out {
		at := float64(i) * in.step / h
		k := min(int(at), len(volts)-2)
		v := volts[k] + (volts[k+1]-volts[k])*min(1, at-float64(k))
		v += in.noise * r.NormFloat64()
		v += in.hum * math.Sin(2*math.Pi*in.humHz*float64(i)*in.step+phase)
		if in.bits > 0 {
			q := in.range_ / float64(int(1)<<in.bits)
			v = q * math.Round(v/q)
			v = max(-in.range_/2, min(in.range_/2-q, v))
		}
		out[i] = v
	}
	return out
}

// file writes a capture as an instrument does.
func file(step float64, volts []float64) []byte {
	var b bytes.Buffer
	b.WriteString("time (us),across the pair (V)\n")
	for i, v := range volts {
		fmt.Fprintf(&b, "%.6f,%.5f\n", float64(i)*step*1e6, v)
	}
	return b.Bytes()
}

// characters are asynchronous ones: a start bit, eight of data, even parity, a
// stop bit, without a gap.
func characters(r *rand.Rand, n int) []bool {
	var bits []bool
	for range n {
		data, even := r.IntN(256), false
		bits = append(bits, false)
		for i := range 8 {
			one := data>>i&1 == 1
			bits = append(bits, one)
			even = even != one
		}
		bits = append(bits, even, true)
	}
	return bits
}

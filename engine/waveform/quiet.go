package waveform

import "math"

// quiet measures what is there while nobody sends: the idle level, noise and hum.
// Where somebody sends all the time, noise is what the edges do not explain.
func (r *Reading) quiet(c *Capture, s *scan) {
	var at []int
	settle := int(6 * s.bit)
	next := 0
	for _, b := range s.bursts {
		for i := next; i < b.from-1; i++ {
			at = append(at, i)
		}
		next = b.to + settle
	}
	for i := next; i < len(c.Volts); i++ {
		at = append(at, i)
	}
	r.Noise = Figure{Value: s.noise, Plus: s.noise / math.Sqrt(float64(len(c.Volts)))}
	if len(at) < 30 {
		r.Idle.Why, r.Hum.Why = NoSilence, NoSilence
		return
	}
	level := make([]float64, len(at))
	for i, k := range at {
		level[i] = c.Volts[k]
	}
	hum, hz, rest := humIn(c, at)
	r.Idle = Figure{Value: median(level), Plus: max(rest/math.Sqrt(float64(len(at))), c.Quantum/math.Sqrt(12))}
	r.Noise = Figure{Value: rest, Plus: rest / math.Sqrt(2*float64(len(at)))}
	if c.Length() < humOver/50 {
		r.Hum.Why = TooShort
		return
	}
	r.Hum, r.HumHz = hum, hz
	if hum.Seen() {
		r.Idle.Value = meanLess(c, at, hz)
	}
}

// humIn fits mains of 50 and of 60 Hz to the silence and takes the one that leaves
// less. rest is what stays, rms.
func humIn(c *Capture, at []int) (hum Figure, hz, rest float64) {
	var plain float64
	m := 0.0
	for _, k := range at {
		m += c.Volts[k]
	}
	m /= float64(len(at))
	for _, k := range at {
		plain += (c.Volts[k] - m) * (c.Volts[k] - m)
	}
	rest = math.Sqrt(plain / float64(len(at)))
	if c.Length() < humOver/50 {
		// A piece of a mains cycle is a slope: noise is what stays beside it.
		return Figure{Why: TooShort}, 0, min(rest, max(roughnessAt(c, at), c.Quantum/math.Sqrt(12)))
	}
	for _, f := range []float64{50, 60} {
		a, b, _, left := wave3(c, at, f)
		if left < rest {
			rest, hz = left, f
			hum = Figure{Value: math.Hypot(a, b), Plus: left * math.Sqrt(2/float64(len(at)))}
		}
	}
	return hum, hz, rest
}

func roughnessAt(c *Capture, at []int) float64 {
	v := make([]float64, len(at))
	for i, k := range at {
		v[i] = c.Volts[k]
	}
	return roughness(v, c.Quantum)
}

func meanLess(c *Capture, at []int, hz float64) float64 {
	_, _, m, _ := wave3(c, at, hz)
	return m
}

// wave3 fits a sine, a cosine and a level to some samples.
func wave3(c *Capture, at []int, hz float64) (a, b, m, left float64) {
	var n [3][4]float64
	basis := func(k int) [3]float64 {
		s, co := math.Sincos(2 * math.Pi * hz * float64(k) * c.Step)
		return [3]float64{s, co, 1}
	}
	for _, k := range at {
		x := basis(k)
		for i := range 3 {
			for j := range 3 {
				n[i][j] += x[i] * x[j]
			}
			n[i][3] += x[i] * c.Volts[k]
		}
	}
	for i := range 3 {
		if math.Abs(n[i][i]) < 1e-12 {
			return 0, 0, 0, math.Inf(1)
		}
		for j := i + 1; j < 3; j++ {
			f := n[j][i] / n[i][i]
			for k := i; k < 4; k++ {
				n[j][k] -= f * n[i][k]
			}
		}
	}
	m = n[2][3] / n[2][2]
	b = (n[1][3] - n[1][2]*m) / n[1][1]
	a = (n[0][3] - n[0][2]*m - n[0][1]*b) / n[0][0]
	for _, k := range at {
		x := basis(k)
		d := c.Volts[k] - a*x[0] - b*x[1] - m
		left += d * d
	}
	return a, b, m, math.Sqrt(left / float64(len(at)))
}

// common is how far from zero both legs lie together.
func (r *Reading) common(c *Capture) {
	if c.Common == nil {
		r.Common.Why = OneChannel
		return
	}
	high, low := quantile(c.Common, 0.999), quantile(c.Common, 0.001)
	r.Common = Figure{Value: high, Plus: c.Quantum}
	if -low > high {
		r.Common.Value = low
	}
	if c.Clipped {
		r.Common.Why = LeftTheScreen
	}
}

package line

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"downdrop/testdata/support"
)

// nodal solves a network by its nodes, as a textbook does: conductances between
// nodes, node 0 at zero volts, a current into each. It knows nothing of trees.
func nodal(t *testing.T, nodes int, add func(conduct func(a, b int, siemens float64), inject func(node int, amps float64))) []float64 {
	t.Helper()
	g, i := mat.NewDense(nodes, nodes, nil), mat.NewVecDense(nodes, nil)
	add(func(a, b int, s float64) {
		g.Set(a, a, g.At(a, a)+s)
		g.Set(b, b, g.At(b, b)+s)
		g.Set(a, b, g.At(a, b)-s)
		g.Set(b, a, g.At(b, a)-s)
	}, func(n int, amps float64) { i.SetVec(n, i.AtVec(n)+amps) })
	for k := range nodes { // node 0 is the reference
		g.Set(0, k, 0)
	}
	g.Set(0, 0, 1)
	i.SetVec(0, 0)
	var v mat.VecDense
	if err := v.SolveVec(g, i); err != nil {
		var condition mat.Condition
		if !errors.As(err, &condition) {
			t.Fatal(err)
		}
	}
	return v.RawVector().Data
}

// The voltages of random supply trees against Newton's method on the whole
// network: dense, from full voltage, each load replaced by what it is at the
// present voltages.
func TestFeedAgainstNodalSolution(t *testing.T) {
	solved, none := 0, 0
	for seed := uint64(0); solved < support.Deep(t, 500); seed++ {
		r := rand.New(rand.NewPCG(seed, 5))
		f := Feed{Supply: Volt(18 + 14*r.Float64())}
		greedy := 1.0 + 4*float64(seed%4) // a quarter of the trees ask for more than usual
		for i := range 1 + r.IntN(24) {
			n := Node{Parent: r.IntN(i+1) - 1, Loop: Ohm(0.02 + 1.2*r.Float64()*r.Float64())}
			switch r.IntN(4) {
			case 0:
				n.Load.Power = Watt(12 * greedy * r.Float64())
			case 1:
				n.Load.Current = Ampere(0.5 * r.Float64())
			case 2:
				n.Load.Resistance = Ohm(50 + 500*r.Float64())
			case 3:
				n.Load = Load{Power: Watt(5 * r.Float64()), Current: Ampere(0.2 * r.Float64()), Resistance: Ohm(100 + 900*r.Float64())}
			}
			f.Nodes = append(f.Nodes, n)
		}
		got, err := f.Solve()
		want, ok := slowFeed(t, &f)
		if (err == nil) != ok {
			t.Fatalf("seed %d: %v, the nodal solution says %v", seed, err, ok)
		}
		if err != nil {
			none++
			continue
		}
		solved++
		for i := range want {
			if !(math.Abs(float64(got[i])-want[i]) <= 1e-9) {
				t.Fatalf("seed %d, node %d: %.12g V, the nodal solution says %.12g V", seed, i, got[i], want[i])
			}
		}
	}
	t.Logf("%d trees solved, %d have no operating point", solved, none)
	if none < solved/50 {
		t.Errorf("%d solved and %d without operating point: the test no longer tries both", solved, none)
	}
}

// slowFeed is Newton's method on the whole network. It finds an operating point
// wherever one can be reached from full voltage; that there is none it takes
// from not getting any nearer.
func slowFeed(t *testing.T, f *Feed) (v []float64, ok bool) {
	n := len(f.Nodes)
	v = make([]float64, n)
	for i := range v {
		v[i] = float64(f.Supply)
	}
	for range 400 {
		full := nodal(t, n+2, func(conduct func(a, b int, s float64), inject func(int, float64)) {
			// Node 1 is the supply, held at its voltage by itself.
			for i, node := range f.Nodes {
				from := 1
				if node.Parent >= 0 {
					from = node.Parent + 2
				}
				s := 1 / float64(node.Loop)
				if from == 1 { // fixed voltage: its current goes straight in
					conduct(0, i+2, s)
					inject(i+2, s*float64(f.Supply))
				} else {
					conduct(from, i+2, s)
				}
				p := float64(node.Load.Power)
				conduct(0, i+2, -p/(v[i]*v[i]))
				inject(i+2, -2*p/v[i]-float64(node.Load.Current))
				if node.Load.Resistance > 0 {
					conduct(0, i+2, 1/float64(node.Load.Resistance))
				}
			}
			conduct(0, 1, 1)
			inject(1, float64(f.Supply))
		})
		moved := 0.0
		for i := range v {
			next := full[i+2]
			if !(next > 0) || next > v[i]+1e-6 { // it only ever falls towards the answer
				return nil, false
			}
			moved = max(moved, math.Abs(next-v[i]))
			v[i] = next
		}
		if moved < 1e-11 {
			return v, true
		}
	}
	return nil, false
}

// The loads' currents at the voltages found are the currents of the cables.
func TestFeedBalances(t *testing.T) {
	f := Feed{24, []Node{{-1, 0.5, Load{Current: 0.3}}, {0, 0.4, Load{Power: 6}}, {0, 0.2, Load{Resistance: 120}}, {1, 1, Load{Power: 4, Current: 0.1}}}}
	v, err := f.Solve()
	if err != nil {
		t.Fatal(err)
	}
	for i, a := range f.Currents(v) {
		from := f.Supply
		if p := f.Nodes[i].Parent; p >= 0 {
			from = v[p]
		}
		if drop := float64(from - v[i]); !(math.Abs(drop-float64(a)*float64(f.Nodes[i].Loop)) <= 1e-9) {
			t.Errorf("node %d: %v V lost over the cable, its current would lose %v V", i, drop, float64(a)*float64(f.Nodes[i].Loop))
		}
	}
	for _, bad := range []Feed{{24, []Node{{0, 1, Load{}}}}, {24, []Node{{-2, 1, Load{}}}}, {24, []Node{{-1, -1, Load{}}}}, {24, []Node{{-1, 1, Load{Power: -1}}}}} {
		if _, err := bad.Solve(); err == nil {
			t.Errorf("%v was solved", bad)
		}
	}
}

// What an ohmmeter reads on random pairs, with cuts and shorts, against the nodal
// solution with one ampere sent through.
func TestSeenAgainstNodalSolution(t *testing.T) {
	for seed := range uint64(support.Deep(t, 500)) {
		r := rand.New(rand.NewPCG(seed, 6))
		p := &Pair{}
		for range 1 + r.IntN(3) {
			p.Cable = append(p.Cable, Cable{Metre(20 + r.IntN(400)), LoopOhmPerKm(30 + 250*r.Float64())})
		}
		length := int(p.Length())
		for range 1 + r.IntN(8) {
			ohm := Ohm(50 + 400*r.Float64())
			if r.IntN(12) == 0 {
				ohm = 1e-3 // a short, as good as a nodal solution can have one
			}
			p.Across = append(p.Across, Shunt{Metre(r.IntN(length + 1)), ohm})
		}
		for range r.IntN(3) {
			p.Cuts = append(p.Cuts, Metre(r.IntN(length))+0.5)
		}
		at := Metre(r.IntN(length + 1))
		got, want := p.Seen(at), slowSeen(t, p, at)
		if want > 1e8 {
			if got != Open {
				t.Fatalf("seed %d: %v ohm, the nodal solution says open", seed, got)
			}
		} else if !(math.Abs(float64(got)-want) <= 1e-6*want+1e-9) {
			t.Fatalf("seed %d at %v m: %.10g ohm, the nodal solution says %.10g", seed, at, got, want)
		}
	}
}

// slowSeen makes a node of every metre of the pair (and every cut's half metre).
func slowSeen(t *testing.T, p *Pair, at Metre) float64 {
	var places []Metre
	seen := map[Metre]int{}
	add := func(m Metre) {
		if _, ok := seen[m]; !ok {
			seen[m] = 0
			places = append(places, m)
		}
	}
	add(0)
	add(p.Length())
	add(at)
	var end Metre
	for _, c := range p.Cable {
		end += c.Length
		add(end)
	}
	for _, s := range p.Across {
		add(s.At)
	}
	for i := range places { // ascending
		for j := i + 1; j < len(places); j++ {
			if places[j] < places[i] {
				places[i], places[j] = places[j], places[i]
			}
		}
	}
	for i, m := range places {
		seen[m] = i + 1
	}
	v := nodal(t, len(places)+1, func(conduct func(a, b int, s float64), inject func(int, float64)) {
		for i := 1; i < len(places); i++ {
			a, b := places[i-1], places[i]
			ohm := 0.0
			var from Metre
			for _, c := range p.Cable {
				if a >= from && b <= from+c.Length {
					ohm = float64(b-a) / 1000 * float64(c.Loop)
				}
				from += c.Length
			}
			cut := false
			for _, c := range p.Cuts {
				cut = cut || c >= a && c < b
			}
			if !cut {
				conduct(i, i+1, 1/ohm)
			}
		}
		for i := range places { // what cannot be reached must not make the matrix singular
			conduct(0, i+1, 1e-12)
		}
		for _, s := range p.Across {
			conduct(0, seen[s.At], 1/float64(s.Ohm))
		}
		inject(seen[at], 1)
	})
	return v[seen[at]]
}

// The lattice against closed forms: what is left after n round trips is the final
// value less a geometric remainder, and all arrivals sum to it.
func TestLatticeClosedForm(t *testing.T) {
	for seed := range uint64(support.Deep(t, 500)) {
		r := rand.New(rand.NewPCG(seed, 7))
		s := Step{Volt(1 + 10*r.Float64()), Ohm(5 + 300*r.Float64()), Ohm(50 + 150*r.Float64()), Ohm(5 + 1000*r.Float64()), Second(1e-9 * (1 + 1000*r.Float64()))}
		a, b := Reflection(s.SourceOhm, s.Impedance), Reflection(s.Load, s.Impedance)
		// At the load, after arrival k (0, 1, ...): V1 (1 + b) (1 - (ab)^(k+1)) / (1 - ab).
		for k, got := range s.Lattice(1, 15) {
			want := float64(s.First()) * (1 + b) * (1 - math.Pow(a*b, float64(k+1))) / (1 - a*b)
			if !(math.Abs(float64(got.Volt)-want) <= 1e-9) || !(math.Abs(float64(got.At)-float64(2*k+1)*float64(s.Transit)) <= 1e-15) {
				t.Fatalf("seed %d, arrival %d at the load: %v, expected %v V", seed, k, got, want)
			}
		}
		// At the source: V1, then V1 (1 + b (1 + a) (1 - (ab)^k) / (1 - ab)).
		for k, got := range s.Lattice(0, 15) {
			want := float64(s.First()) * (1 + b*(1+a)*(1-math.Pow(a*b, float64(k)))/(1-a*b))
			if !(math.Abs(float64(got.Volt)-want) <= 1e-9) || !(math.Abs(float64(got.At)-float64(2*k)*float64(s.Transit)) <= 1e-15) {
				t.Fatalf("seed %d, arrival %d at the source: %v, expected %v V", seed, k, got, want)
			}
		}
		for _, place := range []float64{0, 0.3, 1} {
			all := s.Lattice(place, 4000)
			if last := all[len(all)-1].Volt; !(math.Abs(float64(last-s.Final())) <= 1e-6) {
				t.Fatalf("seed %d at %v: settles at %v V, expected %v V", seed, place, last, s.Final())
			}
		}
	}
}

package line

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// A Feed is a supply and the cable that fans out from it to its loads: a tree of
// nodes, each after its parent.
type Feed struct {
	Supply Volt
	Nodes  []Node
}

// A Node is the far end of a stretch of supply cable, with what it feeds there.
type Node struct {
	Parent int // index of an earlier node; -1: the supply
	Loop   Ohm // both conductors of the stretch, with its fuse and contacts
	Load   Load
}

// A Load takes a constant power (a unit with its own converter: the lower the
// voltage, the higher the current), a constant current, or is a plain resistance.
// What is zero it does not take.
type Load struct {
	Power      Watt
	Current    Ampere
	Resistance Ohm
}

// ErrNoOperatingPoint says that the loads ask for more power than the cable can
// bring to them at any voltage: the units start, drag the supply down, and start
// again.
var ErrNoOperatingPoint = errors.New("no operating point: the loads ask for more power than the cable can bring to them")

// Solve is the voltage at each node, the highest there is: the one that a start
// from full voltage reaches.
//
// Newton's method, each step folding the tree up from its ends: a node's loads
// are replaced by the conductance and current that match them at the present
// voltage, and what hangs behind a stretch of cable by what it looks like before
// it. The equations are convex from full voltage down, so each step ends between
// the last one and the answer, and where there is no answer a step falls
// through: a conductance that its cable cannot feed.
func (f *Feed) Solve() ([]Volt, error) {
	v := make([]float64, len(f.Nodes))
	for i, n := range f.Nodes {
		if n.Parent >= i || n.Parent < -1 || n.Loop < 0 || n.Load.Power < 0 || n.Load.Current < 0 || n.Load.Resistance < 0 {
			return nil, fmt.Errorf("node %d of the supply: its parent must come before it, and ohms, watts and amperes be at least 0", i)
		}
		v[i] = float64(f.Supply)
	}
	const enough = 200 // a dozen steps are usual; near the last operating point each halves what is left
	for range enough {
		next, ok := f.step(v)
		if !ok {
			return nil, ErrNoOperatingPoint
		}
		moved := 0.0
		for i := range v {
			moved = max(moved, math.Abs(next[i]-v[i]))
		}
		v = next
		if moved <= 1e-12*float64(f.Supply) {
			return volts(v), nil
		}
	}
	return nil, ErrNoOperatingPoint
}

// step is one step of Newton's method. ok is false where it falls through.
func (f *Feed) step(v []float64) (next []float64, ok bool) {
	conductance, current := make([]float64, len(v)), make([]float64, len(v)) // of all that hangs at and behind a node
	for i, n := range f.Nodes {
		p := float64(n.Load.Power)
		conductance[i] = -p / (v[i] * v[i])
		current[i] = 2*p/v[i] + float64(n.Load.Current)
		if n.Load.Resistance > 0 {
			conductance[i] += 1 / float64(n.Load.Resistance)
		}
	}
	for i := len(v) - 1; i >= 0; i-- {
		n := f.Nodes[i]
		feeds := 1 + float64(n.Loop)*conductance[i]
		if feeds <= 0 {
			return nil, false
		}
		if n.Parent >= 0 {
			conductance[n.Parent] += conductance[i] / feeds
			current[n.Parent] += current[i] / feeds
		}
	}
	next = make([]float64, len(v))
	for i, n := range f.Nodes {
		from := float64(f.Supply)
		if n.Parent >= 0 {
			from = next[n.Parent]
		}
		next[i] = (from - float64(n.Loop)*current[i]) / (1 + float64(n.Loop)*conductance[i])
		if next[i] <= 0 {
			return nil, false
		}
	}
	return next, true
}

func volts(v []float64) []Volt {
	all := make([]Volt, len(v))
	for i := range v {
		all[i] = Volt(v[i])
	}
	return all
}

// Takes is the current of a load at a voltage.
func (l Load) Takes(v Volt) Ampere {
	sum := float64(l.Power)/float64(v) + float64(l.Current)
	if l.Resistance > 0 {
		sum += float64(v) / float64(l.Resistance)
	}
	return Ampere(sum)
}

// Currents is what flows in the stretch before each node, at these voltages.
func (f *Feed) Currents(at []Volt) []Ampere {
	all := make([]Ampere, len(at))
	for i := len(at) - 1; i >= 0; i-- {
		n := f.Nodes[i]
		all[i] += n.Load.Takes(at[i])
		if n.Parent >= 0 {
			all[n.Parent] += all[i]
		}
	}
	return all
}

// MostLoop is the resistance, both conductors, that the stretch before a node may have
// to leave it so many volts, all else being as it is; 0: none would do. More
// resistance always leaves less, so it is found by halving.
func (f *Feed) MostLoop(node int, least Volt) Ohm {
	would := Feed{Supply: f.Supply, Nodes: slices.Clone(f.Nodes)}
	leaves := func(loop Ohm) bool {
		would.Nodes[node].Loop = loop
		v, err := would.Solve()
		return err == nil && v[node] >= least
	}
	low, high := Ohm(0), max(f.Nodes[node].Loop, 1e-3)
	if !leaves(low) {
		return 0
	}
	const most = 1e6 // ohms: a load that takes nothing can be anywhere
	for leaves(high) && high < most {
		low, high = high, 2*high
	}
	for range 60 {
		if mid := (low + high) / 2; leaves(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// The window of a 24 V d.c. supply: IEC 61131-2, 24 V -15 % +20 %, and what 5 %
// superposed a.c. adds either way (values from memory; their sums computed).
const (
	SupplyRated      Volt = 24
	SupplyLow             = SupplyRated * 0.85
	SupplyHigh            = SupplyRated * 1.20
	supplyRipple          = SupplyRated * 0.05
	SupplyLowRipple       = SupplyLow - supplyRipple
	SupplyHighRipple      = SupplyHigh + supplyRipple
)

// A Verdict is how a figure stands to its limit.
type Verdict uint8

// The verdicts, rising.
const (
	Pass Verdict = iota
	Marginal
	Fail
)

// SupplyVerdict judges a 24 V supply at a unit: between the window and its
// ripple's extremes it is marginal, since only ripple may go there.
func SupplyVerdict(v Volt) Verdict {
	switch {
	case v < SupplyLowRipple || v > SupplyHighRipple:
		return Fail
	case v < SupplyLow || v > SupplyHigh:
		return Marginal
	}
	return Pass
}

// A Module is what a module of points takes from the supply.
type Module struct {
	Electronics Ampere
	InputsOn    int
	InputEach   Ampere
	OutputsOn   int
	OutputEach  Ampere
}

// Takes is the module's current.
func (m Module) Takes() Ampere {
	return m.Electronics + Ampere(m.InputsOn)*m.InputEach + Ampere(m.OutputsOn)*m.OutputEach
}

// PointsPerModule of a discrete module of a token-passing drop. Common practice, no source.
const PointsPerModule = 16

package sheet

import (
	"cmp"
	"math"
	"slices"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

// A State is one thing that could be so along the pair, power off, and what an
// ohmmeter would then read.
type State struct {
	Kind        StateKind
	AtM         float64  // a cut, a short or a terminator too many: how far from the host's end, the middle of what fits
	Low, High   float64  // ohms that a meter reads, by what was left connected and where along its stretch it is
	Probability float64  // among the states listed, by its weight beforehand and how well the reading fits
	Lost        []string // drops behind a cut or short, in cable order
	Ways        []Way    // what it would read by what was left connected, of those that go with the reading
}

// A Way is what a state reads with something left connected.
type Way struct {
	Connected
	Low, High float64 // ohms, by where along its stretch the state is
}

// A StateKind says what a state is.
type StateKind string

// The kinds of state.
const (
	AsDrawn         StateKind = "as_drawn"
	NearMissing     StateKind = "near_terminator_missing"
	FarMissing      StateKind = "far_terminator_missing"
	BothMissing     StateKind = "both_terminators_missing"
	OneMore         StateKind = "one_terminator_more"
	TwoMore         StateKind = "two_terminators_more"
	WrongValue      StateKind = "terminators_of_another_value" // the other kinds' value at both ends
	CutAt           StateKind = "pair_open"
	ShortAt         StateKind = "pair_shorted"
	ShortNearLifted StateKind = "pair_shorted_near_terminator_off"
)

// stateWeights are how likely the states are before a reading, among lines that
// somebody measures because something is wrong. Estimates of this project.
var stateWeights = map[StateKind]float64{AsDrawn: 0.30, NearMissing: 0.12, FarMissing: 0.14, BothMissing: 0.03, OneMore: 0.08, TwoMore: 0.01, WrongValue: 0.05, CutAt: 0.17, ShortAt: 0.07, ShortNearLifted: 0.03}

// spread is how far a reading lies from the figure by resistors, contacts and
// meter together, as a share: a tenth either way holds nearly all (common
// practice, no source).
const spread = 0.04

// meterOhm is the least that a meter's leads and last digit add either way.
const meterOhm = 0.3

// Explain lists the states of the line that a reading across the pair at a
// place, power off, is consistent with, the likeliest first. open says that the
// meter showed nothing: over-range.
func Explain(s *rulebase.Sheet, atM, reading float64, open bool) []State {
	var all []State
	seg := segmentAt(s, atM) // a meter sees no farther than the devices that send anew
	for _, with := range connections(seg.Sheet) {
		for _, st := range states(seg, atM-seg.FromM, with) {
			st.AtM += seg.FromM
			st.Lost = lost(s, st.Kind, st.AtM, seg)
			share := fit(st.Low, reading, open)
			st.Probability *= share // each way of being connected is equally likely
			if share > fits {
				all = append(all, st)
			}
		}
	}
	all = merge(all, atM)
	sum := 0.0
	for _, st := range all {
		sum += st.Probability
	}
	for i := range all {
		all[i].Probability /= sum
	}
	slices.SortStableFunc(all, func(a, b State) int { return cmp.Compare(b.Probability, a.Probability) })
	return all
}

// Expected is what an ohmmeter reads across the dead pair at a place, by what was
// left connected, with cuts and shorts supposed at other places. known is false
// where a stretch's resistance is not on the sheet and counts as nothing.
func Expected(s *rulebase.Sheet, atM float64, cuts, shorts []float64) (ways []Way, known bool) {
	seg := segmentAt(s, atM)
	known = true
	for _, with := range connections(seg.Sheet) {
		p, ok := seg.pair(with)
		known = known && ok
		for _, m := range cuts {
			p.Cuts = append(p.Cuts, line.Metre(m-seg.FromM))
		}
		for _, m := range shorts {
			if seg.FromM <= m && m <= seg.ToM {
				p.Across = append(p.Across, line.Shunt{At: line.Metre(m - seg.FromM)})
			}
		}
		ohm := float64(p.Seen(line.Metre(atM - seg.FromM)))
		ways = append(ways, Way{with, ohm, ohm})
	}
	return ways, known
}

// connections are the ways in which somebody may have left the units and the bias.
func connections(s *rulebase.Sheet) []Connected {
	all := []Connected{{}, {Units: true}}
	if s.Bias != nil {
		all = append(all, Connected{Bias: true}, Connected{Units: true, Bias: true})
	}
	return all
}

// fits is how well a state must go with a reading to be listed at all: about 2.8
// of the density's standard deviations.
const fits = 0.02

// fit is how well a figure goes with a reading: 1 where they agree, falling as a
// normal density does. Above a meter's reach only what is open goes with
// over-range.
func fit(ohm, reading float64, open bool) float64 {
	const beyond = 1e5 // a pair with anything across it never reads as much
	if open {
		if ohm > beyond {
			return 1
		}
		return 0
	}
	if math.IsInf(ohm, 1) {
		return 0
	}
	d := (ohm - reading) / (spread*ohm + meterOhm)
	return math.Exp(-d * d / 2)
}

// steps is how many places along the trunk a cut or short is tried at.
const steps = 400

// states are all the states that are tried, with what a meter at a place reads
// and their prior weight.
func states(seg Segment, atM float64, with Connected) []State {
	s := seg.Sheet
	base, _ := seg.pair(with)
	trunk := base.Length()
	at := line.Metre(atM)
	var all []State
	add := func(kind StateKind, place line.Metre, weight float64, p *line.Pair) {
		ohm := float64(p.Seen(at))
		all = append(all, State{Kind: kind, AtM: float64(place), Low: ohm, High: ohm, Probability: weight, Ways: []Way{{with, ohm, ohm}}})
	}
	near, far := ends(s)
	add(AsDrawn, 0, stateWeights[AsDrawn], base)
	if near >= 0 {
		add(NearMissing, 0, stateWeights[NearMissing], without(base, near))
	}
	if far >= 0 {
		add(FarMissing, trunk, stateWeights[FarMissing], without(base, far))
	}
	if near >= 0 && far >= 0 {
		add(BothMissing, 0, stateWeights[BothMissing], without(base, max(near, far), min(near, far)))
		add(WrongValue, 0, stateWeights[WrongValue], revalued(base, near, far, otherValue(base.Across[near].Ohm)))
	}
	places := extraPlaces(s)
	for _, m := range places {
		add(OneMore, m, stateWeights[OneMore]/float64(len(places)), more(base, m, 1, s))
		add(TwoMore, m, stateWeights[TwoMore]/float64(len(places)), more(base, m, 2, s))
	}
	for i := range steps {
		m := trunk * (line.Metre(i) + 0.5) / steps
		cut, short := clone(base), clone(base)
		cut.Cuts = append(cut.Cuts, m)
		short.Across = append(short.Across, line.Shunt{At: m, Ohm: 0})
		add(CutAt, m, stateWeights[CutAt]/steps, cut)
		add(ShortAt, m, stateWeights[ShortAt]/steps, short)
		if near >= 0 {
			lifted := without(short, near)
			add(ShortNearLifted, m, stateWeights[ShortNearLifted]/steps, lifted)
		}
	}
	return all
}

// ends are the places in the list of the terminators at the host's and the far end; -1: none.
func ends(s *rulebase.Sheet) (near, far int) {
	near, far = -1, -1
	slack := endSlackM(s)
	for i, t := range s.Terminators {
		switch {
		case t.AtM <= slack && near < 0:
			near = i
		case t.AtM >= s.TrunkM()-slack && far < 0:
			far = i
		}
	}
	return near, far
}

// extraPlaces are where a terminator too many can be: at drops that do not end the trunk.
func extraPlaces(s *rulebase.Sheet) []line.Metre {
	var places []line.Metre
	for _, d := range s.Drops {
		places = append(places, line.Metre(d.AtM))
	}
	if places == nil {
		places = []line.Metre{line.Metre(s.TrunkM() / 2)}
	}
	return places
}

// otherValue is the terminator that is in the other drawer: 120 for 150, and the
// other way round.
func otherValue(ohm line.Ohm) line.Ohm {
	if ohm == 120 {
		return 150
	}
	return 120
}

func clone(p *line.Pair) *line.Pair {
	return &line.Pair{Cable: p.Cable, Across: slices.Clone(p.Across), Cuts: slices.Clone(p.Cuts)}
}

// without leaves shunts out; their places are given falling.
func without(p *line.Pair, which ...int) *line.Pair {
	q := clone(p)
	for _, i := range which {
		q.Across = slices.Delete(q.Across, i, i+1)
	}
	return q
}

// revalued gives both terminators another value.
func revalued(p *line.Pair, near, far int, ohm line.Ohm) *line.Pair {
	q := clone(p)
	q.Across[near].Ohm, q.Across[far].Ohm = ohm, ohm
	return q
}

// more adds n terminators of the line's own value at a place.
func more(p *line.Pair, m line.Metre, n int, s *rulebase.Sheet) *line.Pair {
	q := clone(p)
	ohm := line.TokenPair.Terminator
	if k := line.KindOf(s.Line); k != nil {
		ohm = k.Terminator
	}
	for range n {
		q.Across = append(q.Across, line.Shunt{At: m, Ohm: ohm})
	}
	return q
}

// lost are the drops that a state takes away: those beyond a cut, and for a short
// all of its segment and beyond.
func lost(s *rulebase.Sheet, kind StateKind, atM float64, seg Segment) []string {
	var all []string
	for i := range s.Drops {
		d := &s.Drops[i]
		if kind == CutAt && d.AtM > atM || (kind == ShortAt || kind == ShortNearLifted) && d.AtM >= seg.FromM {
			if all == nil {
				all = make([]string, 0, len(s.Drops)-i) // in cable order, so that mostly all that follow are lost
			}
			all = append(all, d.Name)
		}
	}
	return all
}

// merge folds what is one state to a person: whatever was left connected, and all
// the places of a cut or short between two drops and on one side of the meter. What
// fits best weighs most in where it is; the ohms are the range of what fits at all well.
func merge(all []State, meterM float64) []State {
	type key struct {
		kind   StateKind
		lost   int
		beyond bool
	}
	at := map[key]int{}
	var folded []State
	for _, st := range all {
		k := key{st.Kind, len(st.Lost), st.AtM > meterM}
		i, ok := at[k]
		if !ok {
			at[k] = len(folded)
			folded = append(folded, st)
			continue
		}
		f := &folded[i]
		p := f.Probability + st.Probability
		f.AtM = (f.AtM*f.Probability + st.AtM*st.Probability) / p
		f.Low, f.High, f.Probability = min(f.Low, st.Low), max(f.High, st.High), p
		w := slices.IndexFunc(f.Ways, func(w Way) bool { return w.Connected == st.Ways[0].Connected })
		if w < 0 {
			f.Ways = append(f.Ways, st.Ways[0])
			continue
		}
		f.Ways[w].Low, f.Ways[w].High = min(f.Ways[w].Low, st.Low), max(f.Ways[w].High, st.High)
	}
	return folded
}

// Lost are the drops that a break at a place takes away, in cable order.
func Lost(s *rulebase.Sheet, atM float64) []string { return lost(s, CutAt, atM, Segment{}) }

// ToShort is where a short lies along the trunk, by the loop resistance read at
// the host's or the far end with the terminator there off. ok is false where the
// sheet does not give the cable's resistance, or the short would lie beyond the
// pair that the meter sees.
func ToShort(s *rulebase.Sheet, ohm float64, fromEnd bool) (atM float64, ok bool) {
	all := Segments(s)
	seg := all[0]
	if fromEnd {
		seg = all[len(all)-1]
	}
	cable := slices.Clone(seg.Sheet.Cable)
	if fromEnd {
		slices.Reverse(cable)
	}
	left, metres := ohm, 0.0
	for _, k := range cable {
		loop, known := Loop(k, s.Celsius)
		if !known {
			return 0, false
		}
		whole := float64(loop.Over(line.Metre(k.LengthM)))
		if left <= whole {
			metres += float64(loop.Length(line.Ohm(left)))
			if fromEnd {
				return seg.ToM - metres, true
			}
			return metres, true
		}
		left -= whole
		metres += k.LengthM
	}
	return 0, false
}

// Halve is where to measure next: the drop nearest to the middle of what a break
// between two places leaves in doubt, weighed by the cable's length.
func Halve(s *rulebase.Sheet, fromM, toM float64) (drop string, atM float64, ok bool) {
	best := math.Inf(1)
	for _, d := range s.Drops {
		if d.AtM <= fromM || d.AtM >= toM {
			continue
		}
		if off := math.Abs(d.AtM - (fromM+toM)/2); off < best {
			best, drop, atM, ok = off, d.Name, d.AtM, true
		}
	}
	return drop, atM, ok
}

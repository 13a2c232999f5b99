package engine_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// wide is a rulebase of 400 causes, up to three at once: 10,667,001 sets, of
// which only the singles and pairs can be held.
type wide struct {
	priors   []float64
	brings   [][2]uint64 // by cause: the conditions it brings about
	symptoms []wideSymptom
	together float64
	text     string
}

type wideSymptom struct {
	rows []int // conditions; the row after them always holds
	p    [][]float64
}

func newWide(r *rand.Rand) *wide {
	w := &wide{together: 0.1}
	var b strings.Builder
	b.WriteString("rulebase: {name: wide, faults_at_most: 3, together: 0.1, outside_per_thousand: 15}\ncauses:\n")
	for i := range 400 {
		per := 0.3 + 2*r.Float64()
		w.priors = append(w.priors, per/1000)
		fmt.Fprintf(&b, "  c%d: {name: C, part: unit, per_thousand: %v, source: common_practice}\n", i, per)
	}
	w.brings = make([][2]uint64, 400)
	members := make([][]string, 100)
	for i := range 400 {
		for _, k := range r.Perm(100)[:1+r.IntN(2)] {
			w.brings[i][k>>6] |= 1 << (k & 63)
			members[k] = append(members[k], fmt.Sprintf("c%d", i))
		}
	}
	b.WriteString("conditions:\n")
	for k, m := range members {
		fmt.Fprintf(&b, "  k%d: {when: %s}\n", k, strings.Join(append(m, "false"), " or "))
	}
	b.WriteString("symptoms:\n")
	for i := range 30 {
		s := wideSymptom{rows: r.Perm(100)[:6]}
		fmt.Fprintf(&b, "  s%d:\n    ask: what\n    by: asking\n    values: [x, y, z]\n    shows:\n", i)
		for j := range 7 {
			p := []float64{.05, .05, .05}
			p[(j+i)%3] = .9
			if j == 6 {
				p = []float64{.05, .05, .05}
				p[i%3] = .9
			}
			s.p = append(s.p, p)
			when := ""
			if j < 6 {
				when = fmt.Sprintf("when: k%d, ", s.rows[j])
			}
			fmt.Fprintf(&b, "      - {%sx: %v, y: %v, z: %v}\n", when, p[0], p[1], p[2])
		}
		w.symptoms = append(w.symptoms, s)
	}
	w.text = b.String()
	return w
}

func (s *wideSymptom) shows(conditions [2]uint64) []float64 {
	for j, k := range s.rows {
		if conditions[k>>6]>>(k&63)&1 == 1 {
			return s.p[j]
		}
	}
	return s.p[len(s.p)-1]
}

// truth is the posterior mass of all sets of three causes, each looked at by itself.
func (w *wide) truth(values []int, sure float64) float64 {
	likelihood := func(conditions [2]uint64) float64 {
		p := 1.0
		for i, v := range values {
			p *= sure*w.symptoms[i].shows(conditions)[v] + (1-sure)/3
		}
		return p
	}
	odds := make([]float64, len(w.priors))
	for i, p := range w.priors {
		odds[i] = p / (1 - p)
	}
	total, held, left := 1.0, likelihood([2]uint64{}), 0.0
	for a, x := range odds {
		ca := w.brings[a]
		total += x
		held += x * likelihood(ca)
		for b := a + 1; b < len(odds); b++ {
			cb := [2]uint64{ca[0] | w.brings[b][0], ca[1] | w.brings[b][1]}
			y := x * odds[b] * w.together
			total += y
			held += y * likelihood(cb)
			for c := b + 1; c < len(odds); c++ {
				z := y * odds[c] * w.together
				total += z
				left += z * likelihood([2]uint64{cb[0] | w.brings[c][0], cb[1] | w.brings[c][1]})
			}
		}
	}
	outside := 0.015
	for range values {
		outside /= 3
	}
	return left / (held + left + outside/0.985*total)
}

// The bound on what is left out is no lower than the truth by full enumeration,
// and low enough to be of use. 20 rulebases with DOWNDROP_DEEP=10.
func TestLeftOutBoundsTheTruth(t *testing.T) {
	support.Alone(t)
	for seed := range support.Deep(t, 1) {
		r := rand.New(rand.NewPCG(uint64(seed), 21))
		w := newWide(r)
		b, err := load(w.text)
		if err != nil {
			t.Fatal(err)
		}
		hidden := w.brings[r.IntN(400)]
		if seed%2 == 1 {
			other := w.brings[r.IntN(400)]
			hidden = [2]uint64{hidden[0] | other[0], hidden[1] | other[1]}
		}
		s := rulebase.Situation{}
		sure := 0.97
		var values []int
		for i := range 8 + r.IntN(8) {
			x, v := r.Float64(), 0
			for p := w.symptoms[i].shows(hidden); v < 2 && x > p[v]; v++ {
				x -= p[v]
			}
			values = append(values, v)
			s.Findings = append(s.Findings, rulebase.Finding{Symptom: fmt.Sprintf("s%d", i), Value: rulebase.Value{Word: "xyz"[v : v+1]}, Sure: &sure})
		}
		d := diagnose(t, engine.Prepare(b), s, engine.Options{})
		truth := w.truth(values, sure)
		t.Logf("seed %d: bound %.3g, truth %.3g, %d sets held", seed, d.LeftOut, truth, d.Work.Hypotheses)
		if d.LeftOut < truth {
			t.Errorf("seed %d: the bound %v is below the truth %v", seed, d.LeftOut, truth)
		}
		if d.LeftOut > 0.01 {
			t.Errorf("seed %d: the bound %v is of no use", seed, d.LeftOut)
		}
		if d.Work.Hypotheses != 1+400+400*399/2 {
			t.Errorf("seed %d: %d sets are held", seed, d.Work.Hypotheses)
		}
	}
}

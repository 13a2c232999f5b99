package decide_test

import (
	"encoding/json"
	"math"
	"math/big"
	"os"
	"slices"
	"testing"

	"downdrop/engine/decide"
)

// These tests hold the package to numbers from outside; testdata/README.md says whose they are.

// number is a decimal of a JSON file as the fraction it is written as.
type number struct{ *big.Rat }

func (n *number) UnmarshalJSON(text []byte) error {
	n.Rat = new(big.Rat)
	if text[0] == '"' {
		text = text[1 : len(text)-1]
	}
	if _, ok := n.SetString(string(text)); !ok {
		return &json.UnsupportedValueError{Str: string(text)}
	}
	return nil
}

func rats(all []number) []*big.Rat {
	var out []*big.Rat
	for _, n := range all {
		out = append(out, n.Rat)
	}
	return out
}

func read(t *testing.T, name string, into any) {
	t.Helper()
	text, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, into); err != nil {
		t.Fatal(err)
	}
}

// near compares with a figure that was printed with 12 digits.
func near(t *testing.T, what string, got *big.Rat, want number) {
	t.Helper()
	g, _ := got.Float64()
	w, _ := want.Float64()
	if !(math.Abs(g-w) <= 1e-9*max(1, math.Abs(w))) {
		t.Errorf("%s: got %v, want %v", what, g, w)
	}
}

// exact compares with a figure that is printed whole.
func exact(t *testing.T, what string, got *big.Rat, want string) {
	t.Helper()
	w, ok := new(big.Rat).SetString(want)
	if !ok || got.Cmp(w) != 0 {
		t.Errorf("%s: got %s, want %s", what, got.RatString(), want)
	}
}

func checked(t *testing.T, p *decide.Problem) *decide.Problem {
	t.Helper()
	if err := p.Check(); err != nil {
		t.Fatal(err)
	}
	return p
}

func neg(x *big.Rat) *big.Rat { return new(big.Rat).Neg(x) }

// zeros is a way that costs nothing in n states.
func zeros(n int) []*big.Rat {
	var all []*big.Rat
	for range n {
		all = append(all, new(big.Rat))
	}
	return all
}

type wildcatter struct {
	Prior, Payoff      []number
	Conditional, Joint [][]number
	EVNow              number `json:"ev_now"`
	EVPerfect          number `json:"ev_perfect"`
	EVPI, EVSI         number
	TestCost           number `json:"test_cost"`
	EVBuying           number `json:"ev_buying_test"`
	Outcomes           []struct {
		P         number
		Posterior []number
		EVDrill   number `json:"ev_drill"`
		Drill     bool
	}
}

// Oil drilling: gains there are costs below nought here.
func TestOilDrilling(t *testing.T) {
	var file struct {
		A wildcatter `json:"wildcatter_raiffa"`
		B wildcatter `json:"wildcatter_joint_table"`
	}
	read(t, "textbook_decisions.json", &file)
	for name, w := range map[string]wildcatter{"raiffa": file.A, "joint table": file.B} {
		p := &decide.Problem{Prior: rats(w.Prior), Cost: [][]*big.Rat{nil, zeros(3)}, Tests: []decide.Test{{Cost: w.TestCost.Rat}}}
		for _, x := range w.Payoff {
			p.Cost[0] = append(p.Cost[0], neg(x.Rat))
		}
		for s := range p.Prior {
			row := rats(append(slices.Clone(w.Conditional), make([][]number, 3)...)[s])
			if w.Joint != nil {
				for _, x := range w.Joint[s] {
					row = append(row, new(big.Rat).Quo(x.Rat, p.Prior[s]))
				}
			}
			p.Tests[0].Likely = append(p.Tests[0].Likely, row)
		}
		checked(t, p)
		sample := p.Sample(0)
		near(t, name+" now", neg(p.Now().Cost), w.EVNow)
		near(t, name+" perfect", neg(p.Perfect()), w.EVPerfect)
		exact(t, name+" EVPI", p.PerfectWorth(), w.EVPI.RatString())
		exact(t, name+" EVSI", sample.Worth, w.EVSI.RatString())
		plan := p.Plan()
		exact(t, name+" buying the test", neg(plan.Cost), w.EVBuying.RatString())
		if !slices.Equal(plan.Tests, []int{0}) || plan.Ways != nil {
			t.Errorf("%s: the test is to be bought; got %+v", name, plan)
		}
		for r, o := range w.Outcomes {
			got := sample.Results[r]
			near(t, name+" chance", got.Chance, o.P)
			for s := range o.Posterior {
				near(t, name+" posterior", got.Belief[s], o.Posterior[s])
			}
			if drill := slices.Contains(got.Choice.Ways, 0); drill != o.Drill {
				t.Errorf("%s: result %d: drill %v, want %v", name, r, drill, o.Drill)
			}
			if o.Drill {
				near(t, name+" after", neg(got.Choice.Cost), o.EVDrill)
			}
		}
	}
	// The figures by which this decision is known.
	exact(t, "EVPI", file.A.EVPI.Rat, "35")
	exact(t, "EVSI", file.A.EVSI.Rat, "12.5")
	exact(t, "with the test", file.A.EVBuying.Rat, "22.5")
}

// Repair costs 80 and works with chance q; where it does not, the exchange is paid as well.
func TestRepairOrExchange(t *testing.T) {
	var file struct {
		R struct {
			Repair, Exchange number
			BreakEven        number `json:"break_even_p"`
			Rows             []struct {
				Q        number `json:"p_repair_works"`
				Try      number `json:"cost_try_repair"`
				Exchange number `json:"cost_exchange"`
				Best     string
				EVPI     number
			}
		} `json:"repair_or_exchange"`
	}
	read(t, "textbook_decisions.json", &file)
	x := file.R
	repair := []*big.Rat{x.Repair.Rat, new(big.Rat).Add(x.Repair.Rat, x.Exchange.Rat)} // works, does not
	exchange := []*big.Rat{x.Exchange.Rat, x.Exchange.Rat}
	for _, row := range x.Rows {
		p := checked(t, &decide.Problem{Prior: []*big.Rat{row.Q.Rat, new(big.Rat).Sub(big.NewRat(1, 1), row.Q.Rat)}, Cost: [][]*big.Rat{repair, exchange}})
		near(t, "repair", p.Expected()[0], row.Try)
		near(t, "exchange", p.Expected()[1], row.Exchange)
		near(t, "EVPI", p.PerfectWorth(), row.EVPI)
		if best := p.Now().Ways; len(best) != 1 || []string{"repair", "exchange"}[best[0]] != row.Best {
			t.Errorf("q = %s: best %v, want %s", row.Q.FloatString(1), best, row.Best)
		}
	}
	stretches := decide.Stretches([]*big.Rat{repair[1], exchange[1]}, []*big.Rat{repair[0], exchange[0]})
	if len(stretches) != 2 || !slices.Equal(stretches[0].Ways, []int{1}) || !slices.Equal(stretches[1].Ways, []int{0}) {
		t.Fatalf("stretches %+v", stretches)
	}
	near(t, "break-even", stretches[0].To, x.BreakEven)
	exact(t, "break-even", stretches[0].To, "4/15")
}

// A test that is worth exactly what it costs is a tie, and is found to be one.
func TestBenchTestBeforeExchange(t *testing.T) {
	var file struct {
		B struct {
			Exchange, Sensitivity, Specificity number
			WrongReturn                        number `json:"wrong_return"`
			TestCost                           number `json:"test_cost"`
			Threshold                          number `json:"threshold_p"`
			Rows                               []struct {
				P       number `json:"p_bad"`
				CostNow number `json:"cost_now"`
				BestNow string `json:"best_now"`
				EVPI    number
				EVSI    number
				Net     number
				Test    bool
				After   number `json:"posterior_bad_if_positive"`
				Else    number `json:"posterior_bad_if_negative"`
			}
		} `json:"bench_test_before_exchange"`
	}
	read(t, "textbook_decisions.json", &file)
	b := file.B
	un := func(x number) *big.Rat { return new(big.Rat).Sub(big.NewRat(1, 1), x.Rat) }
	ties := 0
	for _, row := range b.Rows {
		p := checked(t, &decide.Problem{ // states: good, bad; ways: return, exchange
			Prior: []*big.Rat{un(row.P), row.P.Rat},
			Cost:  [][]*big.Rat{{new(big.Rat), b.WrongReturn.Rat}, {b.Exchange.Rat, b.Exchange.Rat}},
			Tests: []decide.Test{{Cost: b.TestCost.Rat, Likely: [][]*big.Rat{{b.Specificity.Rat, un(b.Specificity)}, {un(b.Sensitivity), b.Sensitivity.Rat}}}},
		})
		name := "p = " + row.P.FloatString(2)
		sample, plan := p.Sample(0), p.Plan()
		near(t, name+" now", p.Now().Cost, row.CostNow)
		near(t, name+" EVPI", p.PerfectWorth(), row.EVPI)
		near(t, name+" EVSI", sample.Worth, row.EVSI)
		near(t, name+" net", sample.Net, row.Net)
		near(t, name+" after positive", sample.Results[1].Belief[1], row.After)
		near(t, name+" after negative", sample.Results[0].Belief[1], row.Else)
		if best := []string{"return", "exchange"}[p.Now().Ways[0]]; best != row.BestNow {
			t.Errorf("%s: best %s, want %s", name, best, row.BestNow)
		}
		if tests := len(plan.Tests) > 0 && plan.Ways == nil; tests != row.Test {
			t.Errorf("%s: to be tested: %v, want %v", name, tests, row.Test)
		}
		if len(plan.Tests) > 0 && plan.Ways != nil {
			ties++
			exact(t, name+" the tie", row.P.Rat, "0.2")
			exact(t, name+" the tie", sample.Net, "0")
		}
	}
	if ties != 1 {
		t.Errorf("%d ties, want the one at p = 0.2", ties)
	}
	s := decide.Stretches([]*big.Rat{new(big.Rat), b.Exchange.Rat}, []*big.Rat{b.WrongReturn.Rat, b.Exchange.Rat})
	near(t, "threshold", s[0].To, b.Threshold)
	exact(t, "threshold", s[0].To, "2/3")
	tie := &decide.Problem{Prior: []*big.Rat{big.NewRat(1, 3), big.NewRat(2, 3)}, Cost: [][]*big.Rat{{new(big.Rat), b.WrongReturn.Rat}, {b.Exchange.Rat, b.Exchange.Rat}}}
	if ways := tie.Now().Ways; len(ways) != 2 {
		t.Errorf("at the threshold both ways cost the same; got %v", ways)
	}
}

func TestImperfectTests(t *testing.T) {
	var file struct {
		Cases []struct {
			ID       string
			Prior    []number
			TestCost []number     `json:"test_cost"`
			Likely   [][][]number `json:"likelihood"`
			ActCost  [][]number   `json:"act_cost"`
			CostNow  number       `json:"cost_now"`
			ActNow   int          `json:"act_now"`
			Perfect  number       `json:"cost_perfect"`
			EVPI     number
			EVSI     []number
			Net      []number `json:"myopic_net_value"`
			Optimal  number
			First    []any             `json:"optimal_first"`
			Steps    map[string]number `json:"first_step_cost"`
		}
	}
	read(t, "voi_cases.json", &file)
	if len(file.Cases) != 8 {
		t.Fatalf("%d cases", len(file.Cases))
	}
	for _, c := range file.Cases {
		p := &decide.Problem{Prior: rats(c.Prior)}
		for _, row := range c.ActCost {
			p.Cost = append(p.Cost, rats(row))
		}
		for i, likely := range c.Likely {
			test := decide.Test{Cost: c.TestCost[i].Rat}
			for _, row := range likely {
				// Printed with 12 digits: the last result takes what is lacking to 1.
				all, rest := rats(row), big.NewRat(1, 1)
				for _, x := range all[:len(all)-1] {
					rest.Sub(rest, x)
				}
				all[len(all)-1] = rest
				test.Likely = append(test.Likely, all)
			}
			p.Tests = append(p.Tests, test)
		}
		checked(t, p)
		near(t, c.ID+" now", p.Now().Cost, c.CostNow)
		near(t, c.ID+" perfect", p.Perfect(), c.Perfect)
		near(t, c.ID+" EVPI", p.PerfectWorth(), c.EVPI)
		for i := range p.Tests {
			s := p.Sample(i)
			near(t, c.ID+" EVSI", s.Worth, c.EVSI[i])
			near(t, c.ID+" net", s.Net, c.Net[i])
		}
		plan := p.Plan()
		near(t, c.ID+" optimal", plan.Cost, c.Optimal)
		for name, cost := range c.Steps {
			kind, i := name[:3], int(name[len(name)-1]-'0')
			if kind == "tes" {
				near(t, c.ID+" "+name, plan.First[i], cost)
			} else {
				near(t, c.ID+" "+name, p.Expected()[i], cost)
			}
		}
		first := int(c.First[1].(float64))
		if c.First[0] == "test" && !slices.Contains(plan.Tests, first) || c.First[0] == "act" && !slices.Contains(plan.Ways, first) {
			t.Errorf("%s: first %v, want %v", c.ID, plan, c.First)
		}
	}
}

// Poisson: the tail for mean 1 and 2 as in any table of the distribution (from
// memory; they are 1 - e^-m (1 + m + ...)).
func TestMoreThan(t *testing.T) {
	for _, row := range []struct {
		n    int
		mean float64
		want float64
	}{{0, 1, 0.6321}, {1, 1, 0.2642}, {2, 1, 0.0803}, {3, 1, 0.0190}, {0, 2, 0.8647}, {1, 2, 0.5940}, {4, 2, 0.0527}, {9, 5, 0.0318}} {
		if got := decide.MoreThan(row.n, row.mean); !(math.Abs(got-row.want) <= 5e-5) {
			t.Errorf("more than %d of mean %v: %v, want %v", row.n, row.mean, got, row.want)
		}
	}
	if got, want := decide.MoreThan(1, 1e-9), 0.5e-18; !(math.Abs(got-want) <= 1e-8*want) {
		t.Errorf("a small risk keeps its digits: %v", got)
	}
	if decide.MoreThan(0, 0) != 0 || decide.MoreThan(-1, 0) != 1 {
		t.Error("nothing is expected: more than none never, more than -1 always")
	}
}

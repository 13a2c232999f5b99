package plan_test

import (
	"encoding/json"
	"math"
	"math/big"
	"os"
	"slices"
	"testing"

	"downdrop/engine/plan"
)

func readCases(t *testing.T, file string, into any) {
	t.Helper()
	text, err := os.ReadFile("../../testdata/checks/" + file)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, into); err != nil {
		t.Fatal(err)
	}
}

func near(a, b, relative float64) bool { return math.Abs(a-b) <= relative*math.Max(1, math.Abs(b)) }

// share is how much worse a is than the best, and its mean and worst over cases.
type shares []float64

func (s *shares) add(got, best float64) {
	if best == 0 {
		best, got = 1, got+1
	}
	*s = append(*s, got/best-1)
}

func (s shares) mean() float64 {
	sum := 0.0
	for _, x := range s {
		sum += x
	}
	return sum / float64(len(s))
}

func (s shares) worst() float64 { return slices.Max(s) }

func (s shares) log(t *testing.T, what string) {
	t.Logf("%s: %.3f %% over the optimum on average, %.2f %% at worst, of %d", what, 100*s.mean(), 100*s.worst(), len(s))
}

type testSequence struct {
	ID      string
	Prior   []float64 `json:"prior_float"`
	Cost    []float64
	Outcome [][]int
	Optimal float64 `json:"optimal_cost"`
	First   []int   `json:"optimal_first_tests"`
	Greedy  float64 `json:"greedy_cost"`
	Rollout float64 `json:"rollout_cost"`
}

// one makes a model in which state x is the only thing to be done there.
func one(weight []float64) *plan.Model {
	m := &plan.Model{Weight: weight}
	for x := range weight {
		m.Outcome = append(m.Outcome, x)
	}
	return m
}

func (c *testSequence) model() *plan.Model {
	m := one(c.Prior)
	m.Identify = true
	for i, price := range c.Cost {
		values := 0
		for x := range c.Prior {
			values = max(values, c.Outcome[x][i]+1)
		}
		s := plan.Sign{Once: true}
		for v := range values {
			p := make([]float64, len(c.Prior))
			for x := range p {
				if c.Outcome[x][i] == v {
					p[x] = 1
				}
			}
			s.P = append(s.P, p)
		}
		m.Signs = append(m.Signs, s)
		m.Steps = append(m.Steps, plan.Step{Price: price, Shows: []int{i}})
	}
	return m
}

// Sure tests until it is known what is wrong: the published table of Pattipati and
// Alexandridis 1990 and seeded ones (testdata/checks/testseq_cases.json).
func TestSequencesOfSureTests(t *testing.T) {
	var file struct{ Cases []testSequence }
	readCases(t, "testseq_cases.json", &file)
	var greedy, rollout shares
	for _, c := range file.Cases {
		m := c.model()
		found := plan.Search(m, 1e6)
		if !found.Proven() || !near(found.Upper, c.Optimal, 1e-9) {
			t.Errorf("%s: optimum %v (bound %v), want %v", c.ID, found.Upper, found.Lower, c.Optimal)
		}
		if !slices.Contains(c.First, found.Step) {
			t.Errorf("%s: begins with %d, want one of %v", c.ID, found.Step, c.First)
		}
		if got := m.Value(plan.Greedy); !near(got, c.Greedy, 1e-9) {
			t.Errorf("%s: greedy %v, want %v", c.ID, got, c.Greedy)
		}
		greedy.add(m.Value(plan.Greedy), c.Optimal)
		rollout.add(m.Value(plan.Rollout), c.Optimal)
	}
	greedy.log(t, "greedy")
	rollout.log(t, "rollout")
	if len(file.Cases) < 15 || rollout.mean() > 0.01 || rollout.worst() > 0.08 {
		t.Errorf("rollout is %v over the optimum on average, %v at worst, of %d", rollout.mean(), rollout.worst(), len(file.Cases))
	}
}

type troubleshooting struct {
	ID         string
	Faults     []fraction
	ActionCost []float64     `json:"action_cost"`
	Fix        [][]float64   // by action, by fault
	Question   []float64     `json:"question_cost"`
	Likelihood [][][]float64 // by question, by fault, by answer
	Service    float64       `json:"service_cost"`
	Optimal    float64
	Plain      float64 `json:"pc_no_questions"`
	OneAhead   float64 `json:"pc_with_one_look_ahead_questions"`
}

// fraction is a number written as a/b.
type fraction float64

func (f *fraction) UnmarshalJSON(text []byte) error {
	var s string
	if err := json.Unmarshal(text, &s); err != nil {
		return err
	}
	*f = fraction(parseFraction(s))
	return nil
}

func transposed(byFault [][]float64) [][]float64 {
	p := make([][]float64, len(byFault[0]))
	for _, row := range byFault {
		for v, q := range row {
			p[v] = append(p[v], q)
		}
	}
	return p
}

// model has a state for each fault, and one where nothing is wrong any more.
func (c *troubleshooting) model() *plan.Model {
	var weight []float64
	for _, f := range c.Faults {
		weight = append(weight, float64(f))
	}
	gone := len(weight)
	m := one(append(weight, 0))
	m.Well = make([]float64, gone+1)
	m.Well[gone] = 1
	for a, price := range c.ActionCost {
		s := plan.Step{Price: price, Moves: make([][]plan.Move, gone+1)}
		for x, q := range c.Fix[a] {
			s.Moves[x] = []plan.Move{{To: gone, Chance: q}, {To: x, Chance: 1 - q}}
		}
		s.Moves[gone] = []plan.Move{{To: gone, Chance: 1}}
		m.Steps = append(m.Steps, s)
	}
	for q, price := range c.Question {
		byFault := append(slices.Clone(c.Likelihood[q]), c.Likelihood[q][0])
		m.Signs = append(m.Signs, plan.Sign{P: transposed(byFault), Once: true})
		m.Steps = append(m.Steps, plan.Step{Price: price, Shows: []int{q}})
	}
	service := make([]float64, gone+1)
	for x := range service {
		service[x] = c.Service
	}
	m.Ends = []plan.End{{Cost: service}}
	return m
}

// Remedies that may fail, questions, a last resort (testdata/checks/troubleshoot_cases.json).
func TestTroubleshooting(t *testing.T) {
	var file struct{ Cases []troubleshooting }
	readCases(t, "troubleshoot_cases.json", &file)
	var greedy, rollout shares
	for _, c := range file.Cases {
		m := c.model()
		found := plan.Search(m, 1e6)
		if !found.Proven() || !near(found.Upper, c.Optimal, 1e-9) {
			t.Errorf("%s: optimum %v (bound %v), want %v", c.ID, found.Upper, found.Lower, c.Optimal)
		}
		greedy.add(m.Value(plan.Greedy), c.Optimal)
		rollout.add(m.Value(plan.Rollout), c.Optimal)
		t.Logf("%s: acting %.3f (%.3f) greedy %.3f (%.3f) rollout %.3f optimum %.3f, %d opened", c.ID, m.Value(plan.Acting), c.Plain, m.Value(plan.Greedy), c.OneAhead, m.Value(plan.Rollout), c.Optimal, found.Opened)
	}
	greedy.log(t, "greedy")
	rollout.log(t, "rollout")
	if len(file.Cases) < 10 || rollout.mean() > 0.02 {
		t.Errorf("rollout is %v over the optimum on average", rollout.mean())
	}
}

type information struct {
	ID         string
	Prior      []fraction
	TestCost   []float64     `json:"test_cost"`
	Likelihood [][][]float64 // by test, by state, by answer
	ActCost    [][]float64   `json:"act_cost"`
	Optimal    float64
	Myopic     float64
}

func (c *information) model() *plan.Model {
	var weight []float64
	for _, f := range c.Prior {
		weight = append(weight, float64(f))
	}
	m := one(weight)
	for q, price := range c.TestCost {
		m.Signs = append(m.Signs, plan.Sign{P: transposed(c.Likelihood[q]), Once: true})
		m.Steps = append(m.Steps, plan.Step{Price: price, Shows: []int{q}})
	}
	for _, cost := range c.ActCost {
		m.Ends = append(m.Ends, plan.End{Cost: cost})
	}
	return m
}

// Tests that are not sure, and when to stop (testdata/checks/voi_cases.json).
func TestValueOfInformation(t *testing.T) {
	var file struct{ Cases []information }
	readCases(t, "voi_cases.json", &file)
	var rollout shares
	for _, c := range file.Cases {
		m := c.model()
		found := plan.Search(m, 1e6)
		if !found.Proven() || !near(found.Upper, c.Optimal, 1e-8) {
			t.Errorf("%s: optimum %v (bound %v), want %v", c.ID, found.Upper, found.Lower, c.Optimal)
		}
		got := m.Value(plan.Rollout)
		rollout.add(got, c.Optimal)
		t.Logf("%s: greedy %.3f (%.3f) rollout %.3f optimum %.3f, %d opened", c.ID, m.Value(plan.Greedy), c.Myopic, got, c.Optimal, found.Opened)
		if (c.ID == "xor-trap" || c.ID == "pull-or-adjust") && !near(got, c.Optimal, 1e-9) {
			t.Errorf("%s: rollout %v, want %v", c.ID, got, c.Optimal)
		}
	}
	rollout.log(t, "rollout")
	if len(file.Cases) < 8 || rollout.mean() > 0.02 {
		t.Errorf("rollout is %v over the optimum on average", rollout.mean())
	}
}

func parseFraction(s string) float64 {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("no fraction: " + s)
	}
	f, _ := r.Float64()
	return f
}

type repairOrder struct {
	ID     string
	P      []fraction
	Check  []float64 `json:"check_cost"`
	Repair []float64 `json:"repair_cost"`
	ECR    float64   `json:"ecr"`
	Free   struct {
		ECR float64 `json:"ecr"`
	} `json:"last_check_free"`
}

// model tries one thing after the other; what it costs to put right what is found
// is paid whatever the order, and left out. Where the last check is free, what is
// known to be the one left is put right without it.
func (c *repairOrder) model(lastFree bool) *plan.Model {
	var weight []float64
	for _, p := range c.P {
		weight = append(weight, float64(p))
	}
	gone := len(weight)
	m := one(append(weight, 0))
	m.Well = make([]float64, gone+1)
	m.Well[gone] = 1
	for i, price := range c.Check {
		s := plan.Step{Price: price, Moves: make([][]plan.Move, gone+1)}
		without := plan.End{Cost: make([]float64, gone+1)}
		for x := range s.Moves {
			s.Moves[x] = []plan.Move{{To: x, Chance: 1}}
			without.Cost[x] = math.Inf(1)
		}
		s.Moves[i][0].To, without.Cost[i], without.Cost[gone] = gone, 0, 0
		m.Steps = append(m.Steps, s)
		if lastFree {
			m.Ends = append(m.Ends, without)
		}
	}
	return m
}

// One fault for certain, checked for in the order of chance per minute, with and
// without the exception for the last one (testdata/checks/order_cases.json).
func TestOrderOfRepairs(t *testing.T) {
	var file struct{ Cases []repairOrder }
	readCases(t, "order_cases.json", &file)
	for _, c := range file.Cases {
		repair := 0.0
		for i, p := range c.P {
			repair += float64(p) * c.Repair[i]
		}
		for lastFree, want := range map[bool]float64{false: c.ECR, true: c.Free.ECR} {
			m := c.model(lastFree)
			if got := m.Value(plan.Acting) + repair; !near(got, want, 1e-9) {
				t.Errorf("%s, last check free %t: acting costs %v, want %v", c.ID, lastFree, got, want)
			}
			if f := plan.Search(m, 1e6); !f.Proven() || !near(f.Upper+repair, want, 1e-9) {
				t.Errorf("%s, last check free %t: optimum %v (bound %v), want %v", c.ID, lastFree, f.Upper+repair, f.Lower+repair, want)
			}
		}
	}
	if len(file.Cases) < 8 {
		t.Errorf("only %d cases", len(file.Cases))
	}
}

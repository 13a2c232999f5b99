package rulebase_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/expr-lang/expr"

	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// forPeer writes a term as expr reads it: words in quotes, a banded symptom's
// reading and what is known of a name as names of their own.
func forPeer(t *rulebase.Term, names []rulebase.Name) string {
	arg := func(i int) string { return "(" + forPeer(t.Args[i], names) + ")" }
	joined := func(by string) string {
		parts := make([]string, len(t.Args))
		for i := range t.Args {
			parts[i] = arg(i)
		}
		return strings.Join(parts, by)
	}
	words := func() string {
		n := names[t.Name]
		parts := make([]string, len(t.Words))
		for i, w := range t.Words {
			if parts[i] = strconv.Quote(n.Words[w-1]); n.Type == rulebase.Flag {
				parts[i] = n.Words[w-1]
			}
		}
		return strings.Join(parts, ", ")
	}
	numbers := func() string {
		parts := make([]string, len(t.Numbers))
		for i, x := range t.Numbers {
			parts[i] = strconv.FormatFloat(x, 'f', -1, 64)
		}
		return strings.Join(parts, ", ")
	}
	binary := map[rulebase.Op]string{rulebase.OpEqual: " == ", rulebase.OpNotEqual: " != ", rulebase.OpLess: " < ", rulebase.OpLessEqual: " <= ", rulebase.OpGreater: " > ",
		rulebase.OpGreaterEqual: " >= ", rulebase.OpSameFlag: " == ", rulebase.OpOtherFlag: " != ", rulebase.OpAdd: " + ", rulebase.OpSubtract: " - ",
		rulebase.OpMultiply: " * ", rulebase.OpDivide: " / ", rulebase.OpAnd: " and ", rulebase.OpOr: " or "}
	switch t.Op {
	case rulebase.OpTrue:
		return "true"
	case rulebase.OpFalse:
		return "false"
	case rulebase.OpRead:
		return names[t.Name].ID
	case rulebase.OpReading:
		return names[t.Name].ID + "_reading"
	case rulebase.OpNot:
		return "not " + arg(0)
	case rulebase.OpKnown:
		return "known_" + names[t.Name].ID
	case rulebase.OpIs:
		return names[t.Name].ID + " == " + words()
	case rulebase.OpIsNot:
		return names[t.Name].ID + " != " + words()
	case rulebase.OpIn:
		return names[t.Name].ID + " in [" + words() + "]"
	case rulebase.OpNotIn:
		return names[t.Name].ID + " not in [" + words() + "]"
	case rulebase.OpInNumbers:
		return arg(0) + " in [" + numbers() + "]"
	case rulebase.OpNotInNumbers:
		return arg(0) + " not in [" + numbers() + "]"
	case rulebase.OpSameWord:
		return names[t.Name].ID + " == " + names[t.Other].ID
	case rulebase.OpOtherWord:
		return names[t.Name].ID + " != " + names[t.Other].ID
	case rulebase.OpConstant:
		return strconv.FormatFloat(t.Number, 'f', -1, 64)
	case rulebase.OpNegate:
		return "-" + arg(0)
	case rulebase.OpMin, rulebase.OpMax:
		return map[rulebase.Op]string{rulebase.OpMin: "min", rulebase.OpMax: "max"}[t.Op] + "(" + joined(", ") + ")"
	case rulebase.OpAbs:
		return "abs" + arg(0)
	}
	return joined(binary[t.Op])
}

// knownOf is a random state in which everything is known, for both machines.
func knownOf(r *rand.Rand, names []rulebase.Name) ([]rulebase.Slot, map[string]any) {
	slots := make([]rulebase.Slot, len(names))
	env := map[string]any{}
	for i, n := range names {
		s := &slots[i]
		s.Rank = []rulebase.Rank{rulebase.FromDefault, rulebase.FromPerson}[r.IntN(2)]
		s.Number = float64(r.IntN(4000)) / 10
		env["known_"+n.ID] = s.Rank > rulebase.FromDefault
		env[n.ID+"_reading"] = s.Number
		if len(n.Words) > 0 {
			s.Word = int32(1 + r.IntN(len(n.Words)))
		}
		switch n.Type {
		case rulebase.Flag:
			env[n.ID] = s.Word == 2
		case rulebase.Number:
			env[n.ID] = s.Number
		default:
			env[n.ID] = n.Words[s.Word-1]
		}
	}
	return slots, env
}

// Every condition of the shipped rulebase gives what expr's own virtual machine
// gives, wherever everything is known.
func TestShippedConditionsEqualExprsOwnMachine(t *testing.T) {
	t.Parallel()
	support.Alone(t)
	b, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]*rulebase.Expression{}
	add := func(where string, e *rulebase.Expression) {
		if e != nil {
			all[fmt.Sprint(where, e.Pos)] = e
		}
	}
	for _, c := range b.Conditions {
		add("condition", c.When)
	}
	for _, c := range b.Causes {
		for _, l := range c.MoreLikely {
			add("more_likely", l.When)
		}
	}
	for _, s := range b.Symptoms {
		for _, row := range s.Shows {
			add("row", row.When)
		}
	}
	for _, r := range b.Rules {
		add("rule", r.When)
	}
	for _, step := range append(append([]rulebase.Step(nil), b.Tests...), b.Remedies...) {
		add("only_if", step.OnlyIf)
	}
	if len(all) < 200 {
		t.Fatalf("only %d conditions were found", len(all))
	}
	r := rand.New(rand.NewPCG(1, 6))
	both := map[rulebase.Truth]int{}
	for _, where := range slices.Sorted(maps.Keys(all)) {
		e := all[where]
		text := forPeer(e.Root, b.Names)
		program, err := expr.Compile(text, expr.Optimize(false))
		if err != nil {
			t.Fatalf("%s: %s: %v", where, text, err)
		}
		for range 6 * deep() {
			slots, env := knownOf(r, b.Names)
			out, err := expr.Run(program, env)
			if err != nil {
				t.Fatalf("%s: %s: %v", where, text, err)
			}
			got := e.Eval(slots)
			both[got]++
			if want := rulebase.False; out == true {
				want = rulebase.True
				if got != want {
					t.Fatalf("%s: %s is %v, to expr true", where, text, got)
				}
			} else if got != want {
				t.Fatalf("%s: %s is %v, to expr %v", where, text, got, out)
			}
		}
	}
	if both[rulebase.True] == 0 || both[rulebase.False] == 0 {
		t.Errorf("conditions came out only one way: %v", both)
	}
	t.Logf("%d conditions, %d true and %d false", len(all), both[rulebase.True], both[rulebase.False])
}

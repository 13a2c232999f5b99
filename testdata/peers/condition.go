package main

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"testing/fstest"

	"cel.dev/cel-go/cel"
	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/vm"

	"downdrop/rulebase"
)

// The condition that the figures are about. All its parts are looked at where it is true.
const (
	ourCondition  = `power_light == dark and supply_volts >= 19.2 and not (address in [1, 2, 3])`
	exprCondition = `power_light == "dark" and supply_volts >= 19.2 and not (address in [1, 2, 3])`
	celCondition  = `power_light == "dark" && supply_volts >= 19.2 && !(address in [1.0, 2.0, 3.0])`
)

type seen struct {
	power          string
	volts, address float64
}

//go:noinline
func byHand(s *seen) bool {
	return s.power == "dark" && s.volts >= 19.2 && !(s.address == 1 || s.address == 2 || s.address == 3)
}

// loadText reads a rulebase, divided into files of at most a MiB: one file may not
// have more than two.
func loadText(text string) *rulebase.Base {
	files, file, section := fstest.MapFS{}, []byte{}, ""
	keep := func() {
		files[fmt.Sprintf("part%03d.yaml", len(files))] = &fstest.MapFile{Data: file}
		file = []byte(section)
	}
	for line := range strings.Lines(text) {
		if strings.HasSuffix(line, ":\n") && line[0] != ' ' {
			section = line
		}
		if len(file)+len(line) > 1<<20 && line[0] == ' ' {
			keep()
		}
		file = append(file, line...)
	}
	keep()
	b, err := rulebase.Load(rulebase.Layer{Name: "made", FS: files})
	must(err)
	return b
}

func slotsOf(b *rulebase.Base) []rulebase.Slot {
	slots := make([]rulebase.Slot, len(b.Names))
	for i := range slots {
		slots[i] = rulebase.Slot{Number: math.NaN()}
	}
	return slots
}

func placeOf(b *rulebase.Base, id string) int {
	for i, n := range b.Names {
		if n.ID == id {
			return i
		}
	}
	mustBe(false, "no name %s", id)
	return -1
}

var held bool

func conditions() {
	b := loadText(`
rulebase: {name: made}
sources: {made: {says: made up for a benchmark, kind: made}}
givens:
  power_light: {ask: which, one_of: [lit, dark, flickering]}
  supply_volts: {ask: how many, unit: V}
  address: {ask: which, unit: m}
rules:
  r: {when: "` + ourCondition + `", then: {found: true}, source: made}
`)
	when := b.Rules[0].When
	light, volts, address := placeOf(b, "power_light"), placeOf(b, "supply_volts"), placeOf(b, "address")
	slots := slotsOf(b)
	set := func(s seen) {
		for word, w := range b.Names[light].Words {
			if w == s.power {
				slots[light] = rulebase.Slot{Word: int32(word + 1), Number: math.NaN(), Rank: rulebase.FromPerson}
			}
		}
		slots[volts] = rulebase.Slot{Number: s.volts, Rank: rulebase.FromPerson}
		slots[address] = rulebase.Slot{Number: s.address, Rank: rulebase.FromPerson}
	}
	program, err := expr.Compile(exprCondition)
	must(err)
	var machine vm.VM
	env, err := cel.NewEnv(cel.Variable("power_light", cel.StringType), cel.Variable("supply_volts", cel.DoubleType), cel.Variable("address", cel.DoubleType))
	must(err)
	tree, issues := env.Compile(celCondition)
	must(issues.Err())
	celProgram, err := env.Program(tree, cel.EvalOptions(cel.OptOptimize))
	must(err)
	s := &seen{}
	values := map[string]any{}
	byExpr := func() bool {
		out, err := machine.Run(program, values)
		must(err)
		return out.(bool)
	}
	byCEL := func() bool {
		out, _, err := celProgram.Eval(values)
		must(err)
		return out.Value().(bool)
	}
	for _, power := range []string{"lit", "dark", "flickering"} {
		for _, v := range []float64{0, 19.1, 19.2, 24} {
			for a := range 6 {
				*s = seen{power, v, float64(a)}
				values["power_light"], values["supply_volts"], values["address"] = power, v, float64(a)
				set(*s)
				want := byHand(s)
				mustBe((when.Eval(slots) == rulebase.True) == want && byExpr() == want && byCEL() == want, "conditions disagree in %+v", *s)
			}
		}
	}
	*s = seen{"dark", 24, 5}
	values["power_light"], values["supply_volts"], values["address"] = "dark", 24.0, 5.0
	set(*s)
	times := func(n int, f func() bool) func() {
		return func() {
			for range n {
				held = f()
			}
		}
	}
	const n = 200_000
	t := race("One condition, compiled beforehand: "+ourCondition,
		entrant{name: "by hand in Go", per: n, run: times(n, func() bool { return byHand(s) })},
		entrant{name: "downdrop", per: n, run: times(n, func() bool { return when.Eval(slots) == rulebase.True })},
		entrant{name: "expr, machine reused", per: n / 10, run: times(n/10, byExpr)},
		entrant{name: "CEL, optimised", per: n / 10, run: times(n/10, byCEL)})
	goal("allocations", testing.AllocsPerRun(100, func() { held = when.Eval(slots) == rulebase.True }), 0, false)
	goal("times the same by hand", ratio(t["downdrop"], t["by hand in Go"]), 4.5, false)
	goal("expr's machine takes times ours", ratio(t["expr, machine reused"], t["downdrop"]), 15, true)
	goal("CEL takes times ours", ratio(t["CEL, optimised"], t["downdrop"]), 15, true)
}

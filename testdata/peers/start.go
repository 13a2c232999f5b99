package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"time"

	"downdrop/engine"
	"downdrop/rulebase"
)

// starts times whole processes, in turn: a bare program with cobra, and downdrop. What
// is compared is processor time: the clock of a machine with other work measures that.
func starts() {
	dir, err := os.MkdirTemp("", "peers")
	must(err)
	defer os.RemoveAll(dir)
	build := func(name, pkg string) string {
		out := filepath.Join(dir, name)
		cmd := exec.Command("go", "build", "-trimpath", "-ldflags", "-s -w", "-o", out, pkg)
		cmd.Dir = "../.."
		cmd.Env = append(os.Environ(), "CGO_ENABLED=0") // as it is given away: a C library is started, too, and makes both slower alike
		text, err := cmd.CombinedOutput()
		mustBe(err == nil, "%v: %s", err, text)
		return out
	}
	hello, ours := build("hello", "./cmd/downdrop/testdata/hello"), build("downdrop", "./cmd/downdrop")
	example, err := filepath.Abs("../../cases/examples/dark_drop.yaml")
	must(err)
	none := filepath.Join(dir, "none.yaml")
	must(os.WriteFile(none, []byte("case: none\nfindings: [{symptom: no_such_symptom, value: x}]\n"), 0o600))

	base, err := rulebase.ShippedCompiled()
	must(err)
	text, err := os.ReadFile(example)
	must(err)
	s, err := base.ReadCase("dark_drop.yaml", text)
	must(err)
	prepared := engine.Prepare(base)
	diagnose := func(prepared *engine.Prepared) float64 {
		before := processorTime()
		_, err := engine.Diagnose(context.Background(), prepared, s, engine.Options{Weights: true}) // as the command does
		must(err)
		return float64(processorTime() - before)
	}
	warm := func() float64 { return diagnose(prepared) }
	warm()

	type process struct {
		name string
		args []string
		code int // what it ends with
	}
	all := []process{
		{"bare program with cobra", []string{hello}, 0},
		{"downdrop version", []string{ours, "version"}, 0},
		{"downdrop --help", []string{ours, "--help"}, 0},
		{"rulebase ready, a case refused for an id it lacks", []string{ours, "diagnose", none}, 4},
		{"downdrop diagnose CASE", []string{ours, "diagnose", example}, 0},
	}
	const (
		warmed = "the same diagnosis, warm, in this process"
		fresh  = "likewise, prepared anew: sets of causes not yet settled"
	)
	busy, wall := map[string][]float64{}, map[string][]float64{}
	for range *rounds * 5 {
		for _, p := range all {
			cmd := exec.Command(p.args[0], p.args[1:]...)
			begin := time.Now()
			_ = cmd.Run()
			wall[p.name] = append(wall[p.name], float64(time.Since(begin)))
			mustBe(cmd.ProcessState.ExitCode() == p.code, "%s ends with %d", p.name, cmd.ProcessState.ExitCode())
			busy[p.name] = append(busy[p.name], float64(cmd.ProcessState.UserTime()+cmd.ProcessState.SystemTime()))
		}
		begin := time.Now()
		busy[warmed] = append(busy[warmed], warm())
		wall[warmed] = append(wall[warmed], float64(time.Since(begin)))
		begin = time.Now()
		before := processorTime()
		diagnose(engine.Prepare(base))
		busy[fresh] = append(busy[fresh], float64(processorTime()-before))
		wall[fresh] = append(wall[fresh], float64(time.Since(begin)))
	}
	fmt.Printf("\nA whole process from start to end, %d each in turn: processor time, and by the clock\n", *rounds*5)
	median := func(all []float64) float64 {
		all = slices.Sorted(slices.Values(all))
		return all[len(all)/2]
	}
	least := func(name string) float64 { return slices.Min(busy[name]) }
	bare := all[0].name
	for _, p := range append(all, process{name: warmed}, process{name: fresh}) {
		fmt.Printf("  %-52s %9s x%.2f   least %9s x%.2f   clock %9s x%.2f\n", p.name, short(median(busy[p.name])), ratio(median(busy[p.name]), median(busy[bare])),
			short(least(p.name)), ratio(least(p.name), least(bare)), short(median(wall[p.name])), ratio(median(wall[p.name]), median(wall[bare])))
	}
	of := func(i int) float64 { return least(all[i].name) }
	goal("version, times the bare program", ratio(of(1), of(0)), 1.15, false)
	goal("help, times the bare program", ratio(of(2), of(0)), 1.15, false)
	goal("rulebase ready, times the bare program", ratio(of(3), of(0)), 2, false)
	goal("diagnose, times rulebase ready and 1.2 warm diagnoses", of(4)/(of(3)+1.2*least(warmed)), 1, false)
}

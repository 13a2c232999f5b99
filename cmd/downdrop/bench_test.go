package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"downdrop/engine/bench"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// badUnits are kinds of bad units: what is typed otherwise than for a good one, and the step at
// which they must be found.
var badUnits = []struct {
	kind, step string
	typed      map[string]string
}{
	{"wet", "look_outside", map[string]string{"outside": "wet inside"}},
	{"domed capacitor", "look_inside", map[string]string{"board": "domed capacitor"}},
	{"line port leaks", "line_pins", map[string]string{"pair_reads": "310 ohm"}},
	{"supply input shorted", "supply_pins", map[string]string{"supply_ohms_read": "2 ohm"}},
	{"supply input open", "supply_pins", map[string]string{"supply_ohms_read": "OL"}},
	{"converter dead", "first_power", map[string]string{"starts": "draws nothing"}},
	{"light dark", "power_light", map[string]string{"power_lit": "no"}},
	{"capacitors aged", "rails", map[string]string{"ripple_reads": "120 mV"}},
	{"drops out early", "supply_limits", map[string]string{"drops_out_at": "21.8 V"}},
	{"service port silent", "service_port", map[string]string{"handheld_talks": "gives nothing"}},
	{"switch bad", "address", map[string]string{"address_reads_back": "no"}},
	{"module port bad", "slots", map[string]string{"modules_seen": "3"}},
	{"driver weak", "driver", map[string]string{"driver_reads": "0.9 V"}},
	{"clock off", "driver", map[string]string{"bit_reads": "6.9 us"}},
	{"receiver deaf", "receiver", map[string]string{"threshold_reads": "0.8 V"}},
	{"errors now and then", "messages", map[string]string{"errors": "37 of 30000"}},
	{"point dead", "outputs_on", map[string]string{"outputs_come_on": "all pass, exceptions: 7"}},
	{"settings lost", "power_cycle", map[string]string{"kept": "no"}},
	{"starts badly when cold", "cold_starts", map[string]string{"cold_starts_good": "6"}},
	{"fails warm", "heat", map[string]string{"intermittent": "yes", "stands_heat": "no"}},
	{"fails when shaken", "shake", map[string]string{"returned_before": "yes", "stands_shaking": "no"}},
	{"complaint there", "complaint_tried", map[string]string{"complaint_is": "reproduced"}},
}

// typedFor is what somebody types for a unit, entry by entry, and which step each is for.
func typedFor(t *testing.T, procedure string, answers ...map[string]string) (typed, steps []string) {
	t.Helper()
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	p, err := procedureNamed(base, procedure)
	if err != nil {
		t.Fatal(err)
	}
	unit, err := profileNamed(base, "quay_24")
	if err != nil {
		t.Fatal(err)
	}
	all := support.GoodUnit("]C1A0815")
	for _, a := range answers {
		maps.Copy(all, a)
	}
	events := []bench.Event{bench.Append(nil, bench.Event{Kind: bench.Begun}, time.Unix(0, 0))}
	for {
		s, err := bench.Run(p, unit, events)
		if err != nil {
			t.Fatal(err)
		}
		entry, step := "", ""
		if s.Wants.Step >= 0 {
			step = s.Steps[s.Wants.Step].Step.ID
		}
		switch s.Wants.Kind {
		case bench.WantsNothing:
			return typed, steps
		case bench.WantsConfirm:
			entry = "read"
		case bench.WantsTool:
			entry = "no. 7 until 2099-01-01"
		case bench.WantsRelease:
			entry = "out"
		case bench.WantsAnswer:
			entry = all[s.Wants.Ask]
		case bench.WantsReading:
			entry = all[s.Wants.Reading.ID]
		}
		draft, err := s.Enter(entry)
		if err != nil {
			t.Fatalf("%q at %s: %v", entry, step, err)
		}
		events = append(events, bench.Append(events, draft, time.Unix(0, 0)))
		typed, steps = append(typed, entry), append(steps, step)
	}
}

// atBench types a session at a terminal.
func atBench(t *testing.T, typed []string, args ...string) (code int, out, said string) {
	t.Helper()
	env, o, s := testEnvironment()
	env.terminal, env.in, env.shipped = true, strings.NewReader(strings.Join(typed, "\n")+"\n"), rulebase.ShippedCompiled
	env.clock = func() time.Time { return time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC) }
	code = run(context.Background(), env, append([]string{"bench"}, args...))
	return code, o.String(), s.String()
}

// A benchResult is what the JSON of a run says of it.
type benchResult struct {
	Verdict string `json:"verdict"`
	Steps   []struct {
		ID, Outcome string
	} `json:"steps"`
	InPlace []string `json:"in_place"`
	Events  int      `json:"events"`
	Head    string   `json:"head"`
}

func resultOf(t *testing.T, file string) benchResult {
	t.Helper()
	code, out, said := atBench(t, nil, "show", file, "--json")
	var r benchResult
	if err := json.Unmarshal([]byte(out), &r); code != 0 || err != nil {
		t.Fatalf("exit code %d, %v, said %q", code, err, said)
	}
	return r
}

// The acceptance is walked to its end at a terminal, for a good unit and for every kind of bad
// one; each is found at the step where it must be, and what was put in is out at the end.
func TestAcceptanceAtATerminal(t *testing.T) {
	support.Alone(t)
	dir := t.TempDir()
	typed, _ := typedFor(t, "acceptance")
	file := filepath.Join(dir, "good.jsonl")
	code, out, said := atBench(t, typed, "run", "acceptance", "--unit", "quay_24", "--file", file)
	if miss := inOrder(strings.Join(strings.Fields(out), " "), "Step 1 of 39", "Contamination statement", "WARNING", "Noted: A0815.", "Wrist strap", "Eye protection", "0.525 A", "Pass: 16.3 V; wanted: at most 20.4 V.", "Still in place", "0 wrong of 30,000, which shows under 1 in 10,014 at 95 %", "all 24 points pass", "Cold starts", "No longer so", "Verdict: good.", "What this check does not test"); code != 0 || miss != "" || said != "" {
		t.Fatalf("exit code %d, said %q, %q is missing", code, said, miss)
	}
	for line := range strings.Lines(out) {
		if n := len([]rune(strings.TrimSuffix(line, "\n"))); n > 82 && !strings.Contains(line, file) { // the prompt stands before an answer
			t.Errorf("%d columns: %s", n, line)
		}
	}
	if r := resultOf(t, file); r.Verdict != "good" || len(r.InPlace) > 0 {
		t.Errorf("%+v", r)
	}
	for i, bad := range badUnits {
		verdict, says := "bad", "bad."
		if bad.kind == "point dead" { // first of all a module's, which is changed without the unit
			verdict, says = "not_proven", "not proven good, and not shown bad."
		}
		typed, _ := typedFor(t, "acceptance", bad.typed)
		file := filepath.Join(dir, fmt.Sprintf("bad%d.jsonl", i))
		code, out, said := atBench(t, typed, "run", "acceptance", "--unit", "quay_24", "--file", file)
		if code != 0 || said != "" || !strings.Contains(out, "FAIL: ") || !strings.Contains(out, "The diagnosis") || !strings.Contains(out, "Verdict: "+says) {
			t.Errorf("%s: exit code %d, said %q\n%s", bad.kind, code, said, out)
		}
		r := resultOf(t, file)
		at := slices.IndexFunc(r.Steps, func(s struct{ ID, Outcome string }) bool { return s.Outcome == string(bench.Failed) })
		if r.Verdict != verdict || at < 0 || r.Steps[at].ID != bad.step || len(r.InPlace) > 0 {
			t.Errorf("%s: not found at %s: %+v", bad.kind, bad.step, r)
		}
	}
}

// A run goes on by the procedure that it began with, and never over another one.
func TestRunIsKept(t *testing.T) {
	file := filepath.Join(t.TempDir(), "a.jsonl")
	typed, _ := typedFor(t, "short")
	if code, _, said := atBench(t, typed[:5], "run", "short", "--unit", "quay_24", "--file", file); code != 0 || said != "" {
		t.Fatalf("exit code %d, said %q", code, said)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for cut := bytes.IndexByte(text, '\n') + 1; cut < len(text); cut += 97 { // cut off anywhere behind its first line
		short := filepath.Join(t.TempDir(), "cut.jsonl")
		if err := os.WriteFile(short, text[:cut], 0o600); err != nil {
			t.Fatal(err)
		}
		whole := bytes.Count(text[:cut], []byte("\n"))
		code, out, said := atBench(t, typed[whole-1:], "resume", short)
		if code != 0 || said != "" || !strings.Contains(out, "Verdict: not proven good") {
			t.Fatalf("cut at %d: exit code %d, said %q\n%s", cut, code, said, out)
		}
		if r := resultOf(t, short); r.Events != len(typed)+1 {
			t.Errorf("cut at %d: %d events of %d", cut, r.Events, len(typed)+1)
		}
	}
}

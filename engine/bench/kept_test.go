package bench_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"testing"
	"time"

	"downdrop/engine/bench"
	"downdrop/rulebase"
)

var updateKept = flag.Bool("update", false, "write the next folder of testdata/kept")

// What a run at the bench came to is what every later version of the program makes of it. Each folder of
// testdata/kept is a run of one version with every kind of event in it, the procedure and profile it went by, and
// what it came to; it is never touched again. Where a kind of event is new, add an entry to entries and write the
// next folder: go test ./engine/bench -run Kept -update.

const keptProcedure = `procedure: kept
name: What a run can hold
version: 3
source: common_practice
proves: That the unit starts and talks.
passed_is: good
not_tested: [Heat and cold.]
forces:
  bench_line: The bench's line is on the unit
warnings:
  first_power: {level: warning, says: Eye protection on before the supply is switched on.}
steps:
  - step: receive
    name: Receive
    minutes: 2
    proves: papers
    warnings: [isolate_first]
    do: Read the label.
    readings:
      - {reading: serial, ask: Serial number, text: serial}
      - {reading: complaint, ask: "The complaint, in the sender's words", text: complaint}
      - {reading: papers, ask: "Do label and papers agree?", one_of: [agree, differ], passes: [agree]}
  - step: pair
    name: The pair
    minutes: 3
    connect: The meter.
    puts_in: [bench_line]
    readings:
      - {reading: pair, ask: Ohms across the pair, unit: ohm, with: meter, least: 100, most: 200, finding: pair_ohms}
  - step: power
    name: Power
    minutes: 4
    warnings: [first_power]
    set: "{supply_volts} at the terminals."
    readings:
      - {reading: lit, ask: "Is the power light lit?", one_of: [lit, dark], passes: [lit], means: {lit: {power_light: lit}, dark: {power_light: dark}}}
      - {reading: amps, ask: Current, unit: A, with: meter, most: 1.2 * supply_current}
  - step: errors
    name: Messages
    do: As it says.
    minutes: 5
    readings:
      - {reading: wrong, ask: Wrong messages, messages: 30000, error_rate: 0.0001}
  - step: heat
    name: Heat
    do: As it says.
    minutes: 60
    readings:
      - {reading: warm, ask: "Does it run warm?", one_of: ["yes", "no"], passes: ["yes", "no"]}
  - step: work
    name: Points
    do: As it says.
    minutes: 5
    stop_if_fail: true
    readings:
      - {reading: works, ask: Do all points work, points: points}
  - step: put_back
    name: Put back
    do: As it says.
    minutes: 1
    takes_out: [bench_line]
    readings:
      - {reading: back, ask: "Is it as it came?", one_of: ["yes", "no"], passes: ["yes"]}
`

const keptProfile = `profile: quay_24
type: QUAY 24 (invented)
line: {kind: token_pair, rate: 153.6 kbaud, terminator: 150 ohm}
address: {set_by: switches, least: 1, most: 31}
supply: {volts: 24 V, low: 20.4 V, high: 28.8 V, current: 350 mA}
modules: [{slot: 1, kind: input, points: 16, each: 5 mA, current: 40 mA}]
`

// entries are what is typed into a run, one behind the other.
var entries = []string{
	"bench-2", "yes", "read", "A0815", "dark now and then", "another day", "read", "differ", "undo", "agree", "no", "note the label is scratched",
	"no. 7 until 2099-01-01", "148 ohm", "read", "lit", "0.31 A", "0 of 60000", "not done: no oven here", "all pass, exceptions: 5", "no", "out",
}

func TestKeptRuns(t *testing.T) {
	if *updateKept {
		writeKeptRun(t)
	}
	folders, err := filepath.Glob("testdata/kept/*")
	if err != nil || len(folders) == 0 {
		t.Fatal("no run is kept of any version", err)
	}
	said := map[bench.Kind]bool{}
	for n := 1; n <= len(folders); n++ {
		folder := filepath.Join("testdata/kept", strconv.Itoa(n))
		want, err := os.ReadFile(filepath.Join(folder, "came_to.json"))
		if err != nil {
			t.Fatal(err)
		}
		got, events := cameTo(t, folder)
		if !bytes.Equal(got, want) {
			t.Errorf("%s came to\n%s\nand now comes to\n%s", folder, want, got)
		}
		clear(said) // the newest counts
		for _, e := range events {
			said[e.Kind] = true
		}
	}
	for _, kind := range kindsOfEvents(t) {
		if !said[kind] {
			t.Errorf("no event of the newest run in testdata/kept is %q, which the code knows: add it to entries (kept_test.go) and write the next folder with: go test ./engine/bench -run Kept -update", kind)
		}
	}
}

// kindsOfEvents are the constants of type Kind in the source.
func kindsOfEvents(t *testing.T) (kinds []bench.Kind) {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "event.go", nil, parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	ast.Inspect(file, func(n ast.Node) bool {
		if spec, ok := n.(*ast.ValueSpec); ok {
			if of, ok := spec.Type.(*ast.Ident); ok && of.Name == "Kind" {
				kind, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
				if err != nil {
					t.Fatal(err)
				}
				kinds = append(kinds, bench.Kind(kind))
			}
		}
		return true
	})
	if len(kinds) < 9 {
		t.Fatalf("only the kinds %v were found", kinds)
	}
	return kinds
}

// keptRun reads the procedure and the profile that stand in a folder, by its rulebase.
func keptRun(t *testing.T, folder string) (*rulebase.Procedure, *rulebase.Profile) {
	t.Helper()
	read := func(name string) []byte {
		text, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	base, err := rulebase.LoadBundle(read("rulebase.bin"))
	if err != nil {
		t.Fatal(err)
	}
	p, err := base.ReadProcedure("procedure.yaml", read("procedure.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	unit, err := rulebase.ReadProfile("profile.yaml", read("profile.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	return p, unit
}

// cameTo is what the run in a folder comes to, without the sentences that say it.
func cameTo(t *testing.T, folder string) ([]byte, []bench.Event) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(folder, "run.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	var events []bench.Event
	for line := range bytes.Lines(text) {
		var e bench.Event
		if err := json.Unmarshal(line, &e); err != nil {
			t.Fatal(err)
		}
		events = append(events, e)
	}
	if err := bench.Check(events); err != nil {
		t.Fatal(err)
	}
	p, unit := keptRun(t, folder)
	s, err := bench.Run(p, unit, events)
	if err != nil {
		t.Fatal(err)
	}
	type step struct {
		Step, Outcome, Reason string
		Results               []string
	}
	out := struct {
		Verdict, Serial, Complaint, StoppedBy string
		Head                                  string
		Asked                                 map[string]string
		Minutes, MinutesLeft                  float64
		Steps                                 []step
		Findings, Notes, Tools, InPlace       []string
		Wants                                 bench.WantKind
	}{Verdict: string(s.Verdict), Serial: s.Serial, Complaint: s.Complaint, StoppedBy: s.StoppedBy, Head: bench.Head(events), Asked: s.Asked, Minutes: s.Minutes, MinutesLeft: s.MinutesLeft, Wants: s.Wants.Kind}
	for _, st := range s.Steps {
		x := step{Step: st.Step.ID, Outcome: string(st.Outcome), Reason: st.Reason}
		for _, r := range st.Results {
			x.Results = append(x.Results, fmt.Sprintf("%s: %q, %s", r.Reading.ID, r.Text, r.Outcome))
		}
		out.Steps = append(out.Steps, x)
	}
	for _, f := range s.Findings {
		out.Findings = append(out.Findings, fmt.Sprintf("%s: %s, read %q in %s, failed %v", f.Symptom, f.Value.Word, f.Read, f.Step, f.Failed))
	}
	for _, n := range s.Notes {
		out.Notes = append(out.Notes, n.Step+": "+n.Text)
	}
	for _, tool := range s.Tools {
		out.Tools = append(out.Tools, fmt.Sprint(tool))
	}
	for _, in := range s.InPlace {
		out.InPlace = append(out.InPlace, in.Force.ID)
	}
	made, err := json.MarshalIndent(out, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return append(made, '\n'), events
}

// writeKeptRun writes the next folder.
func writeKeptRun(t *testing.T) {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	last, err := filepath.Glob("testdata/kept/*")
	must(err)
	folder := filepath.Join("testdata/kept", strconv.Itoa(len(last)+1))
	must(os.MkdirAll(folder, 0o755))
	keep := func(name string, text []byte) { must(os.WriteFile(filepath.Join(folder, name), text, 0o644)) }
	base, err := rulebase.LoadFolder("../../rulebase/testdata/good")
	must(err)
	bundle, err := base.Bundle()
	must(err)
	keep("rulebase.bin", bundle)
	keep("procedure.yaml", []byte(keptProcedure))
	keep("profile.yaml", []byte(keptProfile))
	p, unit := keptRun(t, folder)
	at := time.Date(2031, 5, 4, 8, 0, 0, 0, time.FixedZone("", 2*3600))
	events := []bench.Event{}
	add := func(e bench.Event) {
		at = at.Add(time.Minute)
		events = append(events, bench.Append(events, e, at))
	}
	add(bench.Event{Kind: bench.Begun, Values: map[string]string{"procedure": p.ID, "procedure_digest": p.Digest, "unit": unit.Name, "unit_digest": unit.Digest}})
	for i, entry := range entries {
		if entry == "another day" {
			at = at.Add(24 * time.Hour)
			add(bench.Event{Kind: bench.Resumed, Values: map[string]string{"by": "bench-1"}})
			continue
		}
		s, err := bench.Run(p, unit, events)
		must(err)
		e, err := s.Enter(entry)
		if err != nil {
			t.Fatalf("entry %d, %q, where it wants %+v: %v", i, entry, s.Wants, err)
		}
		add(e)
	}
	add(bench.Event{Kind: bench.Printed, Values: map[string]string{"form": "html", "issue": "1", "seal": "x", "sha256": "x"}})
	var run bytes.Buffer
	for _, e := range events {
		line, err := json.Marshal(e)
		must(err)
		run.Write(append(line, '\n'))
	}
	keep("run.jsonl", run.Bytes())
	came, again := cameTo(t, folder)
	if !reflect.DeepEqual(events, again) {
		t.Fatal("what was written is read otherwise")
	}
	keep("came_to.json", came)
}

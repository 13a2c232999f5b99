package rulebase_test

import (
	"errors"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/rogpeppe/go-internal/txtar"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

// All that is wrong with a procedure or a unit profile is said at once, each with its place.
func TestBadBenchFiles(t *testing.T) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range archives(t, "testdata/bad_bench/*.txtar", 5) {
		a, err := txtar.ParseFile(file)
		if err != nil {
			t.Fatal(err)
		}
		f := a.Files[0]
		if f.Name == "unit.yaml" {
			_, err = rulebase.ReadProfile(f.Name, f.Data)
		} else {
			_, err = base.ReadProcedure(f.Name, f.Data)
		}
		var problems *rulebase.Problems
		if !errors.As(err, &problems) {
			t.Errorf("%s: %v", file, err)
			continue
		}
		golden(t, file, a, problems.Error()+"\n")
	}
}

func procedure(t *testing.T, id string) *rulebase.Procedure {
	t.Helper()
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	all, err := base.Procedures()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(all, func(p *rulebase.Procedure) bool { return p.ID == id })
	if i < 0 {
		t.Fatalf("no procedure %s", id)
	}
	return all[i]
}

// The acceptance goes in the trade's order, and what can hurt stands at the step where it can.
func TestAcceptanceHasItsStepsAndWarnings(t *testing.T) {
	p := procedure(t, "acceptance")
	order := []string{"contamination_statement", "receive", "look_outside", "compare_complaint", "settings_found", "strap", "bulk_capacitor", "look_inside", "line_pins", "supply_pins", "mains_safe", "first_power", "power_light", "input_current", "rails",
		"supply_limits", "interruption", "service_port", "address", "map", "slots", "messages_stored", "bus_terminated", "driver", "receiver", "test_program", "run_light", "messages", "outputs_on", "outputs_off", "inputs", "power_cycle", "cold_starts", "heat", "shake", "complaint_tried", "put_back"}
	at := -1
	for _, id := range order {
		i := slices.IndexFunc(p.Steps, func(s rulebase.BenchStep) bool { return s.ID == id })
		if i <= at {
			t.Errorf("the step %s does not come behind the one before it", id)
		}
		at = i
	}
	for step, words := range map[string][]string{
		"contamination_statement": {"Do not open"}, "look_inside": {"contact with", "bulged", "wrist strap"}, "strap": {"wrist strap"}, "bulk_capacitor": {"Discharge it", "below 5 V"}, "mains_safe": {"isolating transformer", "Take the wrist strap off", "licensed"},
		"first_power": {"Eye protection", "current limit"}, "cell": {"lithium"}, "rails": {"Take the wrist strap off"}, "test_program": {"Every output may come on"}, "outputs_on": {"Every output may come on", "hot enough to burn"}, "heat": {"burn"}, "rules_here": {"lockout rules and licensed people come before"},
	} {
		i := slices.IndexFunc(p.Steps, func(s rulebase.BenchStep) bool { return s.ID == step })
		var says strings.Builder
		for _, w := range p.Steps[i].Warnings {
			says.WriteString(w.Says + "\n")
		}
		for _, word := range words {
			if !strings.Contains(strings.ToLower(says.String()), strings.ToLower(word)) {
				t.Errorf("%s does not warn: %q\n%s", step, word, says.String())
			}
		}
	}
	for _, s := range p.Steps {
		for _, r := range s.Readings {
			if r.ID == "statement" && !slices.Equal(r.Passes, []string{"clean", "cleaned_and_stated"}) {
				t.Errorf("a statement that says one of %v passes", r.Passes)
			}
		}
	}
	minutes := 0.0
	for _, s := range procedure(t, "short").Steps {
		minutes += s.Minutes
	}
	if minutes < 12 || minutes > 18 {
		t.Errorf("the short check takes %.0f minutes", minutes)
	}
}

// Where a limit depends on the unit it is worked out from the profile: no figure with a unit of the
// two shipped profiles stands in a procedure.
func TestNoFigureIsTypedTwice(t *testing.T) {
	for _, id := range []string{"acceptance", "short"} {
		p := procedure(t, id)
		for _, figure := range []string{"24 V", "20.4", "28.8", "153.6", "9600", "19200", "230 V", "195.5", "253", "0.35", "350 mA"} {
			for i := range p.Steps {
				s := &p.Steps[i]
				texts := []string{s.Connect, s.Set, s.Do, s.Expect}
				for _, g := range s.Readings {
					for _, e := range []*rulebase.Expression{g.Least, g.Most, g.Equal, g.Points, g.Messages, g.ErrorRate} {
						if e != nil {
							texts = append(texts, e.Text)
						}
					}
				}
				for _, text := range texts {
					if strings.Contains(text, figure) {
						t.Errorf("%s, step %s: %q is a figure of a unit: %s", id, s.ID, figure, text)
					}
				}
			}
		}
	}
}

// The kinds of line that a profile can name are those of the sums of the line.
func TestProfilesNameTheKindsOfLine(t *testing.T) {
	var kinds []string
	for _, k := range line.Kinds {
		kinds = append(kinds, k.ID)
	}
	if !slices.Equal(kinds, rulebase.LineKinds) {
		t.Errorf("profiles name %v, the line has %v", rulebase.LineKinds, kinds)
	}
}

func TestProfileFacts(t *testing.T) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	all, err := base.Profiles()
	if err != nil || len(all) < 2 {
		t.Fatalf("%d profiles, %v", len(all), err)
	}
	for _, p := range all {
		if !strings.Contains(p.Type+p.Note, "nvented") {
			t.Errorf("%s does not say that it is invented", p.Name)
		}
	}
	quay := all[slices.IndexFunc(all, func(p *rulebase.Profile) bool { return p.Name == "quay_24" })]
	for fact, want := range map[string]float64{"supply_low": 20.4, "line_rate": 153600, "supply_current": 0.35, "rail_tolerance": 5, "test_messages": 30000, "test_error_rate": 0.0001, "supply_interruption": 10} {
		if got := quay.Facts[fact].Number; !(math.Abs(got-want) <= 1e-12*want) {
			t.Errorf("%s is %v, want %v", fact, got, want)
		}
	}
}

// A site's own procedures and profiles stand beside the shipped ones, or for them where they say so.
func TestBenchFilesInLayers(t *testing.T) {
	short, err := os.ReadFile("drop/bench/short.yaml")
	if err != nil {
		t.Fatal(err)
	}
	own := strings.Replace(string(short), "version: 1\n", "version: 7\nreplaces: true\n", 1)
	load := func(files map[string]string) *rulebase.Base {
		t.Helper()
		folder := fstest.MapFS{"own.yaml": {Data: []byte("rulebase: {name: own, version: 1, extends: drop}\n")}}
		for name, text := range files {
			folder[name] = &fstest.MapFile{Data: []byte(text)}
		}
		base, err := rulebase.Load(rulebase.Layer{Name: "own", FS: folder})
		if err != nil {
			t.Fatal(err)
		}
		return base
	}
	base := load(map[string]string{"bench/short.yaml": own, "bench/mine.yaml": strings.Replace(string(short), "procedure: short", "procedure: mine", 1),
		"bench/units/quay.yaml": "profile: quay_24\ntype: OTHER (invented)\nline: {kind: can, rate: 125 kbaud}\naddress: {set_by: software, most: 127}\nsupply: {volts: 24 V, low: 20.4 V, high: 28.8 V, current: 100 mA}\n"})
	all, err := base.Procedures()
	if err != nil {
		t.Fatal(err)
	}
	var ids []string
	for _, p := range all {
		ids = append(ids, p.ID)
		if p.ID == "short" && p.Version != 7 {
			t.Errorf("the shipped short check stands instead of the site's: version %d", p.Version)
		}
	}
	if !slices.Equal(ids, []string{"acceptance", "mine", "short"}) {
		t.Errorf("procedures %v", ids)
	}
	profiles, err := base.Profiles()
	if err != nil || len(profiles) != 2 || profiles[0].Type != "OTHER (invented)" {
		t.Errorf("profiles %v, %v", profiles, err)
	}
	for name, says := range map[string]string{
		strings.Replace(own, "replaces: true\n", "", 1):                   "say `replaces: true`",
		strings.Replace(own, "procedure: short", "procedure: nothing", 1): "replaces nothing",
	} {
		if _, err := load(map[string]string{"bench/short.yaml": name}).Procedures(); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q is not said: %v", says, err)
		}
	}
	shipped, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	if bundle, err := shipped.Bundle(); err != nil || strings.Contains(string(bundle), "procedure: short") {
		t.Errorf("the digest is of what is believed, and a procedure is no part of that: %v", err)
	}
}

func FuzzProcedure(f *testing.F) {
	text, err := os.ReadFile("drop/bench/short.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	seeds(f, "testdata/bad_bench/*.txtar")
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := base.ReadProcedure("p.yaml", text)
		if err == nil && (p == nil || p.ID == "" || len(p.Steps) == 0) {
			t.Errorf("taken without steps: %v", p)
		}
		_, _ = rulebase.ReadProfile("u.yaml", text)
	})
}

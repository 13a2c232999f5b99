package engine_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
)

// One rulebase with a test and a remedy for every hazard, thing stopped and
// person, under every place, person, warning confirmed or not, alone or not, loss
// of bus known or not: what is offered is what the table of the format says.
func TestPermissionTable(t *testing.T) {
	hazards := []string{"none", "live", "mains", "motion", "stored", "static", "spark", "unknown"}
	stops := []string{"nothing", "drop", "bus"}
	who := []string{"operator", "electrician", "technician", "engineer"}
	var text strings.Builder
	text.WriteString(`
rulebase: {name: permission, outside_per_thousand: 0, complaint: {symptom: works, bad: dead, well: fine}}
givens: {loss: {one_of: [off, hold], filled_by: loss_of_bus}}
warnings: {care: {level: warning, says: Take care.}}
causes: {only: {name: Only, part: unit, per_thousand: 100, source: common_practice, remedy: r_none_nothing_operator}}
symptoms:
  works: {ask: works, values: [fine, dead], shows: [{when: only, dead: 0.9}, {fine: 0.9}]}
  seen: {ask: seen, values: [a, b], shows: [{when: only, a: 0.9}, {b: 0.9}]}
tests:
`)
	add := func(prefix, kind string) {
		for _, h := range hazards {
			for _, s := range stops {
				for _, w := range who {
					fmt.Fprintf(&text, "  %s_%s_%s_%s: {do: it, minutes: 5, hazard: %s, stops: %s, who: %s, warnings: [care]%s}\n", prefix, h, s, w, h, s, w, kind)
				}
			}
		}
	}
	add("t", ", yields: [seen]")
	text.WriteString("remedies:\n")
	add("r", ", ends_as: adjusted")
	b, err := load(text.String())
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(b)
	checked := 0
	for _, at := range []rulebase.Place{"", rulebase.Phone, rulebase.Field, rulebase.Bench} {
		for person := rulebase.Anybody; person <= rulebase.Engineer; person++ {
			for bits := range 8 {
				s := rulebase.Situation{At: at, Who: person, Alone: bits&1 != 0}
				if bits&2 != 0 {
					s.Confirmed = []string{"care"}
				}
				if bits&4 != 0 {
					s.Givens = []rulebase.GivenValue{{ID: "loss", Value: rulebase.Value{Word: "off"}}}
				}
				checked += checkPermission(t, diagnose(t, p, s, engine.Options{}), s)
			}
		}
	}
	if want := 4 * 5 * 8 * 2 * len(hazards) * len(stops) * len(who); checked != want {
		t.Errorf("%d combinations were checked, want %d", checked, want)
	}
}

func checkPermission(t *testing.T, d *engine.Diagnosis, s rulebase.Situation) int {
	t.Helper()
	got := map[string]string{}
	for _, n := range d.Next {
		got[n.Step.ID] = ""
	}
	for _, n := range d.NotOffered {
		got[n.Step.ID] = string(n.Why)
	}
	for _, id := range sortedKeys(got) {
		parts := strings.Split(id, "_")
		if want := obviously(parts[1], parts[2], parts[3], s); got[id] != want {
			t.Errorf("%s at %q by %q, alone %v, confirmed %v, givens %d: %q, want %q", id, s.At, s.Who, s.Alone, s.Confirmed, len(s.Givens), got[id], want)
		}
	}
	return len(got)
}

// obviously is the table, line by line. The harmless step on offer that could
// still change what to do cannot, here: there is one remedy that takes anything.
func obviously(hazard, stops, who string, s rulebase.Situation) string {
	least, _ := rulebase.WhoOf(who)
	if hazard == "live" || hazard == "unknown" {
		least = max(least, rulebase.Technician)
	}
	grave := slices.Contains([]string{"motion", "mains", "spark", "stored", "unknown"}, hazard)
	switch {
	case s.Who != rulebase.Anybody && s.Who < least:
		return "person"
	case s.At == rulebase.Phone && grave:
		return "phone"
	case s.At == rulebase.Phone && stops == "bus":
		return "phone_stops"
	case s.Alone && slices.Contains([]string{"mains", "motion", "unknown"}, hazard):
		return "alone"
	case stops != "nothing" && len(s.Givens) == 0:
		return "loss_of_bus"
	case grave && len(s.Confirmed) == 0:
		return "unconfirmed"
	}
	return ""
}

const hazardous = `
rulebase: {name: waits, outside_per_thousand: 0, complaint: {symptom: works, bad: dead, well: fine}}
givens: {agreed: {}}
warnings: {care: {level: danger, says: Take care.}}
causes:
  a: {name: A, part: unit, per_thousand: 100, source: common_practice, remedy: mend_a}
  b: {name: B, part: unit, per_thousand: 90, source: common_practice, remedy: mend_b}
symptoms:
  works: {ask: works, values: [fine, dead], shows: [{when: a or b, dead: 0.9}, {fine: 0.9}]}
  which: {ask: which, values: [x, y], shows: [{when: a, x: 0.95}, {y: 0.95}]}
tests:
  look:  {do: look, yields: [which], minutes: 3}
  force: {do: force it, yields: [which], minutes: 1, hazard: motion, warnings: [care], only_if: agreed}
remedies:
  mend_a: {do: mend a, minutes: 5, ends_as: adjusted}
  mend_b: {do: mend b, minutes: 5, ends_as: adjusted}
`

// A hazardous step waits while a harmless one can still change what to do, needs
// its condition to be known to hold, and its warning confirmed; in that order.
func TestHazardWaits(t *testing.T) {
	b, err := load(hazardous)
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(b)
	for _, c := range []struct{ text, why, detail string }{
		{"{}", "only_if", "agreed"},
		{"givens: {agreed: true}", "unconfirmed", "care"},
		{"{givens: {agreed: true}, confirmed: [care]}", "harmless", "look"},
		{"{givens: {agreed: true}, confirmed: [care], findings: [{symptom: which, value: x}]}", "known", ""},
		{"{givens: {agreed: true}, confirmed: [care], findings: [{symptom: which, value: x, sure: 0.9}]}", "harmless", "look"},
		{"{givens: {agreed: false}, confirmed: [care]}", "only_if", "agreed"},
	} {
		s, err := b.ReadCase("case", []byte(c.text))
		if err != nil {
			t.Fatal(err)
		}
		d := diagnose(t, p, s, engine.Options{})
		at := slices.IndexFunc(d.NotOffered, func(w engine.Withheld) bool { return w.Step.ID == "force" })
		if at < 0 || string(d.NotOffered[at].Why) != c.why || d.NotOffered[at].Detail != c.detail {
			t.Errorf("%s: refused %v, want %s %s", c.text, d.NotOffered, c.why, c.detail)
		}
	}
}

// What is not known is asked first; what is known to fail is not offered.
func TestAskFirst(t *testing.T) {
	b, err := load(strings.Replace(hazardous, "hazard: motion, warnings: [care], ", "", 1))
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(b)
	d := diagnose(t, p, rulebase.Situation{}, engine.Options{})
	at := slices.IndexFunc(d.Next, func(n engine.Proposal) bool { return n.Step.ID == "force" })
	if at < 0 || !slices.Equal(d.Next[at].AskFirst, []string{"agreed"}) {
		t.Errorf("next %v", d.Next)
	}
}

package storetest

import (
	"context"
	"fmt"
	"iter"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/rulebase"
)

// Invented lists what the invented cases are made of. The places and people do not
// exist; the symptoms, causes and tests are those of the shipped rulebase.
var (
	inventedWorks    = []string{"Orsk mill", "Halden quarry", "Brévent water works", "Tarn sawmill", "Lower Quell smelter", "Vessary brewery", "Norrland paper", "Saint-Ormes cannery"}
	inventedWhere    = []string{"line 1", "line 2", "pump house", "kiln", "crane hall", "stacker", "dryer", "boiler house"}
	inventedSymptoms = []string{"power_light", "run_light", "traffic_light", "fault_light", "hum", "pair_ohms", "supply_volts", "other_drops"}
	inventedValues   = []string{"dark", "lit", "blinking", "yes", "no", "some", "all"}
	inventedCauses   = []string{"fuse_blown", "no_supply", "terminator_missing", "wrong_address", "unit_dead", "loose_plug", "pair_broken"}
	inventedWords    = []string{"after", "the", "storm", "night", "shift", "says", "it", "went", "dark", "again", "cabinet", "wet", "fuse", "looked", "good", "cold", "start", "crane", "passes", "only", "when", "ringing", "back", "tomorrow"}
)

// A Writer of invented cases seals what a store would have written.
type inventor struct {
	rng   *rand.Rand
	site  string
	head  cases.Head
	at    time.Time
	n     int
	order map[string]int64
}

// Invented gives the events of so many invented cases as one site wrote them, about 20 a case,
// several cases under way at a time. The same seed gives the same events. The site of the
// store that imports them may be the same, if it holds none yet.
func Invented(site string, howMany int, seed uint64) iter.Seq2[cases.Event, error] {
	return func(yield func(cases.Event, error) bool) {
		in := &inventor{rng: rand.New(rand.NewPCG(seed, 7)), site: site, at: time.Date(2031, 3, 1, 6, 0, 0, 0, time.UTC), order: map[string]int64{}}
		var running [][]cases.Draft
		for begun := 0; begun < howMany || len(running) > 0; {
			if begun < howMany && len(running) < 40 {
				begun++
				running = append(running, in.oneCase(begun))
			}
			i := in.rng.IntN(len(running))
			e, err := in.seal(running[i][0])
			if !yield(e, err) || err != nil {
				return
			}
			if running[i] = running[i][1:]; len(running[i]) == 0 {
				delete(in.order, e.Subject.ID)
				running[i] = running[len(running)-1]
				running = running[:len(running)-1]
			}
		}
	}
}

// Exported is the export of a whole store, names and all: two stores that hold the same
// give the same text.
func Exported(t testing.TB, s cases.Store) string {
	t.Helper()
	var b strings.Builder
	if _, err := cases.Export(context.Background(), s, &b, cases.ExportOptions{Names: true}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// InventedDrafts gives the drafts of so many invented cases, a list for each.
func InventedDrafts(howMany int, seed uint64) [][]cases.Draft {
	in := &inventor{rng: rand.New(rand.NewPCG(seed, 7)), at: time.Date(2031, 3, 1, 6, 0, 0, 0, time.UTC)}
	out := make([][]cases.Draft, howMany)
	for i := range out {
		out[i] = in.oneCase(i + 1)
		for j := range out[i] {
			in.at = in.at.Add(time.Minute)
			out[i][j].At = in.at
		}
	}
	return out
}

func (in *inventor) seal(d cases.Draft) (cases.Event, error) {
	in.at = in.at.Add(time.Duration(in.rng.IntN(90)) * time.Second)
	d.At = in.at
	in.order[d.Subject.ID]++
	e, err := cases.Seal(d, in.site, in.head, in.order[d.Subject.ID])
	in.head = cases.Head{Seq: e.Seq, Hash: e.Hash}
	return e, err
}

func pick[T any](in *inventor, list []T) T { return list[in.rng.IntN(len(list))] }

func (in *inventor) sentence(words int) string {
	text := ""
	for range words {
		text += pick(in, inventedWords) + " "
	}
	return text[:len(text)-1]
}

// oneCase makes the drafts of a case: opened, questions and answers, tests, a remedy, mostly closed.
func (in *inventor) oneCase(n int) []cases.Draft {
	about := cases.Subject{Kind: cases.AboutCase, ID: fmt.Sprintf("01f0c%07d-%04x", n, in.rng.IntN(1<<16))}
	var out []cases.Draft
	say := func(kind cases.Kind, body any) {
		in.n++
		out = append(out, cases.Draft{
			ID: fmt.Sprintf("01f0e%09d-%04x", in.n, in.rng.IntN(1<<16)), Subject: about, Kind: kind, Version: 1, Zone: 60,
			By: fmt.Sprintf("p%d", in.rng.IntN(9)), Place: pick(in, []rulebase.Place{rulebase.Phone, rulebase.Field, rulebase.Bench}),
			Program: "0.9.0", Rulebase: "5d2f6d0f3f7ab0a1b6f0e3c4b5a69788796a5b4c3d2e1f000102030405060708", Body: cases.Body(body),
		})
	}
	say(cases.KindOpened, cases.Opening{
		Code: cases.NewCode(in.rng.Uint64()), Location: pick(in, inventedWorks) + ", " + pick(in, inventedWhere), Drop: 1 + in.rng.IntN(32),
		Unit:      cases.Unit{Type: pick(in, []string{"bus unit A", "bus unit B", "compact unit"}), Serial: fmt.Sprintf("%c%07d", 'A'+rune(in.rng.IntN(26)), in.rng.IntN(1e7))},
		Complaint: in.sentence(5 + in.rng.IntN(8)),
	})
	say(cases.KindSituation, cases.Circumstances{At: rulebase.Phone, Drop: 1 + in.rng.IntN(32)})
	for range 6 + in.rng.IntN(6) {
		say(cases.KindFinding, cases.FindingBody{Symptom: pick(in, inventedSymptoms), Value: cases.ValueBody{Word: pick(in, inventedValues)}, At: rulebase.Phone, By: "caller"})
		if in.rng.IntN(3) == 0 {
			say(cases.KindRanking, cases.Ranking{Policy: "rollout", UnitOut: in.rng.Float64(), Causes: []cases.RankedBody{{ID: pick(in, inventedCauses), Probability: in.rng.Float64()}, {ID: pick(in, inventedCauses), Probability: in.rng.Float64()}}})
			say(cases.KindProposed, cases.Proposed{Kind: "test", ID: "measure_supply"})
		}
	}
	say(cases.KindNote, cases.Note{Text: in.sentence(10 + in.rng.IntN(20))})
	say(cases.KindReference, cases.Reference{Kind: "work_order", Text: fmt.Sprintf("W-%06d", in.rng.IntN(1e6))})
	say(cases.KindSetting, cases.Setting{Name: "address", When: "found", Value: fmt.Sprint(in.rng.IntN(32))})
	say(cases.KindDone, cases.DoneBody{ID: "replace_fuse", Drop: rulebase.Well, Proof: in.sentence(4)})
	if in.rng.IntN(20) > 0 {
		say(cases.KindClosed, cases.Closing{Causes: []string{pick(in, inventedCauses)}, How: in.sentence(6), Outcome: pick(in, cases.Outcomes), UnitVerdict: pick(in, []string{cases.UnitGood, cases.UnitBad, ""})})
	}
	return out
}

package report_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/engine/rehearse"
	"downdrop/rulebase"
)

// rehearsed are figures made by hand: the printers are tested on what they are given.
func rehearsed() *report.Rehearsal {
	r := report.NewRehearsal(base(), 7, 300)
	figures := []rehearse.Figures{
		{Place: rulebase.Phone, Cases: 100, Advice: rehearse.Share{Hits: 100, Of: 100}, Right: rehearse.Share{Hits: 93, Of: 100}, Stated: 0.9125, Restored: rehearse.Share{Hits: 8, Of: 100}, CannotTell: rehearse.Share{Of: 100},
			RanOut: rehearse.Share{Of: 100}, NeedlessVisit: rehearse.Share{Hits: 1, Of: 100}, SecondVisit: rehearse.Share{Hits: 5, Of: 100}, CondemnedOfCalls: rehearse.Share{Hits: 2, Of: 100}, CondemnedOfPulled: rehearse.Share{Hits: 2, Of: 11},
			DeclaredGood: rehearse.Share{Of: 12}, FalseCertainty: rehearse.Share{Of: 100}, NeedlessTries: 0.25, Tests: 14.5, Minutes: 36.25,
			Confused: []rehearse.Confusion{{True: "send_unit: exchange_unit", Advised: "send_somebody: replace_fuse", Count: 4, Numbers: []int{2, 31, 77}}, {True: "send_somebody: outside", Advised: "send_unit: exchange_unit", Count: 3, Numbers: []int{5, 6, 8}}}},
		{Place: rulebase.Field, Cases: 100, Advice: rehearse.Share{Hits: 96, Of: 100}, Right: rehearse.Share{Hits: 93, Of: 96}, Stated: 0.96875, Part: rehearse.Share{Hits: 1, Of: 96}, CannotTell: rehearse.Share{Hits: 4, Of: 100},
			CondemnedOfCalls: rehearse.Share{Of: 100}, FalseCertainty: rehearse.Share{Hits: 1, Of: 96}, Tests: 19.1, Minutes: 104},
		{Place: rulebase.Bench, Cases: 100, Advice: rehearse.Share{Hits: 100, Of: 100}, Right: rehearse.Share{Hits: 100, Of: 100}, Stated: 0.97, DeclaredGood: rehearse.Share{Hits: 0, Of: 30}},
	}
	r.Add(rehearse.Own, figures)
	r.Add(rehearse.WrongAnswers, figures[2:])
	return r
}

func TestRehearsalReadsAsWritten(t *testing.T) {
	for name, write := range map[string]func(*bytes.Buffer) error{
		"rehearsal.txt":        func(b *bytes.Buffer) error { return rehearsed().Text(b, 80) },
		"rehearsal_narrow.txt": func(b *bytes.Buffer) error { return rehearsed().Text(b, 46) },
		"rehearsal.json":       func(b *bytes.Buffer) error { return rehearsed().JSON(b) },
		"course.txt":           func(b *bytes.Buffer) error { return report.Course(b, base(), rehearse.Own, course(), 80) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		want := golden(t, name, b.String())
		if strings.HasSuffix(name, ".json") {
			for _, says := range lacks("", document(t, []byte(want)), document(t, b.Bytes())) {
				t.Errorf("%s: %s", name, says)
			}
			continue
		}
		if diff := cmp.Diff(want, b.String()); diff != "" {
			t.Errorf("%s (-golden +got):\n%s", name, diff)
		}
		for line := range strings.Lines(b.String()) {
			if strings.HasSuffix(name, ".txt") && len([]rune(strings.TrimSuffix(line, "\n"))) > 80 {
				t.Errorf("%s is wider than 80 columns: %s", name, line)
			}
		}
		if strings.HasSuffix(name, ".json") && strings.Contains(b.String(), "null") {
			t.Errorf("%s holds a null", name)
		}
	}
}

// course is a case that went wrong.
func course() *rehearse.Course {
	d := full()
	b := d.Base
	fuse := engine.ToDo{Lists: []string{"replace_fuse"}, Remedies: []int{0}, Probability: 0.97}
	d.Advice = engine.Advice{Enough: true, Lead: fuse}
	return &rehearse.Course{
		Place: rulebase.Field, Number: 12, Causes: []int{1, 2}, End: rehearse.Advised, Final: d, Minutes: 34,
		Givens: []rulebase.GivenValue{{ID: "line", Value: rulebase.Value{Word: "token_pair"}}, {ID: "trunk_length", Value: rulebase.Value{IsNumber: true, Number: 240}}},
		Turns: []rehearse.Turn{
			{Step: &b.Tests[2], Answers: []rehearse.Answer{{Symptom: 1, True: 0, Reported: 1}}, Lead: engine.ToDo{Lists: []string{"replace_fuse"}, Probability: 0.6}},
			{Step: &b.Tests[0], Answers: []rehearse.Answer{{Symptom: 2, True: 2, Reported: 2}, {Symptom: 1, True: 0, Reported: 0}}, Lead: engine.ToDo{Lists: []string{"exchange_unit"}, Probability: 0.4}},
			{Step: &b.Remedies[2], Drop: rulebase.StillDown, Lead: fuse},
		},
		Verdict: rehearse.Verdict{True: engine.ToDo{Lists: []string{"exchange_unit", "reseat_plug"}}, Stated: 0.97},
	}
}

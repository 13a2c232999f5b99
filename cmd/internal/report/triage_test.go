package report_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/triage"
	"downdrop/rulebase"
)

func TestTriageGoldens(t *testing.T) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	var text, table, object bytes.Buffer
	lists := []report.Worklist{report.TriageText(&text, 80), report.TriageCSV(&table), report.TriageJSON(&object)}
	open := func() (io.ReadCloser, error) { return os.Open("../../../cases/examples/returns/returns.csv") }
	sum, err := triage.NewDesk(base, 0).Run(t.Context(), open, triage.Options{}, func(r *triage.Row) error {
		return errors.Join(lists[0].Row(r), lists[1].Row(r), lists[2].Row(r))
	}, func(r triage.Reject) error { t.Errorf("rejected: %+v", r); return nil })
	for _, l := range lists {
		err = errors.Join(err, l.End(&sum))
	}
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(text.String()) {
		if utf8.RuneCountInString(strings.TrimSuffix(line, "\n")) > 80 {
			t.Errorf("longer than 80 columns: %s", line)
		}
	}
	if diff := cmp.Diff(golden(t, "triage.txt", text.String()), text.String()); diff != "" {
		t.Errorf("(-golden +got):\n%s", diff)
	}
	// Line ends are CRLF, which a golden does not keep in every checkout.
	if got := strings.ReplaceAll(table.String(), "\r\n", "\n"); golden(t, "triage.csv", got) != got || strings.Count(table.String(), "\r\n") != sum.Rows+1 {
		t.Errorf("the table differs:\n%s", got)
	}
	want := strings.Split(strings.TrimSpace(golden(t, "triage.jsonl", object.String())), "\n")
	got := strings.Split(strings.TrimSpace(object.String()), "\n")
	if len(want) != len(got) {
		t.Fatalf("%d rows, want %d", len(got), len(want))
	}
	for i := range got {
		for _, says := range lacks("", document(t, []byte(want[i])), document(t, []byte(got[i]))) {
			t.Errorf("row %d: %s", i, says)
		}
	}
}

// No text from a list gets into a table as a formula, out of its cell, or to a terminal.
func TestHostileTextInAWorklist(t *testing.T) {
	texts := append(hostile(), "=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "  =1", "|cmd", "\r=1", "a\n=1", `",=1,"`, "＝1")
	for _, text := range texts {
		r := &triage.Row{Line: 2, Serial: text, Place: text, Complaint: text, Call: triage.Open, Ask: []string{text}, Understood: []string{text}, NotHeard: []string{text}, Before: []string{text}}
		var table, said, rejects bytes.Buffer
		l, w, x := report.TriageCSV(&table), report.TriageText(&said, 80), report.NewRejects(&rejects)
		sum := &triage.Summary{}
		if err := errors.Join(l.Row(r), l.End(sum), w.Row(r), w.End(sum), x.Row(triage.Reject{Line: 2, Why: "so", Text: text}), x.End()); err != nil {
			t.Fatal(err)
		}
		for name, out := range map[string]string{"worklist": table.String(), "rejects": rejects.String()} {
			rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
			if err != nil || len(rows) != 2 || len(rows[0]) != len(rows[1]) {
				t.Errorf("%s of %q: %v, %d rows", name, text, err, len(rows))
				continue
			}
			for _, cell := range rows[1] {
				if cell != "" && strings.ContainsAny(cell[:1], "=+-@\t\r|") {
					t.Errorf("%s: %q is a formula", name, cell)
				}
			}
		}
		if strings.ContainsFunc(said.String(), func(r rune) bool { return r < ' ' && r != '\n' || r == '\u202e' }) {
			t.Errorf("%q reaches the terminal", text)
		}
	}
}

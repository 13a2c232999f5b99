package report

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"downdrop/cmd/internal/triage"
)

// TriageSchema names the form of a row of a worklist in JSON lines.
const TriageSchema = "downdrop.triage_row/1"

// A Worklist prints the rows of a triage one by one, as they come.
type Worklist interface {
	Row(r *triage.Row) error
	End(s *triage.Summary) error
}

// TriageText prints a worklist for people.
func TriageText(out io.Writer, width int) Worklist { return &triageText{out: out, width: width} }

type triageText struct {
	out   io.Writer
	width int
	call  triage.Call
}

func (t *triageText) Row(r *triage.Row) error {
	p := newPage(t.width)
	if r.Call != t.call {
		if t.call != "" {
			p.line("")
		}
		t.call = r.Call
		p.say(triageTitles[r.Call])
	}
	p.item("  - ", sayTriageRow(r))
	if r.Call != triage.AskBack {
		if len(r.Understood) == 0 {
			p.item("    ", sayNothingHeard)
		}
		p.item("    ", sayTriageOpinion(r))
	}
	for _, says := range r.Before {
		p.item("    "+leadBefore+": ", says)
	}
	for _, q := range r.Ask {
		p.item("    "+leadAsk+": ", q)
	}
	return p.writeTo(t.out)
}

func (t *triageText) End(s *triage.Summary) error {
	p := newPage(t.width)
	p.line("")
	p.say(sayTriageSum(s))
	return p.writeTo(t.out)
}

// TriageCSV prints a worklist as a table by RFC 4180 that no spreadsheet takes for
// formulas.
func TriageCSV(out io.Writer) Worklist {
	w := csv.NewWriter(out)
	w.UseCRLF = true
	return &triageCSV{w: w}
}

type triageCSV struct {
	w     *csv.Writer
	begun bool
}

var triageHeadings = []string{"line", "serial", "place", "call", "chance_good", "chance_bad_at_least", "likely", "outcome", "bench_minutes", "ask_1", "ask_2", "ask_3", "understood", "not_understood", "complaint", "before"}

func (t *triageCSV) begin() error {
	if t.begun {
		return nil
	}
	t.begun = true
	return t.w.Write(triageHeadings)
}

func (t *triageCSV) Row(r *triage.Row) error {
	if err := t.begin(); err != nil {
		return err
	}
	cells := []string{strconv.Itoa(r.Line), r.Serial, r.Place, string(r.Call)}
	if r.Call == triage.AskBack {
		cells = append(cells, "", "", "", "", "")
	} else {
		cells = append(cells, fmt.Sprintf("%.2f", r.Good), fmt.Sprintf("%.2f", r.Bad), r.LikelySays, r.Outcome, fmt.Sprintf("%.0f", r.BenchMin))
	}
	asks := append(append([]string{}, r.Ask...), "", "", "")
	cells = append(cells, asks[:3]...)
	cells = append(cells, strings.Join(r.Understood, "; "), strings.Join(r.NotHeard, "; "), r.Complaint, strings.Join(r.Before, " "))
	for i := range cells {
		cells[i] = safeCell(cells[i])
	}
	return t.w.Write(cells)
}

func (t *triageCSV) End(*triage.Summary) error {
	if err := t.begin(); err != nil {
		return err
	}
	t.w.Flush()
	return t.w.Error()
}

// TriageJSON prints a worklist as JSON lines.
func TriageJSON(out io.Writer) Worklist {
	e := json.NewEncoder(out)
	e.SetEscapeHTML(false)
	return triageJSON{e}
}

type triageJSON struct{ e *json.Encoder }

type triageRowJSON struct {
	Schema       string   `json:"schema"`
	Line         int      `json:"line"`
	Serial       string   `json:"serial"`
	Place        string   `json:"place"`
	Complaint    string   `json:"complaint"`
	Call         string   `json:"call"`
	Good         float64  `json:"chance_good"`
	Bad          float64  `json:"chance_bad_at_least"`
	Likely       string   `json:"likely"`
	LikelySays   string   `json:"likely_says"`
	Outcome      string   `json:"outcome"`
	BenchMinutes float64  `json:"bench_minutes"`
	Ask          []string `json:"ask"`
	Understood   []string `json:"understood"`
	NotHeard     []string `json:"not_understood"`
	Damage       []string `json:"damage"`
	Before       []string `json:"before"`
}

// places rounds: a time to plan has no more digits than that, and of a chance the last
// ones are the machine's.
func places(x float64, n int) float64 {
	scale := math.Pow10(n)
	return math.Round(finite(x)*scale) / scale
}

func (t triageJSON) Row(r *triage.Row) error {
	row := triageRowJSON{TriageSchema, r.Line, r.Serial, r.Place, r.Complaint, string(r.Call), places(r.Good, 9), places(r.Bad, 9), r.Likely, r.LikelySays, r.Outcome, places(r.BenchMin, 1), []string{}, []string{}, []string{}, []string{}, listed(r.Before)}
	row.Ask = append(row.Ask, r.Ask...)
	row.Understood = append(row.Understood, r.Understood...)
	row.NotHeard = append(row.NotHeard, r.NotHeard...)
	for _, x := range r.Damage {
		row.Damage = append(row.Damage, string(x))
	}
	return t.e.Encode(row)
}

func (t triageJSON) End(*triage.Summary) error { return nil }

// Rejects writes rows that could not be read, with their line and the reason.
type Rejects struct {
	w     *csv.Writer
	begun bool
}

// NewRejects writes into out.
func NewRejects(out io.Writer) *Rejects {
	w := csv.NewWriter(out)
	w.UseCRLF = true
	return &Rejects{w: w}
}

// Row writes one; before the first one the headings.
func (r *Rejects) Row(x triage.Reject) error {
	if err := r.begin(); err != nil {
		return err
	}
	return r.w.Write([]string{strconv.Itoa(x.Line), x.Why, safeCell(x.Text)})
}

func (r *Rejects) begin() error {
	if r.begun {
		return nil
	}
	r.begun = true
	return r.w.Write([]string{"line", "reason", "row"})
}

// End writes what is held back.
func (r *Rejects) End() error {
	if err := r.begin(); err != nil {
		return err
	}
	r.w.Flush()
	return r.w.Error()
}

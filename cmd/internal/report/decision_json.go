package report

import (
	"io"
	"math/big"
	"strings"

	"downdrop/engine/decide"
	"downdrop/engine/ways"
)

// DecisionSchema names the form of a decision in JSON.
const DecisionSchema = "downdrop.decision/1"

type decisionJSON struct {
	Schema    string          `json:"schema"`
	Prices    string          `json:"prices"`
	Note      string          `json:"note"`
	Currency  string          `json:"currency"`
	Bad       string          `json:"bad"`
	BadBefore string          `json:"bad_before_history"`
	Outside   string          `json:"outside"`
	Pulled    bool            `json:"pulled"`
	States    []stateJSON     `json:"states"`
	Tied      int             `json:"tied"`
	Near      int             `json:"near"`
	Ways      []wayJSON       `json:"ways"`
	Withheld  []withheldWay   `json:"withheld"`
	Stretches []stretchJSON   `json:"by_chance"`
	Turns     []turnJSON      `json:"turns"`
	Perfect   string          `json:"evpi"`
	Known     string          `json:"worth_good_or_bad"`
	Tests     []testWorthJSON `json:"tests"`
	First     []string        `json:"first_tests"`
	Planned   string          `json:"planned"`
	Failures  float64         `json:"failures_expected"`
	Short     float64         `json:"chance_without_spare"`
	RepairIs  string          `json:"repair_share"`
	RepairMay string          `json:"repair_share_at_most"`
	Notes     []string        `json:"notes"`
	Serial    int             `json:"serial_returns"`
	Place     int             `json:"place_returns"`
}

type stateJSON struct {
	ID     string `json:"id"`
	Chance string `json:"chance"`
}

type wayJSON struct {
	ID    string            `json:"id"`
	Says  string            `json:"says"`
	Mean  string            `json:"mean"`
	Parts map[string]string `json:"parts"`
	In    map[string]string `json:"in"`
}

type withheldWay struct {
	ID     string `json:"id"`
	Why    string `json:"why"`
	Detail string `json:"detail"`
	Says   string `json:"says"`
}

type stretchJSON struct {
	From string   `json:"from"`
	To   string   `json:"to"`
	Ways []string `json:"ways"`
}

type turnJSON struct {
	Input string `json:"input"`
	Form  string `json:"form"`
	Now   string `json:"now"`
	At    string `json:"at"`
	Way   string `json:"way"`
	Says  string `json:"says"`
}

type testWorthJSON struct {
	Name    string       `json:"name"`
	Minutes string       `json:"minutes"`
	Cost    string       `json:"cost"`
	Worth   string       `json:"evsi"`
	Net     string       `json:"net"`
	Bad     testSaysJSON `json:"called_bad"`
	Good    testSaysJSON `json:"called_good"`
}

type testSaysJSON struct {
	Chance string   `json:"chance"`
	Bad    string   `json:"bad"`
	Ways   []string `json:"ways"`
}

// stateIDs and partIDs are as in the docs of the JSON.
var (
	stateIDs = [...]string{"good", "repairable", "beyond_repair", "intermittent"}
	partIDs  = [...]string{"goods", "fees", "core", "shipping", "visits", "downtime", "again"}
)

// nine digits are more than any chance is known to; the fractions behind them are exact.
func nine(x *big.Rat) string {
	if x == nil {
		return ""
	}
	text := x.FloatString(9)
	if strings.Contains(text, ".") {
		text = strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// JSON writes the same for programs. Money and chances are decimals in texts, so that
// no reader makes floating point of them unasked.
func (d *Decision) JSON(out io.Writer) error {
	p := d.Prices
	doc := &decisionJSON{Schema: DecisionSchema, Prices: p.Name, Note: p.Note, Currency: p.Currency, Bad: nine(d.Bad), BadBefore: nine(d.Case.Bad), Outside: nine(d.Outside), Pulled: d.Case.Pulled,
		States: []stateJSON{}, Tied: d.Tied, Near: d.Near, Ways: []wayJSON{}, Withheld: []withheldWay{}, Stretches: []stretchJSON{}, Turns: []turnJSON{},
		Perfect: p.Money(d.Perfect), Known: p.Money(d.Known), Tests: []testWorthJSON{}, First: []string{}, Planned: p.Money(d.Planned),
		Failures: d.Failures, Short: d.Short, RepairIs: nine(d.RepairIs), RepairMay: nine(d.RepairMay), Notes: d.notes(), Serial: d.Case.SerialReturns, Place: d.Case.LocationReturns}
	for s, x := range d.Prior {
		doc.States = append(doc.States, stateJSON{stateIDs[s], nine(x)})
	}
	for _, w := range d.Ways {
		one := wayJSON{string(w.Kind), wayNames[w.Kind], p.Money(w.Mean), map[string]string{}, map[string]string{}}
		for i, x := range w.Expected {
			if x == nil {
				x = new(big.Rat)
			}
			one.Parts[partIDs[i]] = p.Money(x)
		}
		for s, c := range w.In {
			one.In[stateIDs[s]] = p.Money(c.Total())
		}
		doc.Ways = append(doc.Ways, one)
	}
	for _, w := range d.Withheld {
		doc.Withheld = append(doc.Withheld, withheldWay{string(w.Kind), string(w.Why), w.Detail, sayNotToBeHad(w)})
	}
	for _, s := range d.Stretches {
		doc.Stretches = append(doc.Stretches, stretchJSON{nine(s.From), nine(s.To), kinds(s.Ways)})
	}
	for _, t := range d.Turns {
		doc.Turns = append(doc.Turns, turnJSON{t.Name, string(t.Form), nine(t.Now), nine(t.At), string(t.Way), sayTurnOf(p, t)})
	}
	for _, t := range d.Tests {
		doc.Tests = append(doc.Tests, testWorthJSON{t.Test.Name, nine(t.Test.Minutes), p.Money(t.Cost), p.Money(t.Worth), p.Money(t.Net), d.says(t.Bad), d.says(t.Good)})
	}
	for _, i := range d.First {
		doc.First = append(doc.First, d.Tests[i].Test.Name)
	}
	return writeJSON(out, doc)
}

func (d *Decision) says(r decide.Result) testSaysJSON {
	out := testSaysJSON{Chance: nine(r.Chance), Ways: []string{}}
	if r.Belief == nil {
		return out
	}
	out.Bad = nine(new(big.Rat).Sub(big.NewRat(1, 1), r.Belief[ways.Good]))
	for _, w := range r.Choice.Ways {
		out.Ways = append(out.Ways, string(d.Kind(w)))
	}
	return out
}

func kinds(list []ways.Kind) []string {
	out := []string{}
	for _, k := range list {
		out = append(out, string(k))
	}
	return out
}

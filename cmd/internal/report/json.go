package report

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"

	"downdrop/engine"
	"downdrop/rulebase"
)

// The types of this file are contracts: programs outside read these fields. A
// schema's number changes when a field changes its meaning or goes; fields may be
// added.

type rulebaseJSON struct {
	Name    string `json:"name"`
	Version int    `json:"version"`
	Digest  string `json:"digest"`
}

type diagnosisJSON struct {
	Schema       string            `json:"schema"`
	Rulebase     rulebaseJSON      `json:"rulebase"`
	Policy       string            `json:"policy"`
	Causes       []causeJSON       `json:"causes"`
	Conditions   []conditionJSON   `json:"conditions"`
	None         float64           `json:"none"`
	Outside      float64           `json:"outside"`
	UnitOut      float64           `json:"unit_out"`
	Evidence     float64           `json:"evidence"`
	LeftOut      float64           `json:"left_out"`
	Explanations []explanationJSON `json:"explanations"`
	Next         []proposalJSON    `json:"next"`
	NotOffered   []withheldJSON    `json:"not_offered"`
	Facts        []factJSON        `json:"facts"`
	Tells        []string          `json:"tells"`
	Conflicts    []string          `json:"conflicts"`

	Advice      adviceJSON      `json:"advice"`
	Disposition dispositionJSON `json:"disposition"` // its kind is "" elsewhere than by phone

	Proven       []string `json:"proven"`        // once the drop is well: the causes that were most likely put right
	NotExplained []string `json:"not_explained"` // and the symptoms with an abnormal finding that these do not explain

	OnSite []onSiteJSON `json:"on_site"` // what the site calls things, by id

	Case     string       `json:"case"`
	Possible bool         `json:"possible"`
	Weights  []weightJSON `json:"weights"`
	Weighed  []string     `json:"weighed"` // the two causes that the weights are about; a factor above 1 speaks for the first
	Work     workJSON     `json:"work"`
}

type onSiteJSON struct {
	ID     string            `json:"id"`
	Called string            `json:"called"`
	Where  string            `json:"where"`
	Values map[string]string `json:"values"`
}

type causeJSON struct {
	ID          string  `json:"id"`
	Name        string  `json:"name"`
	Part        string  `json:"part"`
	Probability float64 `json:"probability"`
	Now         float64 `json:"now"`
	Remedy      string  `json:"remedy"`
}

type conditionJSON struct {
	ID          string  `json:"id"`
	Says        string  `json:"says"`
	Probability float64 `json:"probability"`
}

type explanationJSON struct {
	Causes      []string `json:"causes"`
	Probability float64  `json:"probability"`
}

type proposalJSON struct {
	Kind            string   `json:"kind"`
	ID              string   `json:"id"`
	Do              string   `json:"do"`
	Minutes         float64  `json:"minutes"`
	Price           float64  `json:"price"`
	GainBits        float64  `json:"gain_bits"`
	SavesMinutes    float64  `json:"saves_minutes,omitzero"` // by phone: in the end of the call
	ExpectedMinutes float64  `json:"expected_minutes"`
	Warnings        []string `json:"warnings"`
	AskFirst        []string `json:"ask_first"`
}

type withheldJSON struct {
	ID       string  `json:"id"`
	Kind     string  `json:"kind"`
	Why      string  `json:"why"`
	GainBits float64 `json:"gain_bits"`
	Detail   string  `json:"detail"`
}

type factJSON struct {
	ID      string   `json:"id"`
	Value   string   `json:"value"`
	Because []string `json:"because"`
	Why     []string `json:"why"`
}

type weightJSON struct {
	Finding string   `json:"finding"`
	Value   string   `json:"value"`
	Rule    string   `json:"rule"`
	Factor  *float64 `json:"factor"` // null: not a finite number
}

type workJSON struct {
	Visits     int `json:"visits"`
	Hypotheses int `json:"hypotheses"`
	Nodes      int `json:"nodes"`
}

type adviceJSON struct {
	Enough     bool           `json:"enough"`
	CannotTell bool           `json:"cannot_tell"`
	Lead       toDoJSON       `json:"lead"`
	Others     []toDoJSON     `json:"others"`
	Needs      []withheldJSON `json:"needs"` // what would tell them apart with another place, person or tool

	Wrong         float64  `json:"wrong"`           // chance that the lead is not just what there is to do
	InVainMinutes float64  `json:"in_vain_minutes"` // what that costs then, on the mean
	Further       string   `json:"further"`         // the test on offer that tells most
	Sure          []string `json:"sure"`            // remedies that are to be done whatever else is
}

type toDoJSON struct {
	Remedies    []string `json:"remedies"`
	Causes      []string `json:"causes"` // those with no remedy left
	Elsewhere   bool     `json:"elsewhere"`
	Outside     bool     `json:"outside"`
	Probability float64  `json:"probability"`
}

type dispositionJSON struct {
	Kind        string             `json:"kind"`
	Enough      bool               `json:"enough"`
	Who         string             `json:"who"`
	Remedies    []string           `json:"remedies"`
	Tools       []string           `json:"tools"`
	Probability float64            `json:"probability"`
	Minutes     float64            `json:"minutes"`
	Chances     map[string]float64 `json:"chances"`

	Wrong         float64 `json:"wrong"`           // chance that another end of the call is right
	InVainMinutes float64 `json:"in_vain_minutes"` // what that costs then, on the mean
	ToKnowMinutes float64 `json:"to_know_minutes"` // what it would save to know for sure what there is to do
}

// DiagnosisSchema names the form of a diagnosis in JSON.
const DiagnosisSchema = "downdrop.diagnosis/1"

// JSON writes a diagnosis for programs, with every digit.
func JSON(w io.Writer, d *engine.Diagnosis) error {
	return writeJSON(w, diagnosisDocument(d))
}

func writeJSON(w io.Writer, document any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(document); err != nil {
		return fmt.Errorf("write the answer: %w", err)
	}
	return nil
}

func diagnosisDocument(d *engine.Diagnosis) *diagnosisJSON {
	out := &diagnosisJSON{
		Schema:       DiagnosisSchema,
		Rulebase:     rulebaseJSON{d.Base.Name, d.Base.Version, d.Base.Digest},
		Policy:       d.Policy,
		Causes:       []causeJSON{},
		Conditions:   []conditionJSON{},
		Explanations: []explanationJSON{},
		Next:         []proposalJSON{},
		NotOffered:   []withheldJSON{},
		Facts:        []factJSON{},
		Tells:        []string{},
		Conflicts:    []string{},
		Advice:       adviceJSON{Lead: toDoJSON{Remedies: []string{}, Causes: []string{}}, Others: []toDoJSON{}, Needs: []withheldJSON{}, Sure: []string{}},
		Proven:       []string{},
		NotExplained: []string{},
		Disposition:  dispositionJSON{Remedies: []string{}, Tools: []string{}, Chances: map[string]float64{}},
		OnSite:       []onSiteJSON{},
		Case:         d.Situation.Case,
		Possible:     d.Possible,
		Weights:      []weightJSON{},
		Weighed:      []string{},
		Work:         workJSON{d.Work.Visits, d.Work.Hypotheses, d.Work.Nodes},
	}
	for _, c := range d.Conflicts {
		out.Conflicts = append(out.Conflicts, c.Says)
	}
	if d.Possible { // where nothing is possible only the conflicts are told
		out.believe(d)
		out.advise(d)
		out.nameOnSite(d)
	}
	return out
}

func (out *diagnosisJSON) believe(d *engine.Diagnosis) {
	out.None, out.Outside, out.UnitOut, out.Evidence, out.LeftOut = d.None, d.Outside, d.UnitOut, d.Evidence, d.LeftOut
	for _, c := range d.Causes {
		cause := &d.Base.Causes[c.Cause]
		remedy := ""
		if c.Remedy >= 0 {
			remedy = d.Base.Remedies[c.Remedy].ID
		}
		out.Causes = append(out.Causes, causeJSON{cause.ID, cause.Name, cause.Part, c.Probability, c.Now, remedy})
	}
	for _, c := range d.Conditions {
		condition := &d.Base.Conditions[c.Condition]
		out.Conditions = append(out.Conditions, conditionJSON{condition.ID, condition.Says, c.Probability})
	}
	for _, e := range d.Explanations {
		out.Explanations = append(out.Explanations, explanationJSON{causeIDs(d, e), e.Probability})
	}
	if d.Weights != nil {
		out.Weighed = []string{d.Base.Causes[d.Weighed[0]].ID, d.Base.Causes[d.Weighed[1]].ID}
	}
	for _, w := range d.Weights {
		one := weightJSON{Finding: w.Finding, Value: w.Value, Rule: w.Rule}
		if !math.IsInf(w.Factor, 0) && !math.IsNaN(w.Factor) {
			one.Factor = &w.Factor
		}
		out.Weights = append(out.Weights, one)
	}
}

func (out *diagnosisJSON) advise(d *engine.Diagnosis) {
	for _, p := range d.Next {
		out.Next = append(out.Next, proposalJSON{kindOf(p.Step), p.Step.ID, p.Step.Do, p.Minutes, p.Price, p.GainBits, p.Saves, p.ExpectedMinutes, listed(p.Warnings), listed(p.AskFirst)})
	}
	for _, w := range d.NotOffered {
		out.NotOffered = append(out.NotOffered, withheldOf(w))
	}
	out.Advice.Enough, out.Advice.CannotTell, out.Advice.Lead = d.Advice.Enough, d.Advice.CannotTell, toDoOf(d, d.Advice.Lead)
	for _, o := range d.Advice.Others {
		out.Advice.Others = append(out.Advice.Others, toDoOf(d, o))
	}
	for _, w := range d.Advice.Elsewhere {
		out.Advice.Needs = append(out.Advice.Needs, withheldOf(w))
	}
	out.Advice.Wrong, out.Advice.InVainMinutes, out.Advice.Sure = d.Advice.Wrong, d.Advice.InVain, remedyIDs(d, d.Advice.Sure)
	if d.Advice.Further != nil {
		out.Advice.Further = d.Advice.Further.Step.ID
	}
	for _, c := range d.Proven {
		out.Proven = append(out.Proven, d.Base.Causes[c].ID)
	}
	out.NotExplained = append(out.NotExplained, d.NotExplained...)
	out.dispose(d)
	for _, f := range d.Facts {
		out.Facts = append(out.Facts, factJSON{f.ID, f.Value, becauseJSON(f.Because), listed(f.Why)})
	}
	for _, t := range d.Tells {
		out.Tells = append(out.Tells, t.Says)
	}
}

func (out *diagnosisJSON) nameOnSite(d *engine.Diagnosis) {
	for _, o := range d.Base.OnSite {
		values := o.Values
		if values == nil {
			values = map[string]string{}
		}
		out.OnSite = append(out.OnSite, onSiteJSON{o.ID, o.Called, o.Where, values})
	}
}

func withheldOf(w engine.Withheld) withheldJSON {
	return withheldJSON{w.Step.ID, kindOf(w.Step), string(w.Why), w.GainBits, w.Detail}
}

func toDoOf(d *engine.Diagnosis, t engine.ToDo) toDoJSON {
	out := toDoJSON{Remedies: remedyIDs(d, t.Remedies), Causes: []string{}, Elsewhere: t.Elsewhere, Outside: t.Outside, Probability: t.Probability}
	for _, c := range t.Bare {
		out.Causes = append(out.Causes, d.Base.Causes[c].ID)
	}
	return out
}

func remedyIDs(d *engine.Diagnosis, remedies []int) []string {
	ids := []string{}
	for _, r := range remedies {
		ids = append(ids, d.Base.Remedies[r].ID)
	}
	return ids
}

func (out *diagnosisJSON) dispose(d *engine.Diagnosis) {
	x := d.Disposition
	if x == nil {
		return
	}
	out.Disposition = dispositionJSON{string(x.Kind), x.Enough, x.Who.String(), remedyIDs(d, x.Remedies), listed(x.Tools), x.Probability, x.Minutes, map[string]float64{}, x.Wrong, x.InVain, x.ToKnow}
	for kind, p := range x.Chances {
		out.Disposition.Chances[string(kind)] = p
	}
}

// causeIDs are the ids of a set of causes, in order.
func causeIDs(d *engine.Diagnosis, e engine.Explanation) []string {
	ids := []string{}
	for _, c := range e.Causes {
		ids = append(ids, d.Base.Causes[c].ID)
	}
	slices.Sort(ids)
	return ids
}

// becauseJSON keeps to the contract's three kinds of reasons: what the program
// filled in from place, person or sheet was said by whoever gave those.
func becauseJSON(because []string) []string {
	out := listed(slices.Clone(because))
	for i, b := range out {
		if b == "filled" {
			out[i] = "said"
		}
	}
	return out
}

// listed is a list that is never null.
func listed(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}

func kindOf(s *rulebase.Step) string {
	if s.Kind == rulebase.KindRemedy {
		return "remedy"
	}
	return "test"
}

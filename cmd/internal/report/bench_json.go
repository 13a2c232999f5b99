package report

import (
	"io"
	"time"

	"downdrop/engine/bench"
	"downdrop/rulebase"
)

// The schemas of what the bench says to programs.
const (
	BenchListSchema = "downdrop.bench_list/1"
	BenchRunSchema  = "downdrop.bench_run/1"
)

type benchListJSON struct {
	Schema     string               `json:"schema"`
	Procedures []benchProcedureJSON `json:"procedures"`
	Units      []benchUnitJSON      `json:"units"`
}

type benchProcedureJSON struct {
	ID        string   `json:"id"`
	Name      string   `json:"name"`
	Version   int      `json:"version"`
	Digest    string   `json:"digest"`
	Proves    string   `json:"proves"`
	NotTested []string `json:"not_tested"`
	Steps     int      `json:"steps"`
	Minutes   float64  `json:"minutes"`
}

type benchUnitJSON struct {
	Profile string `json:"profile"`
	Type    string `json:"type"`
	Note    string `json:"note"`
	Digest  string `json:"digest"`
}

// BenchListJSON writes procedures and unit profiles for programs.
func BenchListJSON(w io.Writer, procedures []*rulebase.Procedure, profiles []*rulebase.Profile) error {
	doc := benchListJSON{Schema: BenchListSchema, Procedures: []benchProcedureJSON{}, Units: []benchUnitJSON{}}
	for _, p := range procedures {
		doc.Procedures = append(doc.Procedures, procedureJSON(p))
	}
	for _, p := range profiles {
		doc.Units = append(doc.Units, benchUnitJSON{p.Name, p.Type, p.Note, p.Digest})
	}
	return writeJSON(w, doc)
}

func procedureJSON(p *rulebase.Procedure) benchProcedureJSON {
	return benchProcedureJSON{ID: p.ID, Name: p.Name, Version: p.Version, Digest: p.Digest, Proves: p.Proves, NotTested: listed(p.NotTested), Steps: len(p.Steps), Minutes: ProcedureMinutes(p)}
}

// A benchRunJSON is a run at the bench, as far as it has come. A record holds it whole, so its
// fields are what a record is about.
type benchRunJSON struct {
	Schema    string             `json:"schema"`
	Procedure benchProcedureJSON `json:"procedure"`
	Unit      benchUnitJSON      `json:"unit"`
	Serial    string             `json:"serial"`
	Complaint string             `json:"complaint"`
	Rulebase  struct {
		Name    string `json:"name"`
		Version string `json:"version"`
		Digest  string `json:"digest"`
	} `json:"rulebase"`
	Program        string           `json:"program"`
	By             string           `json:"by"`
	AlsoBy         []string         `json:"also_by,omitempty"` // who went on with it
	Intermittent   string           `json:"intermittent"`
	ReturnedBefore string           `json:"returned_before"`
	Began          string           `json:"began"`
	Ended          string           `json:"ended"`
	Steps          []benchStepJSON  `json:"steps"`
	Instruments    []instrumentJSON `json:"instruments"`
	InPlace        []string         `json:"in_place"`
	Notes          []benchNoteJSON  `json:"notes"`
	TakenBack      int              `json:"taken_back"`
	Findings       []benchFoundJSON `json:"findings"`
	Verdict        string           `json:"verdict"` // good, bad, not_proven; "" not at its end
	Basis          []string         `json:"basis"`
	Events         int              `json:"events"`
	Head           string           `json:"head"` // hash of the run's last event
}

type benchStepJSON struct {
	ID       string             `json:"id"`
	Number   int                `json:"number"`
	Name     string             `json:"name"`
	Outcome  string             `json:"outcome"`
	Reason   string             `json:"reason"`
	Readings []benchReadingJSON `json:"readings"`
}

type benchReadingJSON struct {
	ID         string `json:"id"`
	Ask        string `json:"ask"`
	Limits     string `json:"limits"`
	Reads      string `json:"reads"`
	Outcome    string `json:"outcome"`
	Instrument string `json:"instrument"`
	Source     string `json:"source"`
	At         string `json:"at"`
}

type instrumentJSON struct {
	Kind  string `json:"kind"`
	Name  string `json:"name"`
	Until string `json:"until"`
	Late  bool   `json:"late"`
}

type benchNoteJSON struct {
	Step string `json:"step"`
	Text string `json:"text"`
}

type benchFoundJSON struct {
	Symptom string `json:"symptom"`
	Value   string `json:"value"`
	Step    string `json:"step"`
	Failed  bool   `json:"failed"`
}

// BenchRunJSON writes a run for programs.
func BenchRunJSON(w io.Writer, s *bench.State) error { return writeJSON(w, runJSON(s)) }

func runJSON(s *bench.State) *benchRunJSON {
	doc := &benchRunJSON{Schema: BenchRunSchema, Procedure: procedureJSON(s.Procedure), Unit: benchUnitJSON{s.Unit.Name, s.Unit.Type, s.Unit.Note, s.Unit.Digest},
		Serial: s.Serial, Complaint: s.Complaint, Program: s.Begin["program"], By: s.Asked["by"], Intermittent: s.Asked["intermittent"], ReturnedBefore: s.Asked["returned_before"],
		Steps: []benchStepJSON{}, Instruments: []instrumentJSON{}, InPlace: []string{}, Notes: []benchNoteJSON{}, Findings: []benchFoundJSON{},
		Verdict: string(s.Verdict), Basis: listed(s.Basis), Events: len(s.Events), Head: bench.Head(s.Events)}
	for _, by := range s.Hands() {
		if by != doc.By {
			doc.AlsoBy = append(doc.AlsoBy, by)
		}
	}
	doc.Rulebase.Name, doc.Rulebase.Version, doc.Rulebase.Digest = s.Begin["rulebase"], s.Begin["rulebase_version"], s.Begin["rulebase_digest"]
	at := map[int]string{}
	for _, e := range s.Events {
		at[e.Seq] = e.At.Format(time.RFC3339)
		if e.Kind == bench.Undone {
			doc.TakenBack++
		}
		if e.Kind != bench.Printed {
			doc.Ended = at[e.Seq]
		}
	}
	doc.Began = at[1]
	late := map[string]bool{}
	for i := range s.Steps {
		st := &s.Steps[i]
		one := benchStepJSON{ID: st.Step.ID, Number: i + 1, Name: st.Step.Name, Outcome: string(st.Outcome), Reason: st.Reason, Readings: []benchReadingJSON{}}
		for j := range st.Results {
			r := &st.Results[j]
			reading := benchReadingJSON{ID: r.Reading.ID, Ask: r.Reading.Ask, Limits: benchLimits(r.Reading, r.Low, r.High), Reads: benchReads(r), Outcome: string(r.Outcome), Source: r.Reading.Source, At: at[r.Seq]}
			if r.Instrument != nil {
				reading.Instrument = r.Instrument.Name
				late[r.Instrument.Kind+"\x00"+r.Instrument.Name] = late[r.Instrument.Kind+"\x00"+r.Instrument.Name] || r.Instrument.Late
			}
			one.Readings = append(one.Readings, reading)
		}
		doc.Steps = append(doc.Steps, one)
	}
	for _, t := range s.Tools {
		doc.Instruments = append(doc.Instruments, instrumentJSON{t.Kind, t.Name, t.Until, late[t.Kind+"\x00"+t.Name]})
	}
	for _, f := range s.InPlace {
		doc.InPlace = append(doc.InPlace, benchForce(f))
	}
	for _, n := range s.Notes {
		doc.Notes = append(doc.Notes, benchNoteJSON{n.Step, n.Text})
	}
	for _, f := range s.Findings {
		doc.Findings = append(doc.Findings, benchFoundJSON{f.Symptom, f.Value.Word, f.Step, f.Failed})
	}
	return doc
}

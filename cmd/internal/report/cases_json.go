package report

import (
	"io"
	"slices"
	"time"

	"downdrop/cases"
	"downdrop/rulebase"
)

// Schemas of cases.
const (
	CaseSchema     = "downdrop.case/1"
	CaseListSchema = "downdrop.case_list/1"
)

type summaryJSON struct {
	ID         string   `json:"id"`
	Code       string   `json:"code"`
	Location   string   `json:"location"`
	Drop       int      `json:"drop"`
	Type       string   `json:"type"`
	Serial     string   `json:"serial"`
	State      string   `json:"state"`
	WaitingFor string   `json:"waiting_for"`
	Opened     string   `json:"opened"`
	Changed    string   `json:"changed"`
	Complaint  string   `json:"complaint"`
	Causes     []string `json:"causes"`
	Outcome    string   `json:"outcome"`
	Unit       string   `json:"unit"`
	InPlace    int      `json:"in_place"`
}

func summaryOf(s cases.Summary) summaryJSON {
	return summaryJSON{s.ID, s.Code, s.Location, s.Drop, s.Type, s.Serial, string(s.State), s.WaitingFor,
		s.Opened.UTC().Format(time.RFC3339), s.Changed.UTC().Format(time.RFC3339), s.Complaint, listed(s.Causes), s.Outcome, s.UnitVerdict, s.InPlace}
}

func summariesOf(list []cases.Summary) []summaryJSON {
	out := []summaryJSON{}
	for _, s := range list {
		out = append(out, summaryOf(s))
	}
	return out
}

// A caseListJSON is a list of cases.
type caseListJSON struct {
	Schema string        `json:"schema"`
	Cases  []summaryJSON `json:"cases"`
}

// CasesJSON writes a list of cases.
func CasesJSON(w io.Writer, list []cases.Summary) error {
	return writeJSON(w, caseListJSON{CaseListSchema, summariesOf(list)})
}

type putInJSON struct {
	Number   int    `json:"number"`
	Entry    string `json:"entry"`
	What     string `json:"what"`
	Where    string `json:"where"`
	Until    string `json:"until"`
	Accepted bool   `json:"accepted"`
}

type settingJSON struct {
	Name  string `json:"name"`
	Found string `json:"found"` // "": not read
	Left  string `json:"left"`
}

type moneyJSON struct {
	For      string `json:"for"` // "": a sum
	Amount   string `json:"amount"`
	Currency string `json:"currency"`
}

func moneyOf(all []cases.Money) []moneyJSON {
	out := []moneyJSON{}
	for _, m := range all {
		out = append(out, moneyJSON(m))
	}
	return out
}

type fileJSON struct {
	Name   string `json:"name"`
	Media  string `json:"media"`
	Bytes  int    `json:"bytes"`
	SHA256 string `json:"sha256"`
	Here   bool   `json:"here"`
}

type caseEntryJSON struct {
	ID       string `json:"id"`
	Site     string `json:"site"`
	Seq      int64  `json:"seq"`
	Kind     string `json:"kind"`
	At       string `json:"at"`
	By       string `json:"by"`
	Place    string `json:"place"`
	Corrects string `json:"corrects"`
	Hash     string `json:"hash"`
	Body     any    `json:"body"`
}

// A caseJSON is a case with all that is kept of it.
type caseJSON struct {
	Schema       string          `json:"schema"`
	Case         summaryJSON     `json:"case"`
	CaseFile     string          `json:"case_file"`
	InPlace      []putInJSON     `json:"in_place"`
	Settings     []settingJSON   `json:"settings"`
	Files        []fileJSON      `json:"files"`
	Disposition  string          `json:"disposition"`
	Money        []moneyJSON     `json:"money"`
	MoneySums    []moneyJSON     `json:"money_sums"`
	SameUnit     []summaryJSON   `json:"same_unit"`
	OtherType    []summaryJSON   `json:"other_type"`
	LooksLike    []summaryJSON   `json:"looks_like"`
	SameLocation []summaryJSON   `json:"same_location"`
	ForLocation  bool            `json:"for_location"`
	Entries      []caseEntryJSON `json:"entries"`
}

// CaseJSON writes a case: its summary, its case file as diagnose reads it, what
// still stands, its settings, what is remembered, and every entry.
func CaseJSON(w io.Writer, b *rulebase.Base, c *cases.Case, earlier *cases.Earlier) error {
	out := caseJSON{Schema: CaseSchema, Case: summaryOf(c.Summary()), CaseFile: string(b.WriteCase(c.Situation)), InPlace: []putInJSON{}, Settings: []settingJSON{}, Files: []fileJSON{}, Entries: []caseEntryJSON{}}
	standing := map[string]bool{}
	for _, s := range c.Standing() {
		standing[s.Event.ID] = true
	}
	for i, p := range c.PutIn {
		out.InPlace = append(out.InPlace, putInJSON{i + 1, p.Event.ID, p.Body.What, p.Body.Where, p.Body.Until, !standing[p.Event.ID]})
	}
	for _, name := range c.SettingNames() {
		out.Settings = append(out.Settings, settingJSON{name, c.Setting("found", name), c.Setting("left", name)})
	}
	for _, a := range c.Attached() {
		out.Files = append(out.Files, fileJSON{a.Name, a.Media, a.Bytes, a.Digest, !slices.Contains(earlier.NotHere, a)})
	}
	out.SameUnit, out.OtherType = summariesOf(earlier.SameUnit), summariesOf(earlier.OtherType)
	out.LooksLike, out.SameLocation, out.ForLocation = summariesOf(earlier.LooksLike), summariesOf(earlier.SameLocation), earlier.ForLocation
	if c.Disposition != nil {
		out.Disposition = c.Disposition.What
	}
	out.Money, out.MoneySums = moneyOf(c.Money), moneyOf(cases.MoneySums(c.Money))
	for _, e := range c.Events {
		out.Entries = append(out.Entries, entryOf(e))
	}
	return writeJSON(w, out)
}

func entryOf(e cases.Event) caseEntryJSON {
	return caseEntryJSON{e.ID, e.Site, e.Seq, string(e.Kind), e.At.Format(time.RFC3339Nano), e.By, string(e.Place), e.Corrects, e.Hash, e.Body}
}

package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"downdrop/cases"
	"downdrop/cmd/internal/wording"
	"downdrop/engine/bench"
	"downdrop/rulebase"
)

// RecordSchema is that of a bench record's content.
const RecordSchema = "downdrop.record/1"

// A Record is a bench record: what a run came to, with who asked for it and who answers for it.
// Its digest is that of its content, and is printed in its foot; the files it is written
// into carry the content whole, so that they can be held against the digest.
type Record struct {
	Content RecordContent
	Digest  string // hex SHA-256 of the content in canonical form
}

// RecordContent is all that a record says.
type RecordContent struct {
	Schema     string         `json:"schema"`
	Number     string         `json:"number"`
	Issue      int            `json:"issue"`
	Replaces   string         `json:"replaces"` // digest of the issue before
	Why        string         `json:"why"`      // it was issued again
	Issued     string         `json:"issued"`
	Program    string         `json:"program"` // that issued it
	Shop       string         `json:"shop"`
	Customer   string         `json:"customer"`
	Order      string         `json:"order"`
	Received   string         `json:"received"`
	Authorised string         `json:"authorised"`
	Name       string         `json:"name"`             // of whoever was at the bench, where the store has one
	Others     []RecordPerson `json:"others,omitempty"` // the names of those who went on with the run, where the store has them
	Site       string         `json:"site"`
	ChainSeq   int64          `json:"chain_seq"` // the store's chain when it was issued
	ChainHead  string         `json:"chain_head"`
	// KnownAs is the unit as the shop's books have it, TYPE/SERIAL, where that is not what the label and the profile say; "" it is.
	KnownAs string       `json:"known_as,omitempty"`
	From    string       `json:"from,omitempty"` // of a unit whose serial number nobody could read: who sent it, by the store's id
	Run     benchRunJSON `json:"run"`
}

// A RecordPerson is the name of somebody who was at the bench.
type RecordPerson struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// Unit is what the record is about.
func (c *RecordContent) Unit() cases.Unit {
	return cases.Unit{Type: c.Run.Unit.Type, Serial: c.Run.Serial}
}

// Verdict is the verdict of the record's run.
func (c *RecordContent) Verdict() string { return c.Run.Verdict }

// NewRecord makes a record of a run at its end.
func NewRecord(c RecordContent, s *bench.State) (*Record, error) {
	c.Schema, c.Run = RecordSchema, *runJSON(s)
	for _, text := range []*string{&c.Why, &c.Shop, &c.Customer, &c.Order, &c.Authorised, &c.Name, &c.KnownAs, &c.From} {
		*text = strings.TrimSpace(strings.ReplaceAll(strings.ToValidUTF8(*text, "?"), "\x00", "?"))
	}
	return sealed(c)
}

func sealed(c RecordContent) (*Record, error) {
	text, err := json.Marshal(c)
	if err != nil {
		return nil, err
	}
	if text, err = cases.Canonical(text); err != nil {
		return nil, fmt.Errorf("write the record: %w", err)
	}
	sum := sha256.Sum256(text)
	return &Record{c, hex.EncodeToString(sum[:])}, nil
}

// ErrNoRecord says that a file is no bench record, or too damaged to be read as one.
var ErrNoRecord = errors.New("this is no bench record, or too damaged to be read as one")

// ReadRecord reads the content of a record's file, HTML or PDF. What is shown beside the content
// is not looked at; see Shows.
func ReadRecord(file []byte) (*Record, error) {
	var text []byte
	switch {
	case bytes.HasPrefix(file, []byte("%PDF-")):
		coded, ok := between(file, recordPDFBegin, recordPDFEnd)
		if !ok {
			return nil, ErrNoRecord
		}
		var err error
		if text, err = hex.DecodeString(string(coded)); err != nil {
			return nil, ErrNoRecord
		}
	default:
		var ok bool
		if text, ok = between(file, recordHTMLBegin, recordHTMLEnd); !ok {
			return nil, ErrNoRecord
		}
	}
	var c RecordContent
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&c); err != nil || c.Schema != RecordSchema {
		return nil, ErrNoRecord
	}
	return sealed(c)
}

func between(text []byte, begin, end string) ([]byte, bool) {
	_, rest, ok := bytes.Cut(text, []byte(begin))
	if !ok {
		return nil, false
	}
	inside, _, ok := bytes.Cut(rest, []byte(end))
	return inside, ok
}

// Shows says whether a file is, byte for byte, what this program writes for the record.
func (r *Record) Shows(file []byte) (bool, error) {
	var b bytes.Buffer
	write := r.HTML
	if bytes.HasPrefix(file, []byte("%PDF-")) {
		write = r.PDF
	}
	if err := write(&b); err != nil {
		return false, err
	}
	return bytes.Equal(b.Bytes(), file), nil
}

// A recordSheet is a record as it is printed: both printers go over it from top to bottom.
type recordSheet struct {
	Title, Number string
	Reissue       string // a sentence; "" a first issue
	Verdict       string
	Basis         []string
	QR            QRCode
	Facts         []recordFact
	Complaint     string
	Rows          []recordRow
	Instruments   [][]string
	Lists         []recordList
	Statements    []string
	Sign          []string // lines to be signed on
	Foot          []string
	Digest, Chain string
}

type recordFact struct{ Label, Says string }

// A recordRow is a step, or below it a reading.
type recordRow struct {
	Number int // of a step; 0: a reading
	Name   string
	Wanted string
	Reads  string
	With   string
	Came   string
	Fail   bool
}

type recordList struct {
	Head  string
	Items []string
}

// QRText is what the code on a record says: enough to find it and to hold it against a chain.
func (r *Record) QRText() string {
	return strings.ToUpper(fmt.Sprintf("DOWNDROP RECORD %s/%d %s", r.Content.Number, r.Content.Issue, r.Digest))
}

func (r *Record) sheet() (*recordSheet, error) {
	code, err := QR(r.QRText())
	if err != nil {
		return nil, err
	}
	c, run := &r.Content, &r.Content.Run
	s := &recordSheet{Title: sayRecordTitle, Number: fmt.Sprintf(sayRecordNumber, c.Number, c.Issue), QR: code, Complaint: run.Complaint, Basis: run.Basis, Digest: r.Digest}
	s.Verdict = benchVerdicts[rulebase.Verdict(run.Verdict)]
	if c.Issue > 1 {
		s.Reissue = fmt.Sprintf(sayRecordReissue, c.Issue-1, c.Replaces, strings.TrimSuffix(c.Why, "."))
	}
	by := named(c.Name, run.By)
	for _, id := range run.AlsoBy {
		if by != "" {
			by += sayRecordThen
		}
		name := ""
		for _, p := range c.Others {
			if p.ID == id {
				name = p.Name
			}
		}
		by += named(name, id)
	}
	for _, f := range []recordFact{ // in pairs that stand side by side
		{"Shop", c.Shop}, {"Customer", c.Customer},
		{"Unit", run.Unit.Type}, {"Order", c.Order},
		{"Serial number", run.Serial}, {"Received", c.Received},
		{"Tested", from(run.Began, run.Ended)}, {"Issued", dayTime(c.Issued)},
		{"At the bench", by}, {"Program", "downdrop " + run.Program},
		{"Check done", fmt.Sprintf("%s (%s), version %d", run.Procedure.Name, run.Procedure.ID, run.Procedure.Version)}, {"its digest", run.Procedure.Digest},
		{"Unit profile", run.Unit.Profile}, {"its digest", run.Unit.Digest},
		{"Rulebase", fmt.Sprintf("%s, version %s", run.Rulebase.Name, run.Rulebase.Version)}, {"its digest", run.Rulebase.Digest},
		{"Known in the shop as", c.KnownAs}, {"Sent by", c.From},
	} {
		if f.Says == "" && (f.Label == "Known in the shop as" || f.Label == "Sent by") { // asked of a unit without a serial number alone
			continue
		}
		if f.Says == "" {
			f.Says = sayRecordNotSaid
		}
		s.Facts = append(s.Facts, f)
	}
	s.rows(run)
	for _, t := range run.Instruments {
		s.Instruments = append(s.Instruments, []string{t.Kind, t.Name, calibration(t)})
	}
	s.lists(run)
	s.Statements = []string{sayRecordOnly, sayRecordRule, sayRecordSafety}
	s.Sign = []string{fmt.Sprintf(sayRecordSign, "At the bench", by), fmt.Sprintf(sayRecordSign, "Authorised", c.Authorised)}
	s.Chain = fmt.Sprintf(sayRecordChain, c.Site, c.ChainSeq, c.ChainHead)
	if c.ChainSeq == 0 {
		s.Chain = fmt.Sprintf(sayRecordChainNew, c.Site)
	}
	return s, nil
}

// named is a person by name and id, where there is a name.
func named(name, id string) string {
	if name == "" {
		return id
	}
	return name + " (" + id + ")"
}

// dayTime is a moment as a record says it: in UTC, and it says so.
func dayTime(rfc3339 string) string {
	day, rest, ok := strings.Cut(rfc3339, "T")
	if !ok || len(rest) < 5 {
		return rfc3339
	}
	return day + " " + rest[:5] + " UTC"
}

// from is a stretch of time, its day said once where it is one.
func from(began, ended string) string {
	b, e := dayTime(began), dayTime(ended)
	if day, _, ok := strings.Cut(b, " "); ok && strings.HasPrefix(e, day) {
		return strings.TrimSuffix(b, " UTC") + " to" + strings.TrimPrefix(e, day)
	}
	return b + " to " + e
}

func calibration(t instrumentJSON) string {
	switch {
	case t.Until == "":
		return sayRecordUncalibrated
	case t.Late:
		return fmt.Sprintf(sayRecordLate, t.Until)
	}
	return fmt.Sprintf(sayRecordCalibrated, t.Until)
}

func (s *recordSheet) rows(run *benchRunJSON) {
	for _, st := range run.Steps {
		row := recordRow{Number: st.Number, Name: st.Name, Came: benchOutcomes[bench.Outcome(st.Outcome)], Fail: st.Outcome == string(bench.Failed)}
		if st.Reason != "" {
			row.Reads = st.Reason
		}
		s.Rows = append(s.Rows, row)
		for _, g := range st.Readings {
			s.Rows = append(s.Rows, recordRow{Name: strings.TrimRight(g.Ask, ":"), Wanted: g.Limits, Reads: g.Reads, With: g.Instrument, Came: benchOutcomes[bench.Outcome(g.Outcome)], Fail: g.Outcome == string(bench.Failed)})
		}
	}
}

// lists are deviations and what was not tested.
func (s *recordSheet) lists(run *benchRunJSON) {
	var deviations []string
	for _, st := range run.Steps {
		switch bench.Outcome(st.Outcome) {
		case bench.Failed:
			if st.Reason != "" {
				deviations = append(deviations, fmt.Sprintf(sayRecordRestNotDone, st.Number, st.Name, st.Reason))
			}
		case bench.Skipped:
			deviations = append(deviations, fmt.Sprintf(sayRecordSkipped, st.Number, st.Name, st.Reason))
		case bench.NotReached:
			deviations = append(deviations, fmt.Sprintf(sayRecordNotReached, st.Number, st.Name))
		case bench.NotMeant:
			deviations = append(deviations, fmt.Sprintf(sayRecordNotMeant, st.Number, st.Name))
		}
	}
	for _, t := range run.Instruments {
		if t.Until == "" || t.Late {
			deviations = append(deviations, fmt.Sprintf("%s %s: %s.", wording.UpperFirst(t.Kind), t.Name, calibration(t)))
		}
	}
	if run.TakenBack > 0 {
		deviations = append(deviations, fmt.Sprintf(sayRecordTakenBack, run.TakenBack))
	}
	for _, n := range run.Notes {
		deviations = append(deviations, fmt.Sprintf(sayBenchNote, n.Text))
	}
	if len(deviations) == 0 {
		deviations = []string{sayRecordNone}
	}
	s.Lists = append(s.Lists, recordList{sayRecordDeviations, deviations})
	if run.Procedure.Proves != "" {
		s.Lists = append(s.Lists, recordList{sayRecordShows, []string{run.Procedure.Proves}})
	}
	if len(run.Procedure.NotTested) > 0 {
		s.Lists = append(s.Lists, recordList{sayRecordNotTested, run.Procedure.NotTested})
	}
	if run.Verdict == string(bench.Good) {
		s.Lists = append(s.Lists, recordList{sayRecordSite, []string{sayRecordSiteCauses}})
	}
}

// Readings are the readings as a table for spreadsheets, in which no cell is taken for a formula.
func (r *Record) Readings() [][]string {
	rows := [][]string{{"record", "issue", "serial", "step", "reading", "wanted", "read", "came_to", "instrument", "at"}}
	c := &r.Content
	for _, st := range c.Run.Steps {
		for _, g := range st.Readings {
			rows = append(rows, []string{c.Number, fmt.Sprint(c.Issue), c.Run.Serial, st.ID, g.ID, g.Limits, g.Reads, g.Outcome, g.Instrument, g.At})
		}
	}
	for _, row := range rows[1:] {
		for i := range row {
			row[i] = noFormula(printable(row[i]))
		}
	}
	return rows
}

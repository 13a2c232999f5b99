package shop

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"slices"
	"time"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/engine/bench"
)

// Recorded is the last record of a run that was issued of a unit, also where the run was gone on with after that, or
// what is at hand is a copy from before. older says that the record was made of all that this copy holds, and more.
// nil: none was.
func Recorded(ctx context.Context, store cases.Store, c *cases.Card, run []bench.Event) (last *cases.Record, older bool, err error) {
	for i := 0; c != nil && i < len(c.Records); i++ {
		r := &c.Records[i].Body
		if last != nil && r.Issue < last.Issue {
			continue
		}
		if holds(run, r.Head) {
			last, older = r, false
			continue
		}
		kept, err := keptRun(ctx, store, c, r.Head)
		if err != nil {
			return nil, false, err
		}
		if at := slices.IndexFunc(run, func(e bench.Event) bool { return e.Step != "" }); at >= 0 && holds(kept, run[at].Hash) {
			last, older = r, holds(kept, bench.Head(run))
		}
	}
	return last, older, nil
}

// keptRun is the run that ends with the event of this hash as the store has it; nil: it does not.
func keptRun(ctx context.Context, store cases.Store, c *cases.Card, head string) ([]bench.Event, error) {
	for i := range c.Runs {
		if c.Runs[i].Body.Head != head {
			continue
		}
		text, err := store.File(ctx, c.Runs[i].Body.File)
		if errors.Is(err, cases.ErrNotFound) { // a store may have taken in the events alone
			return nil, nil
		} else if err != nil {
			return nil, err
		}
		r := Run{}
		if _, err := r.load(bytes.NewReader(text)); err != nil {
			return nil, nil //nolint:nilerr // another version of the program wrote it: its record counts by its head alone
		}
		return r.Events, nil
	}
	return nil, nil
}

// holds says whether a run ended, or ends, with the event of this hash.
func holds(run []bench.Event, head string) bool {
	return slices.ContainsFunc(run, func(e bench.Event) bool { return e.Hash == head })
}

// KnownAs says of a record what tells its unit from others where its label does not: what the shop calls it by, and,
// where nobody could read its serial number, who sent it.
func KnownAs(c *report.RecordContent, s *bench.State, unit cases.Unit, card *cases.Card) {
	if cases.UnitKey(unit) != cases.UnitKey(cases.Unit{Type: s.Unit.Type, Serial: s.Serial}) {
		kind := unit.Type // as the store's key has it, which is in capitals
		if cases.UnitKey(unit) == cases.UnitKey(cases.Unit{Type: s.Unit.Type, Serial: unit.Serial}) {
			kind = s.Unit.Type
		}
		c.KnownAs = kind + "/" + unit.Serial
	}
	if s.Serial == "" && card != nil && card.Stay() != nil {
		c.From = card.Stay().Receipt.Body.From
	}
}

// CameIn says of a record the day on which its unit came in, where nobody said it: that of the stay in which the run began,
// by the calendar of those at the bench. A unit that was taken in only after that has none.
func CameIn(c *report.RecordContent, run []bench.Event, card *cases.Card) {
	if c.Received != "" || card == nil || len(run) == 0 {
		return
	}
	began := run[0]
	for _, stay := range slices.Backward(card.Stays) {
		if came := stay.Came.Truncate(time.Second); !came.After(began.At) { // as an entry of a run is
			began.At = came
			c.Received = began.Day()
			return
		}
	}
}

// NewRecord makes the record of a run at its end. What is said beside the run is in c: Program,
// Shop, Customer, Order, Received, Authorised; before is the issue that it stands for, with why.
func NewRecord(ctx context.Context, store cases.Store, now time.Time, c report.RecordContent, s *bench.State, before *cases.Record, why string) (*report.Record, error) {
	heads, err := store.Heads(ctx)
	if err != nil {
		return nil, err
	}
	c.Name, c.Others = "", nil
	for _, id := range s.Hands() {
		name, err := store.Name(ctx, id)
		switch {
		case err != nil:
			return nil, err
		case id == s.Asked["by"]:
			c.Name = name
		case name != "":
			c.Others = append(c.Others, report.RecordPerson{ID: id, Name: name})
		}
	}
	site := store.Site()
	c.Issue, c.Issued, c.Site, c.ChainSeq, c.ChainHead = 1, now.UTC().Format(time.RFC3339), site, heads[site].Seq, heads[site].Hash
	if before != nil {
		c.Number, c.Issue, c.Replaces, c.Why = before.Number, before.Issue+1, before.Digest, why
	} else {
		var random [8]byte
		_, _ = rand.Read(random[:]) // never fails
		c.Number = "R-" + cases.NewCode(binary.BigEndian.Uint64(random[:])&(1<<60-1))
	}
	return report.NewRecord(c, s)
}

// A Form is a form that a record is written in.
type Form struct {
	Name string // html, pdf
	Text []byte
}

// Forms writes a record in all of its forms, and says of what the store's chain is to know of it.
func Forms(record *report.Record) ([]Form, cases.Record, error) {
	c := &record.Content
	body := cases.Record{Number: c.Number, Issue: c.Issue, Digest: record.Digest, Replaces: c.Replaces, Why: c.Why, Head: c.Run.Head, Verdict: c.Verdict()}
	var forms []Form
	for _, f := range []struct {
		name  string
		write func(io.Writer) error
	}{{"html", record.HTML}, {"pdf", record.PDF}} {
		var b bytes.Buffer
		if err := f.write(&b); err != nil {
			return nil, body, err
		}
		forms = append(forms, Form{f.name, b.Bytes()})
		body.Files = append(body.Files, cases.RecordFile{Form: f.name, Digest: DigestOf(b.Bytes())})
	}
	return forms, body, nil
}

// KeepRecord keeps the run and the forms in the store, and gives what is to be said of the
// unit c (nil: nothing was yet): with every issue the record, and the run, unless that was said as it is; it stands for
// what was said of it before it was gone on with.
func KeepRecord(ctx context.Context, store cases.Store, c *cases.Card, body cases.Record, s *bench.State, run []byte, forms []Form) ([]cases.Draft, error) {
	texts := [][]byte{run}
	for _, f := range forms {
		texts = append(texts, f.Text)
	}
	for _, f := range texts {
		if _, err := store.PutFile(ctx, f); err != nil {
			return nil, err
		}
	}
	drafts := []cases.Draft{cases.Say(cases.KindRecord, body)}
	said := ""
	for i := 0; c != nil && i < len(c.Runs); i++ {
		switch r := &c.Runs[i]; {
		case r.Body.Head == body.Head:
			return drafts, nil
		case holds(s.Events, r.Body.Head):
			said = r.Event.ID
		}
	}
	ran := cases.BenchRun{File: DigestOf(run), Head: body.Head, Procedure: s.Procedure.ID, ProcedureVersion: s.Procedure.Version, ProcedureDigest: s.Procedure.Digest,
		Profile: s.Unit.Name, ProfileDigest: s.Unit.Digest, Verdict: string(s.Verdict), Failed: []string{}, NotDone: []string{}}
	for i := range s.Steps {
		st := &s.Steps[i]
		if st.Outcome == bench.Failed {
			ran.Failed = append(ran.Failed, st.Step.ID)
		}
		if st.Outcome == bench.Skipped || st.Outcome == bench.NotReached || st.Outcome == bench.Failed && st.Reason != "" {
			ran.NotDone = append(ran.NotDone, st.Step.ID)
		}
	}
	return slices.Insert(drafts, 0, cases.Correct(cases.KindBenchRun, said, ran)), nil
}

// DigestOf is the SHA-256 of a text, in hex.
func DigestOf(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

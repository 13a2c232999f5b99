package shop

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"io"
	"slices"
	"time"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/engine/bench"
)

// Recorded is the last record of a run that was issued of a unit; nil: none was.
func Recorded(c *cases.Card, head string) *cases.Record {
	var last *cases.Record
	for i := 0; c != nil && i < len(c.Records); i++ {
		if r := &c.Records[i].Body; r.Head == head && (last == nil || r.Issue > last.Issue) {
			last = r
		}
	}
	return last
}

// NewRecord makes the record of a run at its end. What is said beside the run is in c: Program,
// Shop, Customer, Order, Received, Authorised; before is the issue that it stands for, with why.
func NewRecord(ctx context.Context, store cases.Store, now time.Time, c report.RecordContent, s *bench.State, before *cases.Record, why string) (*report.Record, error) {
	heads, err := store.Heads(ctx)
	if err != nil {
		return nil, err
	}
	if c.Name, err = store.Name(ctx, s.Asked["by"]); err != nil {
		return nil, err
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
// unit: with the first issue the run, with every one the record.
func KeepRecord(ctx context.Context, store cases.Store, body cases.Record, s *bench.State, run []byte, forms []Form) ([]cases.Draft, error) {
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
	if body.Issue > 1 {
		return drafts, nil
	}
	ran := cases.BenchRun{File: DigestOf(run), Head: body.Head, Procedure: s.Procedure.ID, ProcedureVersion: s.Procedure.Version, ProcedureDigest: s.Procedure.Digest,
		Profile: s.Unit.Name, ProfileDigest: s.Unit.Digest, Verdict: string(s.Verdict), Failed: []string{}, NotDone: []string{}}
	for i := range s.Steps {
		switch st := &s.Steps[i]; st.Outcome {
		case bench.Failed:
			ran.Failed = append(ran.Failed, st.Step.ID)
		case bench.Skipped, bench.NotReached:
			ran.NotDone = append(ran.NotDone, st.Step.ID)
		}
	}
	return slices.Insert(drafts, 0, cases.Say(cases.KindBenchRun, ran)), nil
}

// DigestOf is the SHA-256 of a text, in hex.
func DigestOf(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

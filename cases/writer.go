package cases

import (
	"context"
	"time"

	"downdrop/rulebase"
)

// A Writer fills in what every draft of one person at one program has in common.
type Writer struct {
	Store    Store
	Now      func() time.Time
	NewID    func() string // ids that nobody else makes, such as UUIDs of version 7
	By       string        // the id of a person; "" not said
	Place    rulebase.Place
	Program  string
	Rulebase string // digest
}

// Write appends drafts about a subject, as one. A draft that has an id keeps it, so that
// whoever is not sure whether it arrived can send it again; so does one that has a subject of its own.
func (w *Writer) Write(ctx context.Context, about Subject, drafts ...Draft) ([]Event, error) {
	for i := range drafts {
		d := &drafts[i]
		if d.Subject == (Subject{}) {
			d.Subject = about
		}
		if d.ID == "" {
			d.ID = w.NewID()
		}
		if d.Version == 0 {
			d.Version = 1
		}
		if d.Body == nil {
			d.Body = Body(struct{}{})
		}
		now := w.Now()
		_, east := now.Zone()
		d.At, d.Zone, d.By, d.Place, d.Program, d.Rulebase = now, east/60, w.By, w.Place, w.Program, w.Rulebase
	}
	return w.Store.Append(ctx, drafts...)
}

// Say is a draft of a kind with its body.
func Say(kind Kind, body any) Draft { return Draft{Kind: kind, Version: 1, Body: Body(body)} }

// Correct is a draft that stands for, or takes back, an earlier event.
func Correct(kind Kind, event string, body any) Draft {
	d := Say(kind, body)
	d.Corrects = event
	return d
}

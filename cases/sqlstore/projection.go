package sqlstore

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"downdrop/cases"
)

// The kinds of terms: what cases are found by.
const (
	termWord      = "w" // of the text that Query.Text looks through
	termSymptom   = "s"
	termCause     = "c"
	termReference = "r"
	termLocation  = "l"
	termSerial    = "n"
	termLooksLike = "k"
	termCode      = "d"
)

// A term is something that a case is found by.
type term struct{ kind, text string }

func compareTerms(a, b term) int {
	if c := strings.Compare(a.kind, b.kind); c != 0 {
		return c
	}
	return strings.Compare(a.text, b.text)
}

// Words longer than maxWord bytes are kept in pieces that overlap by half, so that
// everything up to wholeWord bytes is in one of them. An index keeps no longer ones.
const (
	maxWord   = 256
	wholeWord = maxWord / 2
)

// termsOf are the terms of a case, sorted, each once.
func termsOf(c *cases.Case) []term {
	terms := []term{
		{termLocation, key(cases.Folded(c.Opening.Location))}, {termSerial, key(cases.Folded(c.Opening.Unit.Serial))},
		{termLooksLike, key(cases.SerialLooksLike(c.Opening.Unit.Serial))}, {termCode, key(c.Code)},
	}
	for _, f := range c.Situation.Findings {
		terms = append(terms, term{termSymptom, key(f.Symptom)})
	}
	if c.Closing != nil {
		for _, cause := range c.Closing.Causes {
			terms = append(terms, term{termCause, key(cause)})
		}
	}
	for _, r := range c.References {
		terms = append(terms, term{termReference, key(cases.Folded(r.Text))})
	}
	for word := range strings.FieldsSeq(c.SearchText()) {
		for len(word) > maxWord {
			terms = append(terms, term{termWord, head(word, maxWord)})
			word = word[len(head(word, wholeWord)):]
		}
		terms = append(terms, term{termWord, word})
	}
	slices.SortFunc(terms, compareTerms)
	return slices.Compact(terms)
}

// head is the beginning of a text, of at most n bytes and of whole letters.
func head(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return s[:n]
}

// key is a text as an index holds it: a long one by its hash.
func key(text string) string {
	if len(text) <= maxWord {
		return text
	}
	sum := sha256.Sum256([]byte(text))
	return "sha256:" + hex.EncodeToString(sum[:])
}

// projected is a case as the tables for Find hold it.
type projected struct {
	id     string
	number int64
	events []cases.Event
	terms  []term
}

// knownAtMost is how many cases a store remembers, so that the next event about one of them
// needs no reading.
const knownAtMost = 128

func (s *Store) remember(all []*projected) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, p := range all {
		if len(s.known) >= knownAtMost {
			for id := range s.known { // any one
				delete(s.known, id)
				break
			}
		}
		s.known[p.id] = p
	}
}

const (
	caseNumber    = `SELECT number, events FROM summaries WHERE id = $1`
	insertSummary = `INSERT INTO summaries (` + summaryColumns + `, events)
		VALUES ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11,$12,$13,$14,$15,$16) RETURNING number`
	updateSummary = `UPDATE summaries SET code=$2, location=$3, on_drop=$4, type=$5, serial=$6, state=$7, waiting=$8, opened=$9,
		changed=$10, complaint=$11, causes=$12, outcome=$13, verdict=$14, in_place=$15, events=$16 WHERE id=$1`
	anyTerm     = `SELECT count(*) FROM (SELECT 1 FROM terms WHERE kind = $1 AND term = $2 LIMIT 1) AS any_term`
	insertTerm  = `INSERT INTO terms (kind, term, number) VALUES ($1, $2, $3)`
	lastWords   = `SELECT number, words FROM words ORDER BY number DESC LIMIT 1`
	updateWords = `UPDATE words SET words = $1 WHERE number = $2`
)

// before is the case as it was projected last, before events were added to it.
func (s *Store) before(ctx context.Context, tx writer, id string) (*projected, error) {
	p := &projected{id: id}
	var events int
	err := tx.QueryRowContext(ctx, caseNumber, id).Scan(&p.number, &events)
	if errors.Is(err, sql.ErrNoRows) {
		return p, nil
	} else if err != nil {
		return nil, err
	}
	s.mu.Lock()
	known := s.known[id]
	s.mu.Unlock()
	if known != nil && known.number == p.number && len(known.events) == events { // events are never changed, so as many are the same
		return known, nil
	}
	p.terms, err = readTerms(ctx, tx, p.number)
	return p, err
}

const termsOfNumber = `SELECT kind, term FROM terms WHERE number = $1 ORDER BY kind, term`

func readTerms(ctx context.Context, q querier, number int64) ([]term, error) {
	rows, err := q.QueryContext(ctx, termsOfNumber, number)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []term
	for rows.Next() {
		var t term
		if err := rows.Scan(&t.kind, &t.text); err != nil {
			return nil, err
		}
		out = append(out, t)
	}
	return out, rows.Err()
}

// project writes what Find needs of a case that events were added to; added is nil where they have
// to be read.
func (s *Store) project(ctx context.Context, tx writer, id string, added []cases.Event) (*projected, error) {
	was, err := s.before(ctx, tx, id)
	if err != nil {
		return nil, err
	}
	is := &projected{id: id, number: was.number}
	if added != nil && (was.events != nil || was.number == 0) {
		is.events = append(slices.Clone(was.events), added...)
	} else if is.events, err = about(ctx, tx, cases.Subject{Kind: cases.AboutCase, ID: id}); err != nil {
		return nil, err
	}
	if len(is.events) == 0 { // it is known by an event, and an index that is spoilt does not find it
		return nil, fmt.Errorf("%w: the events of case %s are not found by its id", cases.ErrIntegrity, id)
	}
	c := cases.Fold(is.events)
	is.terms = termsOf(c)
	if is.number, err = writeSummary(ctx, tx, is.number, len(is.events), c); err != nil {
		return nil, err
	}
	return is, writeTerms(ctx, tx, is.number, was.terms, is.terms)
}

const summaryColumns = `id, code, location, on_drop, type, serial, state, waiting, opened, changed, complaint, causes, outcome, verdict, in_place`

func writeSummary(ctx context.Context, tx writer, number int64, events int, c *cases.Case) (int64, error) {
	values := append(summaryValues(c.Summary()), events)
	if number == 0 {
		err := tx.QueryRowContext(ctx, insertSummary, values...).Scan(&number)
		return number, err
	}
	_, err := tx.ExecContext(ctx, updateSummary, values...)
	return number, err
}

func summaryValues(s cases.Summary) []any {
	causes, _ := json.Marshal(s.Causes) // a list of texts cannot fail
	return []any{s.ID, s.Code, s.Location, s.Drop, s.Type, s.Serial, string(s.State), s.WaitingFor, s.Opened.UnixMicro(), s.Changed.UnixMicro(),
		s.Complaint, string(causes), s.Outcome, s.UnitVerdict, s.InPlace}
}

func scanSummary(row interface{ Scan(...any) error }, more ...any) (cases.Summary, error) {
	var (
		s               cases.Summary
		opened, changed int64
		causes          []byte
	)
	err := row.Scan(append([]any{&s.ID, &s.Code, &s.Location, &s.Drop, &s.Type, &s.Serial, &s.State, &s.WaitingFor, &opened, &changed,
		&s.Complaint, &causes, &s.Outcome, &s.UnitVerdict, &s.InPlace}, more...)...)
	if err != nil {
		return s, err
	}
	s.Opened, s.Changed = time.UnixMicro(opened).UTC(), time.UnixMicro(changed).UTC()
	if err := json.Unmarshal(causes, &s.Causes); err != nil {
		return s, fmt.Errorf("%w: the causes in the summary of case %s cannot be read", cases.ErrIntegrity, s.ID)
	}
	return s, nil
}

// writeTerms changes the terms of a case from what they were to what they are.
func writeTerms(ctx context.Context, tx writer, number int64, was, is []term) error {
	var fresh []string
	for _, t := range is {
		if _, there := slices.BinarySearchFunc(was, t, compareTerms); there {
			continue
		}
		if t.kind == termWord {
			var n int
			if err := tx.QueryRowContext(ctx, anyTerm, t.kind, t.text).Scan(&n); err != nil {
				return err
			} else if n == 0 {
				fresh = append(fresh, t.text)
			}
		}
		if _, err := tx.ExecContext(ctx, insertTerm, t.kind, t.text, number); err != nil {
			return err
		}
	}
	for _, t := range was {
		if _, stays := slices.BinarySearchFunc(is, t, compareTerms); stays {
			continue
		}
		if _, err := tx.ExecContext(ctx, `DELETE FROM terms WHERE kind = $1 AND term = $2 AND number = $3`, t.kind, t.text, number); err != nil {
			return err
		}
	}
	return writeWords(ctx, tx, fresh)
}

// wordsPage is how many bytes of words stand in one row: what a page of SQLite
// holds without running over.
const wordsPage = 3500

// writeWords adds words to the list of all. One that was there and fell out of
// use is listed twice then, which does no harm.
func writeWords(ctx context.Context, tx writer, fresh []string) error {
	if len(fresh) == 0 {
		return nil
	}
	var number int64
	var words string
	err := tx.QueryRowContext(ctx, lastWords).Scan(&number, &words)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	for len(fresh) > 0 {
		n := 0
		for ; n < len(fresh) && (n == 0 || len(words)+len(fresh[n]) < wordsPage); n++ {
			words += fresh[n] + "\n"
		}
		fresh = fresh[n:]
		if number > 0 {
			_, err = tx.ExecContext(ctx, updateWords, words, number)
		} else {
			_, err = tx.ExecContext(ctx, `INSERT INTO words (words) VALUES ($1)`, words)
		}
		if err != nil {
			return err
		}
		number, words = 0, ""
	}
	return nil
}

// Rebuild makes the tables that Find looks through anew from the events.
func (s *Store) Rebuild(ctx context.Context) error {
	err := s.inTx(ctx, func(tx writer) error {
		if _, err := s.lock(ctx, tx); err != nil {
			return err
		}
		return s.rebuild(ctx, tx)
	})
	s.forget()
	return s.explain(err)
}

// forget lets go of what is known of cases.
func (s *Store) forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	clear(s.known)
}

func (s *Store) rebuild(ctx context.Context, tx writer) error {
	for _, table := range []string{"summaries", "terms", "words"} {
		if _, err := tx.ExecContext(ctx, `DELETE FROM `+table); err != nil {
			return err
		}
	}
	for last := ""; ; {
		err := tx.QueryRowContext(ctx, `SELECT subject FROM events WHERE subject_kind = $1 AND subject > $2 ORDER BY subject LIMIT 1`, string(cases.AboutCase), last).Scan(&last)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		} else if err != nil {
			return err
		}
		if _, err := s.project(ctx, tx, last, nil); err != nil {
			return err
		}
	}
}

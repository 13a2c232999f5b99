package sqlstore

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"downdrop/cases"
)

// Case is one case by its id, or by its short code.
func (s *Store) Case(ctx context.Context, idOrCode string) (*cases.Case, error) {
	c, err := s.caseOf(ctx, idOrCode)
	return c, s.explain(err)
}

func (s *Store) caseOf(ctx context.Context, idOrCode string) (*cases.Case, error) {
	events, err := s.events(ctx, cases.Subject{Kind: cases.AboutCase, ID: idOrCode})
	if err != nil {
		return nil, err
	} else if len(events) > 0 {
		return cases.Fold(events), nil
	}
	if code, ok := cases.ReadCode(idOrCode); ok {
		ids, err := texts(ctx, s.read, `SELECT s.id FROM terms t JOIN summaries s ON s.number = t.number
			WHERE t.kind = $1 AND t.term = $2 ORDER BY s.id`, termCode, code)
		switch {
		case err != nil:
			return nil, err
		case len(ids) == 1:
			return s.caseOf(ctx, ids[0])
		case len(ids) > 1:
			return nil, cases.TwoCasesError{Code: code, IDs: ids}
		}
	}
	return nil, fmt.Errorf("case %s: %w", idOrCode, cases.ErrNotFound)
}

// A probe is one thing that a case must have: any one of some terms, or, where they
// are too many to name, a word that part is in.
type probe struct {
	kind  string
	terms []string
	part  string
}

// manyTerms is from how many terms on they are not named one by one, and
// manyCases from how many cases on it is quicker to go over them from the last
// changed on than to sort those of a term. From commonCases times as many as are asked
// for on, the last changed are tried before.
const (
	manyTerms   = 2000
	manyCases   = 3000
	commonCases = 5
	everTime    = math.MinInt64 // changed at any time
)

// Find gives summaries of cases.
func (s *Store) Find(ctx context.Context, q cases.Query) ([]cases.Summary, error) {
	found, err := s.find(ctx, &q)
	return found, s.explain(err)
}

func (s *Store) find(ctx context.Context, q *cases.Query) ([]cases.Summary, error) {
	limit := q.Limit
	if limit <= 0 {
		limit = cases.FindLimit
	}
	probes, exact, err := s.probes(ctx, q)
	if err != nil {
		return nil, err
	}
	if slices.ContainsFunc(probes, func(p probe) bool { return p.part == "" && len(p.terms) == 0 }) {
		return nil, nil // a word that stands nowhere
	}
	driver, fewest, err := s.rarest(ctx, probes)
	if err != nil {
		return nil, err
	}
	if exact {
		if driver >= 0 && fewest >= commonCases*limit && q.After == "" {
			if found, err := s.amongNewest(ctx, q, probes, fewest, limit); err != nil || len(found) == limit {
				return found, err
			}
		}
		return s.query(ctx, q, probes, driver, everTime, limit)
	}
	return s.sift(ctx, *q, probes, driver, limit)
}

// amongNewest looks for cases among so many that changed last, and stops at the limit:
// what many cases have is mostly had by some of the last few, and sorting all that have
// it takes longer the more there are. Where the limit is not reached there may be more.
func (s *Store) amongNewest(ctx context.Context, q *cases.Query, probes []probe, among, limit int) ([]cases.Summary, error) {
	since := int64(everTime)
	err := s.read.QueryRowContext(ctx, fmt.Sprintf(`SELECT changed FROM summaries ORDER BY changed DESC, id LIMIT 1 OFFSET %d`, among)).Scan(&since)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return nil, err
	}
	return s.query(ctx, q, probes, -1, since, limit)
}

// sift reads the cases that a query may mean, where terms alone do not tell.
func (s *Store) sift(ctx context.Context, q cases.Query, probes []probe, driver, limit int) ([]cases.Summary, error) {
	var out []cases.Summary
	for len(out) < limit {
		page, err := s.query(ctx, &q, probes, driver, everTime, cases.FindLimit)
		if err != nil || len(page) == 0 {
			return out, err
		}
		for _, summary := range page {
			q.After = summary.ID
			c, err := s.caseOf(ctx, summary.ID)
			if err != nil {
				return nil, err
			}
			if q.Holds(c) && len(out) < limit {
				out = append(out, summary)
			}
		}
	}
	return out, nil
}

// probes turns a query into what cases must have; exact says that nothing more has to be asked.
func (s *Store) probes(ctx context.Context, q *cases.Query) (probes []probe, exact bool, err error) {
	exact = true
	one := func(kind, asked, text string) {
		if asked != "" {
			probes = append(probes, probe{kind: kind, terms: []string{key(text)}})
		}
	}
	one(termLocation, q.Location, cases.Folded(q.Location))
	one(termSerial, q.Serial, cases.Folded(q.Serial))
	one(termLooksLike, q.LooksLike, cases.SerialLooksLike(q.LooksLike))
	one(termSymptom, q.Symptom, q.Symptom)
	one(termCause, q.Cause, q.Cause)
	one(termReference, q.Reference, cases.Folded(q.Reference))
	parts := strings.Fields(cases.Folded(q.Text))
	for i, part := range parts {
		if len(part) > wholeWord {
			parts[i], exact = head(part, wholeWord), false
		}
	}
	words, err := s.wordsWith(ctx, parts)
	return append(probes, words...), exact, err
}

// wordsWith finds the words that parts are in, one probe for each part. It reads all words: a few
// megabytes for a hundred thousand cases.
func (s *Store) wordsWith(ctx context.Context, parts []string) ([]probe, error) {
	if len(parts) == 0 {
		return nil, nil
	}
	rows, err := s.read.QueryContext(ctx, `SELECT words FROM words ORDER BY number`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	probes := make([]probe, len(parts))
	for rows.Next() {
		var page sql.RawBytes
		if err := rows.Scan(&page); err != nil {
			return nil, err
		}
		for i := range parts {
			if p := &probes[i]; p.part == "" {
				p.terms = appendWords(p.terms, page, parts[i])
				if len(p.terms) > manyTerms {
					p.part, p.terms = parts[i], nil
				}
			}
		}
	}
	for i := range probes {
		probes[i].kind = termWord
		slices.Sort(probes[i].terms)
		probes[i].terms = slices.Compact(probes[i].terms)
	}
	return probes, rows.Err()
}

// appendWords finds the lines of a text that a part is in.
func appendWords(words []string, text []byte, part string) []string {
	for {
		i := bytes.Index(text, []byte(part))
		if i < 0 {
			return words
		}
		from := bytes.LastIndexByte(text[:i], '\n') + 1
		to := i + bytes.IndexByte(text[i:], '\n')
		if to < i {
			return words // a page that does not end as pages do: Verify says so
		}
		words = append(words, string(text[from:to]))
		text = text[to+1:]
	}
}

// rarest is the probe with the fewest cases, if those are few, and how many; -1: none.
func (s *Store) rarest(ctx context.Context, probes []probe) (best, fewest int, err error) {
	best, fewest = -1, manyCases+1
	for i, p := range probes {
		if p.part != "" {
			continue
		}
		a := &arguments{}
		n := 0
		err := s.read.QueryRowContext(ctx, fmt.Sprintf(`SELECT count(*) FROM (SELECT 1 FROM terms WHERE %s LIMIT %d) AS some_terms`, p.holds("", a), manyCases+1), a.values...).Scan(&n)
		if err != nil {
			return -1, 0, err
		}
		if n < fewest {
			best, fewest = i, n
		}
	}
	return best, fewest, nil
}

// arguments are the values of a statement's $1, $2 ...
type arguments struct{ values []any }

func (a *arguments) add(v any) string {
	a.values = append(a.values, v)
	return fmt.Sprintf("$%d", len(a.values))
}

// holds is the condition on a row of terms.
func (p *probe) holds(table string, a *arguments) string {
	if len(p.terms) == 1 {
		return fmt.Sprintf("%skind = %s AND %sterm = %s", table, a.add(p.kind), table, a.add(p.terms[0]))
	}
	places := make([]string, len(p.terms))
	for i, t := range p.terms {
		places[i] = a.add(t)
	}
	return fmt.Sprintf("%skind = %s AND %sterm IN (%s)", table, a.add(p.kind), table, strings.Join(places, ","))
}

// query asks for the summaries of cases that changed at a time or since.
func (s *Store) query(ctx context.Context, q *cases.Query, probes []probe, driver int, since int64, limit int) ([]cases.Summary, error) {
	a := &arguments{}
	from, where := "summaries s", []string{"1 = 1"}
	for i, p := range probes {
		switch {
		case i == driver:
			from = fmt.Sprintf("(SELECT DISTINCT number FROM terms WHERE %s) d CROSS JOIN summaries s", p.holds("", a))
			where = append(where, "s.number = d.number")
		case p.part != "":
			where = append(where, fmt.Sprintf("EXISTS (SELECT 1 FROM terms t WHERE t.number = s.number AND t.kind = %s AND %s)",
				a.add(p.kind), strings.Replace(s.dialect.Contains, "$1", a.add(p.part), 1)))
		default:
			where = append(where, fmt.Sprintf("EXISTS (SELECT 1 FROM terms t WHERE t.number = s.number AND %s)", p.holds("t.", a)))
		}
	}
	if since != everTime {
		where = append(where, "s.changed >= "+a.add(since))
	}
	if q.State != "" {
		where = append(where, "s.state = "+a.add(string(q.State)))
	}
	if q.Unsettled {
		where = append(where, "s.state <> "+a.add(string(cases.StateClosed)))
	}
	if !q.From.IsZero() {
		where = append(where, "s.opened >= "+a.add(q.From.UnixMicro()))
	}
	if !q.To.IsZero() {
		where = append(where, "s.opened < "+a.add(q.To.UnixMicro()))
	}
	if q.After != "" {
		var changed int64
		err := s.read.QueryRowContext(ctx, `SELECT changed FROM summaries WHERE id = $1`, q.After).Scan(&changed)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return nil, err
		} else if err == nil {
			c, id := a.add(changed), a.add(q.After)
			where = append(where, fmt.Sprintf("s.changed <= %s AND (s.changed < %s OR s.id > %s)", c, c, id))
		}
	}
	columns := "s." + strings.ReplaceAll(summaryColumns, ", ", ", s.")
	rows, err := s.read.QueryContext(ctx, fmt.Sprintf("SELECT %s FROM %s WHERE %s ORDER BY s.changed DESC, s.id LIMIT %d",
		columns, from, strings.Join(where, " AND "), limit), a.values...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []cases.Summary
	for rows.Next() {
		summary, err := scanSummary(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, summary)
	}
	return out, rows.Err()
}

package sqlstore

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/maphash"
	"maps"
	"reflect"
	"slices"
	"strings"
	"sync"

	"downdrop/cases"
)

// Verify goes over everything: the database's own check, every event against its
// hash and its chain, every case's summary and terms against the fold of its
// events, every file against its digest, every name against its checksum. Others
// may go on writing meanwhile.
func (s *Store) Verify(ctx context.Context) (cases.Verified, error) {
	v := &verifying{store: s, subjects: map[cases.Subject]bool{}}
	v.result.Heads = map[string]cases.Head{}
	errs := make([]error, 3)
	var wg sync.WaitGroup
	for i, part := range [][]func(context.Context) error{{v.storage}, {v.folds}, {v.meta, v.chains, v.strays, v.words, v.files, v.names}} {
		wg.Go(func() { errs[i] = v.run(ctx, part) })
	}
	wg.Wait()
	if err := errors.Join(errs...); err != nil {
		return cases.Verified{}, err
	}
	slices.SortStableFunc(v.result.Damage, func(a, b cases.Damage) int { return strings.Compare(a.Where+"\x00"+a.What, b.Where+"\x00"+b.What) })
	v.result.Damage = slices.CompactFunc(v.result.Damage, func(a, b cases.Damage) bool { return a.Where == b.Where && a.What == b.What })
	return v.result, nil
}

// run goes through steps. An error of reading is damage, and the next step may say more; that the
// store cannot be reached, or the caller has gone, ends it.
func (v *verifying) run(ctx context.Context, steps []func(context.Context) error) error {
	for _, step := range steps {
		err := v.store.explain(step(ctx))
		switch {
		case err == nil:
		case ctx.Err() != nil || errors.Is(err, cases.ErrUnavailable):
			return err
		default:
			v.damage("the database", err.Error())
		}
	}
	return nil
}

const summaryOf = `SELECT ` + summaryColumns + `, number, events FROM summaries WHERE id = $1`

type verifying struct {
	store    *Store
	mu       sync.Mutex // of what follows
	result   cases.Verified
	subjects map[cases.Subject]bool // that damage was reported of
}

func (v *verifying) damage(where, what string, touched ...string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.result.Damage = append(v.result.Damage, cases.Damage{Where: where, What: what, Cases: touched})
}

func (v *verifying) storage(ctx context.Context) error {
	if v.store.dialect.Check == nil {
		return nil
	}
	damage, err := v.store.dialect.Check(ctx, v.store.read)
	for _, d := range damage {
		v.damage(d.Where, d.What, d.Cases...)
	}
	return err
}

func (v *verifying) meta(ctx context.Context) error {
	for _, name := range []string{"schema", "site"} {
		value, err := getMeta(ctx, v.store.read, name)
		if err == nil && name == "site" && value != v.store.site {
			err = fmt.Errorf("the store was opened as site %s and says that it is site %s", v.store.site, value)
		}
		if err != nil {
			v.damage("the table meta", err.Error())
		}
	}
	return nil
}

// chains goes over the links of every site's chain; folds looks at what the events hold.
func (v *verifying) chains(ctx context.Context) error {
	before, err := sites(ctx, v.store.read)
	if err != nil {
		return err
	}
	rows, err := v.store.read.QueryContext(ctx, `SELECT site, seq, prev, hash, subject_kind, subject FROM events ORDER BY site, seq`)
	if err != nil {
		return err
	}
	defer rows.Close()
	heads, counts := map[string]cases.Head{}, map[string]int64{}
	for rows.Next() {
		var l link
		var prev, hash []byte
		if err := rows.Scan(&l.site, &l.Seq, &prev, &hash, &l.subject.Kind, &l.subject.ID); err != nil {
			return err
		}
		l.prev, l.Hash = hex.EncodeToString(prev), hex.EncodeToString(hash)
		v.follows(heads[l.site], &l)
		heads[l.site] = l.Head
		if l.Seq <= before[l.site].Seq {
			counts[l.site]++
		}
		if l.Seq == before[l.site].Seq && l.Hash != before[l.site].Hash {
			v.damage("site "+l.site, fmt.Sprintf("The last event of site %s, %d, is not the one that the store remembers.", l.site, l.Seq), l.cases()...)
		}
		v.result.Events++
	}
	if err := rows.Err(); err != nil {
		return err
	}
	after, err := sites(ctx, v.store.read)
	if err != nil {
		return err
	}
	v.result.Heads = heads
	for site := range heads {
		if _, known := before[site]; !known && after[site].events == 0 {
			v.damage("site "+site, fmt.Sprintf("The store holds events of site %s, but the head of its chain is missing.", site))
		}
	}
	for _, site := range slices.Sorted(maps.Keys(before)) {
		b, n := before[site], counts[site]
		if n < b.events || n > b.events && after[site] == b {
			v.damage("site "+site, fmt.Sprintf("The store remembers %d events of site %s up to event %d, and %d are there.", b.events, site, b.Seq, n))
		}
	}
	return nil
}

// link is an event as far as its chain goes.
type link struct {
	cases.Head
	site, prev string
	subject    cases.Subject
}

func (l *link) cases() []string {
	if l.subject.Kind == cases.AboutCase {
		return []string{l.subject.ID}
	}
	return nil
}

func (v *verifying) follows(before cases.Head, l *link) {
	where := "site " + l.site
	switch {
	case l.Seq == before.Seq+1 && l.prev != before.Hash:
		v.damage(where, fmt.Sprintf("Event %d of site %s does not follow the one before it.", l.Seq, l.site), l.cases()...)
	case l.Seq != before.Seq+1 && l.site == v.store.site:
		v.damage(where, fmt.Sprintf("After event %d of this store's own site %s comes event %d.", before.Seq, l.site, l.Seq), l.cases()...)
	case l.Seq == 1 && l.prev != "":
		v.damage(where, fmt.Sprintf("Event 1 of site %s says that another is before it.", l.site), l.cases()...)
	}
}

// folders are how many goroutines hold cases against their summaries.
const folders = 2

// folds checks every event and holds every case against what Find reads.
func (v *verifying) folds(ctx context.Context) error {
	ready := &prepared{db: v.store.read, statements: map[string]*sql.Stmt{}}
	defer ready.close()
	for _, query := range []string{summaryOf, termsOfNumber} {
		if err := ready.prepare(ctx, query); err != nil {
			return err
		}
	}
	groups := make(chan []cases.Event, 16)
	var wg sync.WaitGroup
	for range folders {
		wg.Go(func() {
			for events := range groups {
				v.subject(ctx, ready, events)
			}
		})
	}
	err := v.group(ctx, groups)
	close(groups)
	wg.Wait()
	if err == nil || ctx.Err() != nil {
		return err
	}
	v.damage("the table events", "Some events cannot be read: "+err.Error())
	return v.oneByOne(ctx)
}

// prepared is a database that has read some queries already, which are asked for every case.
type prepared struct {
	db         *sql.DB
	statements map[string]*sql.Stmt
}

func (p *prepared) prepare(ctx context.Context, query string) error {
	s, err := p.db.PrepareContext(ctx, query)
	if err == nil {
		p.statements[query] = s
	}
	return err
}

func (p *prepared) close() {
	for _, s := range p.statements {
		_ = s.Close() // it was only read from
	}
}

func (p *prepared) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	if s := p.statements[query]; s != nil {
		return s.QueryContext(ctx, args...)
	}
	return p.db.QueryContext(ctx, query, args...)
}

func (p *prepared) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	if s := p.statements[query]; s != nil {
		return s.QueryRowContext(ctx, args...)
	}
	return p.db.QueryRowContext(ctx, query, args...)
}

// group reads all events, subject by subject.
func (v *verifying) group(ctx context.Context, groups chan<- []cases.Event) error {
	rows, err := v.store.read.QueryContext(ctx, `SELECT `+columns+` FROM events ORDER BY subject_kind, subject, ord, site, seq`)
	if err != nil {
		return err
	}
	defer rows.Close()
	var events []cases.Event
	for rows.Next() {
		e, err := scanRow(rows)
		if err != nil {
			return err
		}
		if len(events) > 0 && events[0].Subject != e.Subject {
			groups <- events
			events = nil
		}
		events = append(events, e)
	}
	if len(events) > 0 && rows.Err() == nil {
		groups <- events
	}
	return rows.Err()
}

// oneByOne reads subject by subject, where not all can be read in one go, to say which are whole.
func (v *verifying) oneByOne(ctx context.Context) error {
	ids, err := texts(ctx, v.store.read, subjectsOfKind, string(cases.AboutCase))
	more, errMore := texts(ctx, v.store.read, `SELECT id FROM summaries ORDER BY id`)
	ids = append(ids, more...)
	slices.Sort(ids)
	for _, id := range slices.Compact(ids) {
		subject := cases.Subject{Kind: cases.AboutCase, ID: id}
		if _, err := v.store.events(ctx, subject); err != nil && !v.subjects[subject] {
			v.damage("case "+id, fmt.Sprintf("Case %s cannot be read: %v.", id, err), id)
		}
	}
	return errors.Join(err, errMore)
}

// subject checks the events of one subject and, of a case, what Find reads of it.
func (v *verifying) subject(ctx context.Context, q querier, events []cases.Event) {
	subject := events[0].Subject
	var touched []string
	if subject.Kind == cases.AboutCase {
		touched = []string{subject.ID}
	}
	whole := true
	for i := range events {
		if err := events[i].Check(); err != nil {
			whole = false
			v.damage("site "+events[i].Site, fmt.Sprintf("Event %d of site %s, %s, is not what was written.", events[i].Seq, events[i].Site, events[i].ID), touched...)
		}
	}
	if subject.Kind != cases.AboutCase || !whole {
		v.mu.Lock()
		v.subjects[subject] = !whole
		v.mu.Unlock()
		return
	}
	v.mu.Lock()
	v.result.Cases++
	v.mu.Unlock()
	if differs, err := v.summaryDiffers(ctx, q, events); err == nil && differs == "" {
		return
	}
	// Somebody may have written meanwhile: look again at one moment.
	differs, err := v.atOneMoment(ctx, subject)
	if err != nil {
		differs = "cannot be read: " + err.Error()
	}
	if differs != "" {
		v.damage("the summary of case "+subject.ID, fmt.Sprintf("What Find reads of case %s %s. Its events are whole, and `downdrop store verify --rebuild` makes it anew from them.", subject.ID, differs), subject.ID)
	}
}

func (v *verifying) atOneMoment(ctx context.Context, subject cases.Subject) (differs string, err error) {
	tx, err := v.store.read.BeginTx(ctx, v.store.snapshot())
	if err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, tx.Rollback()) }()
	events, err := about(ctx, tx, subject)
	if err != nil {
		return "", err
	}
	if len(events) == 0 { // they were read in the order of the store a moment ago
		return "", errors.New("its events are in the store, and are not found by its id")
	}
	return v.summaryDiffers(ctx, tx, events)
}

// snapshot makes a transaction that sees one moment.
func (s *Store) snapshot() *sql.TxOptions {
	return &sql.TxOptions{Isolation: s.dialect.Snapshot, ReadOnly: true}
}

// summaryDiffers says how the summary and the terms of a case differ from the fold of its events.
func (v *verifying) summaryDiffers(ctx context.Context, q querier, events []cases.Event) (string, error) {
	c := cases.Fold(events)
	var number int64
	var n int
	is, err := scanSummary(q.QueryRowContext(ctx, summaryOf, c.ID), &number, &n)
	if errors.Is(err, sql.ErrNoRows) {
		return "is missing", nil
	} else if err != nil {
		return "", err
	}
	if n != len(events) || !reflect.DeepEqual(summaryValues(is), summaryValues(c.Summary())) {
		return "is not what its events add up to", nil
	}
	terms, err := readTerms(ctx, q, number)
	if err == nil && !slices.Equal(terms, termsOf(c)) {
		return "lacks words, or has some that are not its own", nil
	}
	return "", err
}

// strays are rows for Find that no case stands behind.
func (v *verifying) strays(ctx context.Context) error {
	ids, err := texts(ctx, v.store.read, `SELECT id FROM summaries s WHERE NOT EXISTS
		(SELECT 1 FROM events e WHERE e.subject_kind = $1 AND e.subject = s.id) ORDER BY id`, string(cases.AboutCase))
	if err != nil {
		return err
	}
	for _, id := range ids {
		v.damage("the summary of case "+id, fmt.Sprintf("Find knows case %s, and no event is about it.", id), id)
	}
	var stray int
	err = v.store.read.QueryRowContext(ctx, `SELECT count(*) FROM (SELECT DISTINCT number FROM terms) t WHERE NOT EXISTS
		(SELECT 1 FROM summaries s WHERE s.number = t.number)`).Scan(&stray)
	if err == nil && stray > 0 {
		v.damage("the table terms", "There are words of cases that are not there; `downdrop store verify --rebuild` makes the table anew.")
	}
	return err
}

// words holds the list of all words against those of the cases. What is missing is
// looked for twice: somebody may have written between the two readings.
func (v *verifying) words(ctx context.Context) error {
	missing, err := v.unlisted(ctx)
	if err == nil && missing > 0 {
		missing, err = v.unlisted(ctx)
	}
	if missing > 0 {
		v.damage("the table words", fmt.Sprintf("%d words of cases are not in the list of words, so that Find misses them; `downdrop store verify --rebuild` makes it anew.", missing))
	}
	return err
}

// unlisted counts the words of cases that the list lacks.
func (v *verifying) unlisted(ctx context.Context) (int, error) {
	seed := maphash.MakeSeed()
	lacking := map[uint64]struct{}{} // hashes: the words themselves may be many
	err := v.each(ctx, `SELECT DISTINCT term FROM terms WHERE kind = '`+termWord+`'`, func(word string) {
		lacking[maphash.String(seed, word)] = struct{}{}
	})
	if err != nil {
		return 0, err
	}
	err = v.each(ctx, `SELECT words FROM words`, func(page string) {
		for word := range strings.Lines(page) {
			delete(lacking, maphash.String(seed, strings.TrimSuffix(word, "\n")))
		}
	})
	return len(lacking), err
}

func (v *verifying) each(ctx context.Context, query string, do func(string)) error {
	rows, err := v.store.read.QueryContext(ctx, query)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return err
		}
		do(text)
	}
	return rows.Err()
}

func (v *verifying) files(ctx context.Context) error {
	digests, err := v.store.Files(ctx)
	for _, digest := range digests {
		var content []byte
		err := v.store.read.QueryRowContext(ctx, `SELECT content FROM files WHERE digest = $1`, digest).Scan(&content)
		if sum := sha256.Sum256(content); err != nil || hex.EncodeToString(sum[:]) != digest {
			v.damage("file "+digest, fmt.Sprintf("File %s is not what was kept.", digest))
			continue
		}
		v.result.Files++
	}
	return err
}

func (v *verifying) names(ctx context.Context) error {
	ids, err := texts(ctx, v.store.read, `SELECT id FROM names ORDER BY id`)
	for _, id := range ids {
		if _, err := v.store.Name(ctx, id); err != nil {
			v.damage("the name of "+id, "A name is not what was written; give it again.")
		}
	}
	return err
}

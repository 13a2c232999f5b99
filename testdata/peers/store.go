package main

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"go.etcd.io/bbolt"
	_ "modernc.org/sqlite"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
)

// store writes events one by one, each to stay whatever happens, beside what the disk
// itself takes to sync as many bytes, and beside a bare table and a bare key-value
// store that keep the same text and check, index and chain nothing.
func store() {
	slog.SetDefault(slog.New(slog.NewTextHandler(io.Discard, nil)))
	sizes := []int{1000, 10000}
	if *large {
		sizes = append(sizes, 100000)
	}
	var gets, finds []float64
	for _, size := range sizes {
		g, f := storeOf(size)
		gets, finds = append(gets, g), append(finds, f)
	}
	for i, size := range sizes[1:] {
		fmt.Printf("  growth from %d to %d cases: a case read x%.2f, newest twenty of a cause x%.2f\n", sizes[i], size, ratio(gets[i+1], gets[i]), ratio(finds[i+1], finds[i]))
	}
}

func storeOf(size int) (get, find float64) {
	ctx := context.Background()
	dir, err := os.MkdirTemp("", "peers")
	must(err)
	defer os.RemoveAll(dir)
	s, err := sqlite.Open(ctx, filepath.Join(dir, "ours.db"), sqlstore.Options{Site: "quarry"})
	must(err)
	defer s.Close()
	begin := time.Now()
	done, err := s.Import(ctx, storetest.Invented("quarry", size, uint64(*seed)))
	must(err)
	fmt.Printf("\nA store of %d invented cases; %d events came in at %.0f a second\n", size, done.Added, float64(done.Added)/time.Since(begin).Seconds())

	bare, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "bare.db")+"?_pragma=journal_mode(wal)&_pragma=synchronous(full)")
	must(err)
	defer bare.Close()
	bare.SetMaxOpenConns(1)
	_, err = bare.Exec("create table events (id text primary key, subject text, body text); create index by_subject on events (subject)")
	must(err)
	keys, err := bbolt.Open(filepath.Join(dir, "keys.db"), 0o600, nil)
	must(err)
	defer keys.Close()
	must(keys.Update(func(tx *bbolt.Tx) error {
		_, err := tx.CreateBucket([]byte("events"))
		return err
	}))
	floor, err := os.Create(filepath.Join(dir, "floor"))
	must(err)
	defer floor.Close()

	const perRound = 15
	drafts := slices.Concat(storetest.InventedDrafts(*rounds*perRound/10+4, uint64(*seed)+1)...)
	mustBe(len(drafts) >= *rounds*perRound, "%d drafts are too few", len(drafts))
	run := strconv.FormatInt(time.Now().UnixNano(), 36)
	texts := make([][]byte, len(drafts))
	for i := range drafts {
		d := &drafts[i]
		d.ID, d.Subject.ID, d.At = run+d.ID, run+d.Subject.ID, time.Now()
		texts[i], err = json.Marshal(d)
		must(err)
	}
	page := make([]byte, 4096)
	written := map[string]int{}
	// writer gives an entrant's turns the next drafts; each entrant writes all of them once.
	writer := func(name string, write func(i int)) entrant {
		return entrant{name: name, per: perRound, run: func() {
			for range perRound {
				write(written[name])
				written[name]++
			}
		}}
	}
	syncing := fmt.Sprintf("floor: a page of 4 KiB synced, %d cases", size)
	t := raceByClock("One event written to stay, same folder",
		writer(syncing, func(int) {
			_, err := floor.Write(page)
			must(err)
			must(floor.Sync())
		}),
		writer("downdrop: checked, chained, indexed, folded", func(i int) {
			_, err := s.Append(ctx, drafts[i])
			must(err)
		}),
		writer("SQLite bare: a row and an index", func(i int) {
			_, err := bare.Exec("insert into events values (?, ?, ?)", drafts[i].ID, drafts[i].Subject.ID, texts[i])
			must(err)
		}),
		writer("bbolt: a key", func(i int) {
			must(keys.Update(func(tx *bbolt.Tx) error {
				return tx.Bucket([]byte("events")).Put([]byte(drafts[i].ID), texts[i])
			}))
		}))
	goal("times the disk's own sync", ratio(t["downdrop: checked, chained, indexed, folded"], t[syncing]), 3, false)

	some, err := s.Find(ctx, cases.Query{Limit: 50})
	must(err)
	cause := ""
	for _, x := range some {
		if len(x.Causes) > 0 {
			cause = x.Causes[0]
		}
	}
	for _, x := range some { // the same cases for the others
		events, err := s.Events(ctx, cases.Subject{Kind: cases.AboutCase, ID: x.ID})
		must(err)
		text, err := json.Marshal(events)
		must(err)
		_, err = bare.Exec("insert into events values (?, ?, ?)", x.ID, x.ID, text)
		must(err)
		must(keys.Update(func(tx *bbolt.Tx) error { return tx.Bucket([]byte("events")).Put([]byte(x.ID), text) }))
	}
	const reads = 50
	each := func(read func(id string)) func() {
		return func() {
			for _, x := range some[:min(reads, len(some))] {
				read(x.ID)
			}
		}
	}
	t = race(fmt.Sprintf("One of %d cases read", size),
		entrant{name: "floor: SQLite bare, the text of the case", per: reads, run: each(func(id string) {
			var text []byte
			must(bare.QueryRow("select body from events where id = ?", id).Scan(&text))
		})},
		entrant{name: "bbolt: the text of the case", per: reads, run: each(func(id string) {
			must(keys.View(func(tx *bbolt.Tx) error {
				mustBe(len(tx.Bucket([]byte("events")).Get([]byte(id))) > 0, "%s is not there", id)
				return nil
			}))
		})},
		entrant{name: "the text of the case, decoded", per: reads, run: each(func(id string) {
			var text []byte
			must(bare.QueryRow("select body from events where id = ?", id).Scan(&text))
			var events []cases.Event
			must(json.Unmarshal(text, &events))
		})},
		entrant{name: "downdrop: all events of a case, folded", per: reads, run: each(func(id string) {
			c, err := s.Case(ctx, id)
			must(err)
			mustBe(c.ID == id, "%s was asked for, %s came", id, c.ID)
		})})
	get = t["downdrop: all events of a case, folded"]
	goal("times the same text decoded", ratio(get, t["the text of the case, decoded"]), 3, false)
	goal("us to read a case, a bare get of 12 us in mind", get/1e3, 12, false)
	found := func(q cases.Query) func() {
		return func() {
			for range 10 {
				all, err := s.Find(ctx, q)
				must(err)
				mustBe(len(all) > 0, "nothing found: %+v", q)
			}
		}
	}
	t = race(fmt.Sprintf("Twenty of %d cases found", size),
		entrant{name: "downdrop: newest", per: 10, run: found(cases.Query{Limit: 20})},
		entrant{name: "downdrop: newest of a cause", per: 10, run: found(cases.Query{Limit: 20, Cause: cause})},
		entrant{name: "downdrop: newest with a word", per: 10, run: found(cases.Query{Limit: 20, Text: "storm"})})
	find = t["downdrop: newest of a cause"]
	goal("us for the newest twenty of a cause", find/1e3, 60, false)
	return get, find
}

package main

import (
	"database/sql"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

// joins is what a rulebase of downdrop has no words for: its rules have no variables,
// so that "two drops with one address" and "everything behind a break" cannot be
// written as rules. Both are asked of an installation sheet instead, by functions.
// Beside them stands the join by hand with a hash, and SQLite in memory, which joins
// anything. The sheet answers the first question only together with all its others.
func joins() {
	for _, size := range []int{32, 128, 247} {
		r := rand.New(rand.NewPCG(uint64(*seed), uint64(size)))
		var text strings.Builder
		fmt.Fprintf(&text, "sheet: long\nline: tia485_polled\nrate: 9600 baud\ncable: [{length: %d m, conductor: AWG 24, impedance: 120 ohm, shielded: yes}]\nterminators: [{at: host}, {at: end}]\ndrops:\n", 4*size)
		db, err := sql.Open("sqlite", ":memory:")
		must(err)
		db.SetMaxOpenConns(1)
		_, err = db.Exec("create table drops (name text, at real, address int); create index by_address on drops (address)")
		must(err)
		for i := range size {
			address := i + 1
			if r.IntN(16) == 0 && i > 0 {
				address = 1 + r.IntN(i)
			}
			fmt.Fprintf(&text, "  - {drop: d%d, at: %d m, address: %d}\n", i, 4*(i+1)-2, address)
			_, err = db.Exec("insert into drops values (?, ?, ?)", fmt.Sprint("d", i), 4*(i+1)-2, address)
			must(err)
		}
		s, err := rulebase.ReadSheet("long.yaml", []byte(text.String()), sheet.Kinds())
		must(err)
		cut := float64(size) // a quarter of the way out
		// Everybody names the drops whose address another before them has, and those lost.
		var hash, whole, joined, lost, rows, behind []string
		byHash := func() {
			first := make(map[int]bool, len(s.Drops))
			hash = hash[:0]
			for i := range s.Drops {
				if d := &s.Drops[i]; first[d.Address] {
					hash = append(hash, d.Name)
				} else {
					first[d.Address] = true
				}
			}
		}
		byHand := func() {
			rows = make([]string, 0, len(s.Drops))
			for i := range s.Drops {
				if s.Drops[i].AtM > cut {
					rows = append(rows, s.Drops[i].Name)
				}
			}
		}
		bySheet := func() {
			whole = whole[:0]
			for _, r := range sheet.Check(s) {
				if r.Rule == "address_twice" {
					whole = append(whole, strings.TrimPrefix(r.Where, "drop "))
				}
			}
		}
		query := func(text string, args ...any) (all []string) {
			rows, err := db.Query(text, args...)
			must(err)
			for rows.Next() {
				var name string
				must(rows.Scan(&name))
				all = append(all, name)
			}
			must(rows.Err())
			must(rows.Close())
			return all
		}
		t := race(fmt.Sprintf("Two drops with one address, %d drops", size),
			entrant{name: "floor: hash join by hand", per: 200, run: func() {
				for range 200 {
					byHash()
				}
			}},
			entrant{name: "SQLite in memory", per: 5, run: func() {
				for range 5 {
					joined = query("select b.name from drops b where exists (select 1 from drops a where a.address = b.address and a.at < b.at) order by b.at")
				}
			}},
			entrant{name: "downdrop: the whole sheet, every rule", per: 1, run: bySheet})
		mustBe(slices.Equal(hash, joined) && slices.Equal(hash, whole), "addresses twice: %v, %v, %v", hash, joined, whole)
		fmt.Printf("  %d drops found by all; the whole sheet takes %.1f times SQLite's one question\n", len(hash), ratio(t["downdrop: the whole sheet, every rule"], t["SQLite in memory"]))
		t = race(fmt.Sprintf("All drops behind a break, %d drops", size),
			entrant{name: "floor: one pass by hand", per: 500, run: func() {
				for range 500 {
					byHand()
				}
			}},
			entrant{name: "downdrop", per: 500, run: func() {
				for range 500 {
					lost = sheet.Lost(s, cut)
				}
			}},
			entrant{name: "SQLite in memory", per: 5, run: func() {
				for range 5 {
					behind = query("select name from drops where at > ? order by at", cut)
				}
			}})
		mustBe(slices.Equal(lost, rows) && slices.Equal(lost, behind), "behind the break: %v, %v, %v", lost, rows, behind)
		goal("times the pass by hand", ratio(t["downdrop"], t["floor: one pass by hand"]), 5, false)
		must(db.Close())
	}
}

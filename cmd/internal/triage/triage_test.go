package triage_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"

	"downdrop/cmd/internal/triage"
	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
	"downdrop/testdata/support/shipped"
)

// A population draws returns from the rulebase's own numbers: what is wrong, and what
// a sender tells of it. It shares with triage the engine's numbers and nothing else.
type population struct {
	base   *rulebase.Base
	d      *engine.Diagnosis
	sets   [][]uint16
	upTo   []float64
	bad    []bool
	shows  map[string][][]float64 // by set of causes: of every told symptom
	told   []int                  // symptoms that senders tell of
	random *rand.Rand
}

func newPopulation(t testing.TB, seed uint64) *population {
	base := shipped.Base(t)
	on, err := base.ReadGiven("user_place=bench")
	if err != nil {
		t.Fatal(err)
	}
	d, err := engine.Diagnose(context.Background(), engine.Prepare(base), rulebase.Situation{At: rulebase.Phone, Givens: []rulebase.GivenValue{on}}, engine.Options{BeliefOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	p := &population{base: base, d: d, shows: map[string][][]float64{}, random: rand.New(rand.NewPCG(seed, 1))}
	total := 0.0
	for set, chance := range d.Worlds() {
		total += chance
		p.sets, p.upTo, p.bad = append(p.sets, slices.Clone(set)), append(p.upTo, total), append(p.bad, unitBad(base, set))
	}
	for i := range base.Symptoms {
		s := &base.Symptoms[i]
		if s.Weighs && !s.Banded() && (base.Complaint == nil || i != base.Complaint.Symptom) && slices.Contains(senders, s.ID) {
			p.told = append(p.told, i)
		}
	}
	if len(p.told) != len(senders) {
		t.Fatalf("%d of %d symptoms are there", len(p.told), len(senders))
	}
	return p
}

// senders are the symptoms that the senders of a return tell of.
var senders = strings.Fields("power_light run_light traffic_light fault_light how_it_fails began_after smell_or_burn host_says handheld_here unit_at_good_place trouble_after_exchange isolator_position what_helps starts_up_again spare_unit_here")

// unitBad says whether a set holds a cause whose last remedy takes the unit out.
func unitBad(base *rulebase.Base, set []uint16) bool {
	return slices.ContainsFunc(set, func(c uint16) bool {
		list := base.Causes[c].Remedies
		return len(list) > 0 && base.Remedies[list[len(list)-1].Remedy].EndsAs == rulebase.UnitOut
	})
}

// A truth is what is the matter with a row.
type truth int

const (
	isGood truth = iota
	isBad
	isOutside // something not listed: nobody says which
)

// draw draws one return: what it is, and what is told, as symptom and value.
func (p *population) draw() (truth, []string) {
	at, _ := slices.BinarySearch(p.upTo, p.random.Float64())
	outside := at == len(p.upTo)
	is := isOutside
	var shows [][]float64
	if !outside {
		is = isGood
		if p.bad[at] {
			is = isBad
		}
		key := fmt.Sprint(p.sets[at])
		if shows = p.shows[key]; shows == nil {
			for _, y := range p.told {
				shows = append(shows, slices.Clone(p.d.Shows(y, p.sets[at])))
			}
			p.shows[key] = shows
		}
	}
	var tells []string
	for i, y := range p.told {
		if p.random.Float64() > 0.35 {
			continue
		}
		s := &p.base.Symptoms[y]
		v := p.random.IntN(len(s.Values))
		sure := &p.base.Sure
		if s.Sure != nil {
			sure = s.Sure
		}
		if !outside && p.random.Float64() < sure.At(rulebase.Phone) {
			v = pick(shows[i], p.random.Float64())
		}
		tells = append(tells, s.ID+"="+s.Values[v])
	}
	return is, tells
}

func pick(p []float64, u float64) int {
	for i, x := range p {
		if u -= x; u < 0 {
			return i
		}
	}
	return len(p) - 1
}

// list writes returns as a CSV file, and their truths by line.
func (p *population) list(n int) (text []byte, truths map[int]truth) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write([]string{"Serial number", "Location", "Reason for return"})
	truths = map[int]truth{}
	for i := range n {
		is, tells := p.draw()
		for k := range tells { // in words, as somebody writes them
			tells[k] = strings.NewReplacer("_", " ", "=", " ").Replace(tells[k])
			if i%3 == 0 {
				tells[k] = strings.ToUpper(tells[k][:1]) + tells[k][1:]
			}
		}
		_ = w.Write([]string{fmt.Sprintf("%07d", 1000+i), fmt.Sprintf("invented place %d", i%40), strings.Join(tells, []string{", ", "; ", ". "}[i%3])})
		truths[i+2] = is
	}
	w.Flush()
	return b.Bytes(), truths
}

func opener(text []byte) func() (io.ReadCloser, error) {
	return func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(text)), nil }
}

func noRejects(t testing.TB) func(triage.Reject) error {
	return func(r triage.Reject) error { t.Errorf("rejected: %+v", r); return nil }
}

// Of the rows called probably good at least 80 in 100 are, and the chances given are
// those that come true: in every tenth within what chance allows.
func TestCallsHoldOnSimulatedReturns(t *testing.T) {
	support.Alone(t)
	n := support.Deep(t, 50)
	p := newPopulation(t, 11)
	text, truths := p.list(n)
	type bin struct {
		n, hits int
		sum     float64
	}
	var good, bad [10]bin
	calls := map[triage.Call][3]int{}
	understood, rows := 0, 0
	sum, err := triage.NewDesk(p.base, 0).Run(t.Context(), opener(text), triage.Options{}, func(r *triage.Row) error {
		is := truths[r.Line]
		c := calls[r.Call]
		c[is]++
		calls[r.Call] = c
		rows++
		if len(r.NotHeard) == 0 {
			understood++
		}
		for _, x := range []struct {
			bins *[10]bin
			p    float64
			hit  bool
		}{{&good, r.Good, is == isGood}, {&bad, r.Bad, is == isBad}} {
			b := &x.bins[min(9, int(10*x.p))]
			b.n++
			b.sum += x.p
			if x.hit {
				b.hits++
			}
		}
		return nil
	}, noRejects(t))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d rows, %d situations, all words understood in %d", rows, sum.Situations, understood)
	for _, c := range []triage.Call{triage.ProbablyGood, triage.Open, triage.ProbablyBad} {
		t.Logf("%-14s good %4d  bad %4d  not listed %4d", c, calls[c][isGood], calls[c][isBad], calls[c][isOutside])
	}
	chi, cells := 0.0, 0
	for name, bins := range map[string][10]bin{"good": good, "bad": bad} {
		for i, b := range bins {
			if b.n == 0 {
				continue
			}
			said, came := b.sum/float64(b.n), float64(b.hits)/float64(b.n)
			t.Logf("%-5s %.1f to %.1f: %4d rows, said %.3f, came true %.3f", name, float64(i)/10, float64(i+1)/10, b.n, said, came)
			if v := said * (1 - said) * float64(b.n); b.n >= 20 && v > 1 {
				z := (float64(b.hits) - b.sum) / math.Sqrt(v)
				chi, cells = chi+z*z, cells+1
				if !(math.Abs(z) <= 4) {
					t.Errorf("%s %.1f: said %.3f, came true %.3f of %d", name, float64(i)/10, said, came, b.n)
				}
			}
		}
	}
	t.Logf("chi-square %.1f over %d cells", chi, cells)
	g := calls[triage.ProbablyGood]
	all := g[0] + g[1] + g[2]
	if all < n/20 || float64(g[isGood]) < 0.8*float64(all) {
		t.Errorf("of %d rows called probably good %d are", all, g[isGood])
	}
	b := calls[triage.ProbablyBad]
	if all := b[0] + b[1] + b[2]; all < n/50 || float64(b[isBad]) < 0.8*float64(all) {
		t.Errorf("of %d rows called probably bad %d are", all, b[isBad])
	}
	if understood < rows*8/10 {
		t.Errorf("of %d rows only %d were understood whole", rows, understood)
	}
}

// lines gives every row of a list, and its rejects.
func lines(t *testing.T, text string, o triage.Options) (rows map[int]triage.Row, order []int, rejects map[int]string, sum triage.Summary, err error) {
	t.Helper()
	return linesOf(t, triage.NewDesk(shipped.Base(t), 0), text, o)
}

func linesOf(t *testing.T, desk *triage.Desk, text string, o triage.Options) (rows map[int]triage.Row, order []int, rejects map[int]string, sum triage.Summary, err error) {
	t.Helper()
	rows, rejects = map[int]triage.Row{}, map[int]string{}
	sum, err = desk.Run(t.Context(), opener([]byte(text)), o, func(r *triage.Row) error {
		rows[r.Line] = *r
		order = append(order, r.Line)
		return nil
	}, func(r triage.Reject) error { rejects[r.Line] = r.Why; return nil })
	return rows, order, rejects, sum, err
}

func TestDamageIsAskedBack(t *testing.T) {
	var b strings.Builder
	b.WriteString("Serial;Complaint;volts_at_drop\n")
	for i := range 8 {
		fmt.Fprintf(&b, "00%04d;power light dark;23,8 V\n", 7000+i)
	}
	for _, c := range []struct{ serial, complaint, volts string }{
		{"1.2E+11", "x", ""}, {"1,23457E+11", "x", ""}, {"7013", "x", ""}, {"07.Jan", "x", ""}, {"2024-03-01", "x", ""}, {"123456789012345000", "x", ""}, {"4711.0", "x", ""}, {"1.234.567", "x", ""},
		{"007010", "#NAME?", ""}, {"007011", "########", ""}, {"007012", "kabel defekt gro\uFFFD", ""}, {"007013", "zerstÃ¶rt", ""}, {"007014", "x", "1,234"},
	} {
		fmt.Fprintf(&b, "%s;%s;%s\n", c.serial, c.complaint, c.volts)
	}
	rows, _, rejects, sum, err := lines(t, b.String(), triage.Options{})
	if err != nil || len(rejects) > 0 {
		t.Fatal(err, rejects)
	}
	want := []triage.Damage{triage.Exponent, triage.Exponent, triage.LostZeros, triage.AsDate, triage.AsDate, triage.FifteenOnly, triage.Decimals, triage.Decimals, triage.CellError, triage.CellError, triage.LostLetters, triage.LostLetters, triage.WhichComma}
	for i, kind := range want {
		r := rows[10+i]
		if r.Call != triage.AskBack || !slices.Equal(r.Damage, []triage.Damage{kind}) || r.Likely != "" || len(r.Ask) != 1 {
			t.Errorf("line %d: %s %v, want %s: %+v", r.Line, r.Call, r.Damage, kind, r)
		}
	}
	for line := 2; line < 10; line++ {
		if r := rows[line]; r.Call == triage.AskBack || len(r.Understood) != 2 || !strings.Contains(r.Understood[1], "23.8 V") {
			t.Errorf("line %d is sound: %+v", line, r)
		}
	}
	if sum.Separator != ';' || sum.Calls[triage.AskBack] != len(want) {
		t.Errorf("%+v", sum)
	}
}

func TestLettersOfManyKinds(t *testing.T) {
	support.Alone(t)
	plain := "Serial;Complaint\nA1;Lüfter läuft; power light dark\n"
	plain = strings.Replace(plain, "; power", ", power", 1)
	latin := strings.NewReplacer("ü", "\xfc", "ä", "\xe4").Replace(plain)
	wide := []byte{0xff, 0xfe}
	for _, r := range plain {
		wide = append(wide, byte(r), byte(r>>8))
	}
	for name, text := range map[string]string{"utf-8": plain, "utf-8 with mark": "\xef\xbb\xbf" + plain, "windows-1252": latin, "utf-16": string(wide), "sep": "sep=;\n" + plain, "crlf": strings.ReplaceAll(plain, "\n", "\r\n")} {
		rows, order, rejects, sum, err := lines(t, text, triage.Options{})
		if err != nil || len(rejects) > 0 || len(order) != 1 {
			t.Errorf("%s: %v %v %v", name, err, rejects, order)
			continue
		}
		if r := rows[order[0]]; r.Serial != "A1" || r.Complaint != "Lüfter läuft, power light dark" || len(r.Understood) != 1 {
			t.Errorf("%s: %+v", name, r)
		}
		if sum.Windows1252 != (name == "windows-1252") {
			t.Errorf("%s: windows-1252 is %v", name, sum.Windows1252)
		}
	}
	// Both in one list: nobody knows which the odd rows are.
	rows, _, _, _, err := lines(t, "Serial;Complaint\nA1;Lüfter\nA2;L\xfcfter\n", triage.Options{})
	if err != nil || rows[2].Call == triage.AskBack || rows[3].Call != triage.AskBack || !slices.Equal(rows[3].Damage, []triage.Damage{triage.LostLetters}) {
		t.Errorf("%v %+v", err, rows)
	}
}

// An export of a spreadsheet has its title above the headings, and headings in words of its own.
func TestAnExportWithATitleAndOddHeadings(t *testing.T) {
	support.Alone(t)
	body := "4711;customer-3;A0815;power light dark;26.11.2026;\n4712;customer-4;A0816;power light lit, run light dark;25.11.2026;scorched\n"
	for title, heading := range map[string]int{"": 0, "Returns of the week (invented);;;;;\nExport;2026-11-26;;;;\n;;;;;\n": 4, "Faults and returns\n\n": 3, "sep=;\nReturns, faults, all;;;;;\n": 3} {
		for _, heads := range []string{"RMA No.;Customer;S/N;Fault reported;Rx date;Remarks\n", "Fault no.;Customer;Unit serial no.;Customer's complaint;Fault date;Fault code\n", "No.;Of;Serial;Description of fault;Serial of controller;X\n"} {
			rows, order, rejects, sum, err := lines(t, title+heads+body, triage.Options{})
			if err != nil || len(rejects) > 0 || len(order) != 2 || sum.Heading != heading {
				t.Errorf("%q: %v %v %v, headings in line %d", title+heads, err, rejects, order, sum.Heading)
				continue
			}
			if r := rows[order[0]]; r.Serial == "" || len(r.Understood) == 0 {
				t.Errorf("%q: %+v", title+heads, r)
			}
		}
	}
	// A list without headings is not read from one of its rows on.
	for _, text := range []string{"A1;dark;x\nA2;fault;x\nA3;dead;x\n", "A1;dark\nA2;complaint\n"} {
		if _, _, _, _, err := lines(t, text, triage.Options{}); err == nil || !strings.Contains(err.Error(), "No column is known to hold the complaint") {
			t.Errorf("%q: %v", text, err)
		}
	}
	// What --column says counts, and finds the headings too.
	rows, order, _, sum, err := lines(t, "Returns (invented);;\nText 2;S/N;Fault\npower light dark;A1;17\n", triage.Options{Columns: map[string]string{"Text 2": triage.Complaint, "Fault": triage.Unused}})
	if err != nil || sum.Heading != 2 || rows[order[0]].Complaint != "power light dark" {
		t.Errorf("%v, headings in line %d, %+v", err, sum.Heading, rows)
	}
}

// A row that is none is rejected with its line, and the rows after it are still read.
func TestBadRowsAreRejected(t *testing.T) {
	text := "Serial,Complaint\nA1,power light dark\nA2\nA3,one,two\n\"A4,power light dark\nA5,run light dark\n\nA6,\"two\nlines\"\n,,\nA7,24\" rack dark\nA8," + strings.Repeat("x", 70_000) + "\nA9,power light dark\n"
	rows, _, rejects, sum, err := lines(t, text, triage.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var read, refused []int
	for line := range rows {
		read = append(read, line)
	}
	for line := range rejects {
		refused = append(refused, line)
	}
	slices.Sort(read)
	slices.Sort(refused)
	if !slices.Equal(read, []int{2, 6, 8, 11, 13}) || !slices.Equal(refused, []int{3, 4, 5, 12}) {
		t.Errorf("read %v, rejected %v", read, rejects)
	}
	if sum.Rows != len(read) || sum.Rejected != len(refused) {
		t.Errorf("%+v", sum)
	}
	if rows[8].Complaint != "two\nlines" || rows[11].Complaint != `24" rack dark` {
		t.Errorf("%+v", rows)
	}
}

func TestListsThatCannotBeRead(t *testing.T) {
	for text, want := range map[string]string{
		"":                                    "There is nothing in the list",
		"\n\n":                                "There is nothing in the list",
		"a,b\n1,2\n":                          "No column is known to hold the complaint",
		"Serial,SN,Complaint\n":               "both taken for serial",
		"power_light,Power light,serial\n":    "both taken for power_light",
		"\"Serial,Complaint\nA,B\nC,D\nE,F\n": "quote",
	} {
		_, _, _, _, err := lines(t, text, triage.Options{})
		var input *triage.InputError
		if !errors.As(err, &input) || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
	_, _, _, _, err := lines(t, "Serial,Complaint\n", triage.Options{Columns: map[string]string{"Seriel": "serial"}})
	if err == nil || !strings.Contains(err.Error(), `did you mean "Serial"?`) {
		t.Error(err)
	}
}

// The worklist is in order, and the same however little is held at a time.
func TestSortedInAnyMemory(t *testing.T) {
	p := newPopulation(t, 5)
	text, _ := p.list(12)
	desk := triage.NewDesk(shipped.Base(t), 0)
	_, want, _, _, err := linesOf(t, desk, string(text), triage.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, hold := range []int{1, 5, 11, 12, 13} {
		rows, got, _, _, err := linesOf(t, desk, string(text), triage.Options{Hold: hold})
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("holding %d: %v\n%v\n%v", hold, err, got, want)
		}
		last := triage.Row{Call: triage.ProbablyGood, Good: 1}
		rank := map[triage.Call]int{triage.ProbablyGood: 0, triage.Open: 1, triage.ProbablyBad: 2, triage.AskBack: 3}
		for _, line := range got {
			r := rows[line]
			if rank[r.Call] < rank[last.Call] || r.Call == last.Call && r.Good > last.Good {
				t.Errorf("%+v stands after %+v", r, last)
			}
			last = r
		}
	}
}

// Two kinds of serial numbers in one list are no damage.
func TestTwoKindsOfSerialNumbers(t *testing.T) {
	text := "Serial,Complaint\n"
	for i := range 12 {
		text += fmt.Sprintf("00%04d,x\n", 7000+i)
		if i%2 == 0 {
			text += fmt.Sprintf("%04d,x\n", 4000+i)
		}
	}
	_, _, _, sum, err := lines(t, text, triage.Options{})
	if err != nil || sum.Calls[triage.AskBack] > 0 {
		t.Errorf("%v %+v", err, sum)
	}
}

// Every line that is not empty becomes a row or a reject, or is part of one; nothing panics.
func FuzzList(f *testing.F) {
	f.Add([]byte("Serial,Complaint\nA1,power light dark\n"))
	f.Add([]byte("\xff\xfeS\x00,\x00"))
	f.Add([]byte("sep=;\nComplaint;power_light\n\"a\nb\";dark\n\"c;d\n"))
	f.Add([]byte("Complaint\n\"\"\"\n=1\n\x81\n"))
	base := shipped.Base(f)
	desk := triage.NewDesk(base, 0)
	f.Fuzz(func(t *testing.T, text []byte) {
		rows, rejects := 0, 0
		sum, err := desk.Run(t.Context(), opener(text), triage.Options{Hold: 3}, func(r *triage.Row) error { rows++; return nil }, func(r triage.Reject) error {
			rejects++
			if r.Why == "" || r.Line < 2 {
				t.Errorf("%+v", r)
			}
			return nil
		})
		if err == nil && (sum.Rows != rows || sum.Rejected != rejects) {
			t.Errorf("%+v: %d rows, %d rejects", sum, rows, rejects)
		}
	})
}

// A reading of which only a range is told lies in one band or in none that can be said: "18 to 22 V" is asked of nobody,
// and does not end the program.
func TestAComplaintWithARangeInIt(t *testing.T) {
	support.Alone(t)
	for complaint, understood := range map[string]bool{
		"24 V supply 18-22 V": false, "volts at drop 18 to 22 V": false, "volts at drop 0.2-0.4 V": true, "volts at drop 23.0-24.0 V": true,
	} {
		rows, _, _, _, err := lines(t, "Complaint\n"+complaint+"\n", triage.Options{})
		if err != nil || len(rows) != 1 || len(rows[2].Understood) > 0 != understood {
			t.Errorf("%q: %v %+v", complaint, err, rows)
		}
	}
}

// A clause of which more was left over than understood says nothing: nobody is there
// to be asked what was meant.
func TestHalfUnderstoodIsNotUnderstood(t *testing.T) {
	rows, _, _, _, err := lines(t, "Complaint\nthe same unit works at another place\n\"power light dark, the pump of line three hums\"\n", triage.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if r := rows[2]; len(r.Understood) > 0 || len(r.NotHeard) != 1 {
		t.Errorf("%+v", r)
	}
	if r := rows[3]; len(r.Understood) != 1 || len(r.NotHeard) != 1 {
		t.Errorf("%+v", r)
	}
}

// endless is a list of n rows that is made while it is read.
type endless struct {
	n, row int
	left   []byte
}

func (e *endless) Read(into []byte) (int, error) {
	if len(e.left) == 0 {
		if e.row > e.n {
			return 0, io.EOF
		}
		if e.row == 0 {
			e.left = []byte("Serial,Location,Complaint\n")
		} else {
			e.left = fmt.Appendf(nil, "%08d,invented place %d,%s\n", e.row, e.row%500, complaintOf(e.row))
		}
		e.row++
	}
	n := copy(into, e.left)
	e.left = e.left[n:]
	return n, nil
}

func (e *endless) Close() error { return nil }

// complaintOf makes 27 different situations, each with a remark of its own that nobody
// understands, so that no two rows are alike.
func complaintOf(row int) string {
	lights := []string{"lit", "dark", "dim or flickering"}
	runs := []string{"steady", "blinking", "dark"}
	fails := []string{"all the time", "at random", "when warm"}
	word := []byte("q")
	for x := row; x > 0; x /= 17 {
		word = append(word, "bcdfghjklmnpqrtvz"[x%17])
	}
	return fmt.Sprintf("power light %s; run light %s; how it fails %s; %s", lights[row%3], runs[row/3%3], fails[row/9%3], word)
}

// BenchmarkMemory goes over lists of a thousand to a hundred thousand rows and reports
// the most that the heap held: beyond what is remembered and held it does not grow.
func BenchmarkMemory(b *testing.B) {
	base := shipped.Base(b)
	for _, n := range []int{1_000, 10_000, 100_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			var most uint64
			for b.Loop() {
				desk := triage.NewDesk(base, 0)
				rows := 0
				_, err := desk.Run(b.Context(), func() (io.ReadCloser, error) { return &endless{n: n}, nil }, triage.Options{Progress: func(line int) {
					if line%500 == 0 {
						var m runtime.MemStats
						runtime.ReadMemStats(&m)
						most = max(most, m.HeapInuse)
					}
				}}, func(*triage.Row) error { rows++; return nil }, func(triage.Reject) error { return nil })
				if err != nil || rows != n {
					b.Fatal(err, rows)
				}
			}
			b.ReportMetric(float64(most)/(1<<20), "MB-most")
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/row")
		})
	}
}

// Of a unit that was here before, and of no other, it is asked first whether that was for the same
// complaint; three questions at most.
func TestAUnitThatWasHereBefore(t *testing.T) {
	asked := map[string]int{}
	const text = "Serial;Complaint\nA1;power light lit\nB2;power light lit\nA1;\n;power light lit\n"
	rows, _, _, _, err := lines(t, text, triage.Options{Before: func(_ context.Context, serial string) ([]string, error) {
		asked[serial]++
		if serial == "A1" {
			return []string{"It was here in May."}, nil
		}
		return nil, nil
	}})
	if err != nil {
		t.Fatal(err)
	}
	const same = "Read the serial from the plate again: if this unit was here before, was it for the same complaint?"
	for line, before := range map[int]bool{2: true, 3: false, 4: true, 5: false} {
		r := rows[line]
		if n := strings.Count(strings.Join(r.Ask, "\n"), same); (n == 1) != before || before && r.Ask[0] != same || len(r.Ask) > 3 || (len(r.Before) == 1) != before {
			t.Errorf("line %d, %s: before is %q, asked is %q", line, r.Call, r.Before, r.Ask)
		}
	}
	if len(rows[3].Ask) != 3 || rows[2].Ask[1] != rows[3].Ask[0] {
		t.Errorf("without it are asked %q, with it %q", rows[3].Ask, rows[2].Ask)
	}
	if asked[""] > 0 || asked["A1"] != 2 || asked["B2"] != 1 {
		t.Errorf("looked up were %v", asked)
	}
}

package triage

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"downdrop/testdata/support"
)

// A worked list is what a desk made of one.
type worked struct {
	rows    map[int]Row
	rejects map[int]Reject
	sum     Summary
	err     error
}

func work(t *testing.T, desk *Desk, text string, o Options) worked {
	t.Helper()
	w := worked{rows: map[int]Row{}, rejects: map[int]Reject{}}
	open := func() (io.ReadCloser, error) { return io.NopCloser(strings.NewReader(text)), nil }
	w.sum, w.err = desk.Run(t.Context(), open, o, func(r *Row) error { w.rows[r.Line] = *r; return nil }, func(r Reject) error { w.rejects[r.Line] = r; return nil })
	return w
}

// What a row is answered does not depend on the rows before it: a desk that has heard the others
// says what one says that has heard nothing.
func TestWhatWasHeardBeforeChangesNothing(t *testing.T) {
	base := small(t)
	rows := []string{
		"2 Mohm;", "2 mohm;", "2 MOhm;", "200 Ohm;", "200 ohm;", ";pair ohms 2 Mohm", ";pair ohms 2 mohm", ";PAIR OHMS 2 Mohm, power light dark",
		";pair ohms 2 mohm, power light dark", ";Power Light DARK", ";power light dark. XYZZY", ";power light dark. xyzzy",
	}
	list := func(order []int) string {
		text := "Serial;pair_ohms;Complaint\n"
		for _, i := range order {
			text += fmt.Sprintf("A%d;%s\n", i, rows[i])
		}
		return text
	}
	want := map[string]Row{}
	order := make([]int, len(rows))
	for i := range rows {
		order[i] = i
		w := work(t, NewDesk(base, 0), list([]int{i}), Options{})
		if r, ok := w.rows[2]; w.err != nil || !ok {
			t.Fatal(w)
		} else {
			r.Line = 0
			want[r.Serial] = r
		}
	}
	if a, b := want["A0"], want["A1"]; reflect.DeepEqual(a.Understood, b.Understood) {
		t.Errorf("2 Mohm and 2 mohm are both %q", a.Understood)
	}
	random := rand.New(rand.NewPCG(8, 1))
	for range support.Deep(t, 6) {
		random.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
		w := work(t, NewDesk(base, 1+random.IntN(20)), list(order), Options{})
		for _, r := range w.rows {
			r.Line = 0
			if !reflect.DeepEqual(r, want[r.Serial]) {
				t.Errorf("%q among %v:\n%+v\nalone:\n%+v", rows[order[0]], order, r, want[r.Serial])
			}
		}
	}
}

// A list of separators alone is an empty one, and so is one with nothing below its headings.
func TestListsOfNothing(t *testing.T) {
	desk := NewDesk(small(t), 0)
	for text, says := range map[string]string{
		",,,\n,,,\n": "There is nothing in the list", ";;\r;;\r": "There is nothing in the list", "sep=;\n": "There is nothing in the list", " \n\t\n\"\"\n": "There is nothing in the list",
		strings.Repeat(";;;\n", 30): "There is nothing in the list", "Serial,Complaint\n": "no row below the headings", "Serial,Complaint\n,\n,\n": "no row below the headings",
	} {
		w := work(t, desk, text, Options{})
		var input *InputError
		if !errors.As(w.err, &input) || !strings.Contains(w.err.Error(), says) {
			t.Errorf("%q: %v", text, w.err)
		}
	}
}

// The same rows are read whichever of the three line ends a list has, wherever a read of the file happens to end.
func TestThreeLineEnds(t *testing.T) {
	desk := NewDesk(small(t), 0)
	const text = "Serial,Complaint\n1001,power light dark\n\n1002,\"power light lit\nno more\"\n1003\n1004,power light dark"
	want := work(t, desk, text, Options{})
	if len(want.rows) != 3 || len(want.rejects) != 1 || want.err != nil {
		t.Fatal(want)
	}
	for _, end := range []string{"\r", "\r\n"} {
		for _, tail := range []string{"", end} {
			if got := work(t, desk, strings.ReplaceAll(text, "\n", end)+tail, Options{}); !reflect.DeepEqual(got.rows, want.rows) || !reflect.DeepEqual(got.rejects, want.rejects) || got.err != nil {
				t.Errorf("%q:\n%+v\nwant\n%+v", end, got, want)
			}
		}
	}
	whole := func(in io.Reader) (out []record) {
		for r := newRecords(in, utf8Letters, ','); ; {
			one, err := r.next()
			if err != nil {
				return out
			}
			out = append(out, one)
		}
	}
	list := strings.ReplaceAll(text, "\n", "\r\n")
	if got, want := whole(&slow{text: []byte(list)}), whole(strings.NewReader(list)); !reflect.DeepEqual(got, want) {
		t.Errorf("byte by byte %+v, at once %+v", got, want)
	}
}

// slow gives one byte at a time.
type slow struct{ text []byte }

func (s *slow) Read(p []byte) (int, error) {
	if len(s.text) == 0 {
		return 0, io.EOF
	}
	n := copy(p[:1], s.text)
	s.text = s.text[n:]
	return n, nil
}

// A line that is too long, below a quote that is open, is a reject of its own.
func TestALongLineBelowAnOpenQuote(t *testing.T) {
	long := "A4," + strings.Repeat("x", 70_000)
	for text, rejects := range map[string][]int{
		"Serial,Complaint\n\"A2,open\n" + long + "\nA4,power light dark\n":                      {2, 3},
		"Serial,Complaint\n\"A2,open\nA3,power light dark\n" + long + "\nA5,power light dark\n": {2, 4},
		"Serial,Complaint\n\"A2,open\n" + long:                                                  {2, 3},
	} {
		w := work(t, NewDesk(small(t), 0), text, Options{})
		var refused []int
		for line := range w.rejects {
			refused = append(refused, line)
		}
		if slices.Sort(refused); !slices.Equal(refused, rejects) || w.err != nil || w.sum.Rows+w.sum.Rejected != strings.Count(strings.TrimSpace(text), "\n") {
			t.Errorf("%.40q: rejected %v, want %v: %+v %v", text, refused, rejects, w.sum, w.err)
		}
	}
}

// Nothing of a list is lost, and nothing is there twice: its rows put together again are its lines, and each
// row spans as many lines as it has.
func FuzzNothingIsLost(f *testing.F) {
	f.Add([]byte("a,b\n\"A2,open\nA3,x\r\"A4\",\"two\r\nlines\"\n\n,,\n"), uint8(0))
	f.Add([]byte("\"a;b\n"+strings.Repeat("x", 66_000)+"\nc;d"), uint8(1))
	f.Add([]byte("\"a\n"+strings.Repeat("b\n", 60)+"\"c\n"), uint8(2))
	f.Fuzz(func(t *testing.T, text []byte, sep uint8) {
		if !utf8.Valid(text) || bytes.Contains(text, []byte{0}) {
			return // letters are another matter
		}
		slowly := strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(strings.TrimPrefix(string(text), "\xef\xbb\xbf"))
		want := strings.Split(strings.TrimSuffix(slowly, "\n"), "\n")
		if slowly == "" {
			want = nil
		}
		for i, line := range want {
			if len(line) > mostRowBytes {
				want[i] = ""
			}
		}
		var got []string
		for r := newRecords(bytes.NewReader(text), mixedLetters, separators[int(sep)%len(separators)]); ; {
			row, err := r.next()
			if err != nil {
				break
			}
			if row.line != len(got)+1 {
				t.Fatalf("the row behind line %d is said to begin in line %d", len(got), row.line)
			}
			got = append(got, strings.Split(row.raw, "\n")...)
			if r.line != len(got) {
				t.Fatalf("the row of line %d ends in line %d, and has %q", row.line, r.line, row.raw)
			}
		}
		if !slices.Equal(got, want) {
			t.Fatalf("read %.200q\nwant %.200q", got, want)
		}
	})
}

// Headings may be broken, in the first column and in others, with rows above them or none, whatever parts the cells.
func TestHeadingsOfTwoLines(t *testing.T) {
	desk := NewDesk(small(t), 0)
	for _, sep := range []string{",", ";", "\t", "|"} {
		for _, heads := range []string{"\"Unit\nserial\",Fault,Site", "Serial,\"Fault\nreported\",Site", "\"Unit\n\nserial\",\"Fault\nas told\",\"Site\n\"", "Site,Serial,\"Fault\""} {
			for _, title := range []string{"", "Returns of May\n", "Returns of May (invented),,\n,,\n", "sep=,\n\"Returns\nof May\",,\n"} {
				body := "A1,power light dark,weir\nA2,power light lit,weir\n"
				if heads[0] == 'S' && heads[1] == 'i' {
					body = "weir,A1,power light dark\nweir,A2,power light lit\n"
				}
				text := strings.ReplaceAll(title+heads+"\n"+body, ",", sep)
				w := work(t, desk, text, Options{})
				if w.err != nil || len(w.rows) != 2 || len(w.rejects) != 0 || len(w.sum.Unused) != 0 {
					t.Errorf("%q: %+v", text, w)
					continue
				}
				for _, r := range w.rows {
					if !strings.HasPrefix(r.Serial, "A") || len(r.Understood) != 1 || r.Place != "weir" {
						t.Errorf("%q: %+v", text, r)
					}
				}
			}
		}
	}
	w := work(t, desk, "\"Text\n of it\",B\npower light dark,A1\n", Options{Columns: map[string]string{"Text of it": Complaint, "B": Serial}})
	if r := w.rows[3]; w.err != nil || r.Serial != "A1" || len(r.Understood) != 1 {
		t.Errorf("said with --column: %+v", w)
	}
}

// A row of totals is no unit; a serial that is missing is asked for, and one that stands in two rows is told.
func TestTotalsAndSerials(t *testing.T) {
	desk := NewDesk(small(t), 0)
	const text = "Serial;Complaint;Hours;pair_ohms\nA1;power light dark;1;\nA2;power light lit;2,5;\n;power light dark;1;\na1;power light lit;;\nn/a;power light dark;;\nN/A;power light dark;;\nA3;;;\n;;;200 ohm\n" +
		"Total;;3,5;\n;;3,5;\nGrand total: 2 units;;;\nSum;;7;3\nTOTAL-1;;;\nTotal;power light dark;;\n1.2E+11;x;;\n1.2E+11;x;;\n"
	w := work(t, desk, text, Options{})
	if w.err != nil {
		t.Fatal(w.err)
	}
	for line := 2; line <= 17; line++ {
		_, rejected := w.rejects[line]
		r := w.rows[line]
		if want := line >= 10 && line <= 13; rejected != want {
			t.Errorf("line %d is rejected: %v (%+v)", line, rejected, w.rejects[line])
		} else if rejected && !strings.Contains(w.rejects[line].Why, "otal") {
			t.Errorf("line %d: %s", line, w.rejects[line].Why)
		}
		asked := slices.Contains(r.Ask, sayAskSerial)
		if want := slices.Contains([]int{4, 6, 7, 9}, line); asked != want || len(r.Ask) > mostAsked {
			t.Errorf("line %d is asked %q", line, r.Ask)
		}
	}
	if want := []Twice{{Serial: "A1", Lines: []int{2, 5}}}; !reflect.DeepEqual(w.sum.Twice, want) || w.sum.MoreTwice != 0 {
		t.Errorf("twice are %+v and %d more, want %+v", w.sum.Twice, w.sum.MoreTwice, want)
	}
	// Of a list without serials none is asked for, and a row of a place alone is one.
	w = work(t, desk, "Complaint;Place\npower light dark;weir\n;weir\nTotal;2\n;Total: 2\n", Options{})
	if len(w.rows) != 3 || len(w.rejects) != 1 || slices.Contains(w.rows[2].Ask, sayAskSerial) {
		t.Errorf("%+v", w)
	}
}

// What is told of doubles is bounded, and agrees with counting them all.
func TestManySerialsTwice(t *testing.T) {
	random := rand.New(rand.NewPCG(15, 1))
	text, lines := "Serial,Complaint\n", map[string][]int{}
	for i := range 400 {
		serial := fmt.Sprintf("A%d", random.IntN(300))
		lines[serial] = append(lines[serial], i+2)
		text += serial + ",x\n"
	}
	w := work(t, NewDesk(small(t), 0), text, Options{})
	n := 0
	for _, l := range lines {
		if len(l) > 1 {
			n++
		}
	}
	if w.err != nil || len(w.sum.Twice) != mostTwice || w.sum.MoreTwice != n-mostTwice {
		t.Fatalf("%d are told and %d more of %d: %v", len(w.sum.Twice), w.sum.MoreTwice, n, w.err)
	}
	for i, x := range w.sum.Twice {
		if l := lines[x.Serial]; len(l) < 2 || !slices.Equal(x.Lines, l[:min(len(l), mostTwiceLines)]) || x.More != len(l)-len(x.Lines) || i > 0 && x.Lines[0] < w.sum.Twice[i-1].Lines[0] {
			t.Errorf("%+v, and it stands in %v", x, l)
		}
	}
}

// Of two columns of one name each can be told by its place among the columns.
func TestTwoColumnsOfOneName(t *testing.T) {
	desk := NewDesk(small(t), 0)
	const text = "Serial,Serial,Complaint\nA1,B1,power light dark\n"
	w := work(t, desk, text, Options{})
	const advice = "Serial (column 2)=unused"
	if w.err == nil || !strings.Contains(w.err.Error(), advice) {
		t.Fatal(w.err)
	}
	heading, role, err := ReadRole(desk.base, advice)
	if err != nil {
		t.Fatal(err)
	}
	if w = work(t, desk, text, Options{Columns: map[string]string{heading: role}}); w.err != nil || w.rows[2].Serial != "A1" {
		t.Errorf("%+v", w)
	}
	if w = work(t, desk, text, Options{Columns: map[string]string{"Serial": Unused}}); w.err != nil || w.rows[2].Serial != "" {
		t.Errorf("%+v", w)
	}
}

// Errors of spreadsheets in any language, control characters and dates are no serials; numbers that look nearly so are.
func TestMoreThatIsNoSerial(t *testing.T) {
	desk := NewDesk(small(t), 0)
	for serial, want := range map[string]Damage{
		"#SPILL!": CellError, "#NV": CellError, "#WERT!": CellError, "#N/A": CellError, "#N/D": CellError, "#¡VALOR!": CellError, "#DIV/0!": CellError, "####": CellError,
		"A\x001": LostLetters, "\x07A1": LostLetters, "12-3-2024": AsDate, "3-12-2024": AsDate, "2024/03/12": AsDate,
		"#12": "", "A#1": "", "#A7": "", "12-34-5678": "", "13-13-2024": "", "12-3-24": "", "A\t1": "", "4711": "",
	} {
		w := work(t, desk, "Serial;Complaint\n"+serial+";power light dark\n", Options{})
		var got Damage
		if d := w.rows[2].Damage; len(d) > 0 {
			got = d[0]
		}
		if w.err != nil || got != want || len(w.rows) != 1 {
			t.Errorf("%q: %q, want %q: %+v", serial, got, want, w)
		}
	}
}

// A full stop behind what is cut short parts nothing.
func TestAFullStopBehindAnAbbreviation(t *testing.T) {
	desk := NewDesk(small(t), 0)
	for complaint, want := range map[string]int{"volts at drop approx. 24 V": 1, "volts at drop ca. 24 V. power light dark": 2, "volts at drop ca 24 V": 1, "power light dark. volts at drop 24 V": 2, "power light dark.volts at drop 24 V.": 2} {
		w := work(t, desk, "Complaint\n"+complaint+"\n", Options{})
		if r := w.rows[2]; len(r.Understood) != want || len(r.NotHeard) != 0 {
			t.Errorf("%q: %+v", complaint, r)
		}
	}
}

// Two bytes a letter are read without a mark too, in either order.
func TestTwoBytesALetterWithoutAMark(t *testing.T) {
	desk := NewDesk(small(t), 0)
	const text = "Serial;Complaint;Place\r\nA1;power light dark;Lüftung\r\n"
	var little, big []byte
	for _, r := range text {
		little, big = append(little, byte(r), byte(r>>8)), append(big, byte(r>>8), byte(r))
	}
	for _, list := range []string{string(little), string(big), "\xff\xfe" + string(little), "\xfe\xff" + string(big)} {
		w := work(t, desk, list, Options{})
		if r := w.rows[2]; w.err != nil || r.Serial != "A1" || r.Place != "Lüftung" || len(r.Understood) != 1 {
			t.Errorf("%q: %+v", list[:8], w)
		}
	}
}

// What Begin says ends the run before a row is read.
func TestBeginEndsARun(t *testing.T) {
	stop := errors.New("stop")
	began := 0
	w := work(t, NewDesk(small(t), 0), "Serial,Complaint\nA1,x\nA2\n", Options{Begin: func(rows int) error { began = rows; return stop }})
	if !errors.Is(w.err, stop) || began != 2 || len(w.rows)+len(w.rejects) > 0 {
		t.Errorf("%+v, %d rows", w, began)
	}
	began = 0
	w = work(t, NewDesk(small(t), 0), "a,b\n1,2\n", Options{Begin: func(int) error { began++; return nil }})
	if w.err == nil || began != 0 {
		t.Errorf("a list that cannot be read was begun: %+v", w)
	}
}

// A first line that only names a separator is passed over however it is written, and of two separators by which the
// headings are found the one that it names counts.
func TestALineThatNamesTheSeparator(t *testing.T) {
	desk := NewDesk(small(t), 0)
	const semicolons = "Serial;Fault;Site\nA1;power light dark;weir, east\nA2;power light lit;weir\n"
	for name, text := range map[string]string{
		"plain": "sep=;\n" + semicolons, "capitals": "SEP=;\r\n" + semicolons, "quoted": "\"sep=;\"\n" + semicolons, "with empty cells": "sep=;;;\n" + semicolons, "quoted with empty cells": "\"sep=;\";;\n" + semicolons,
		"a blank behind": "sep=; \n" + semicolons, "a mark before": "\xef\xbb\xbfsep=;\n" + semicolons,
		"it decides":  "sep=;\nSerial;Fault;Site, Customer serial\nA1;power light dark;weir, east\nA2;power light lit;weir, x\n",
		"it is wrong": "sep=,\n" + strings.ReplaceAll(semicolons, ",", ""), "it is no separator of ours": "sep=^\n" + semicolons,
		"tab": "sep=\t\n" + strings.ReplaceAll(semicolons, ";", "\t"),
	} {
		w := work(t, desk, text, Options{})
		if w.err != nil || len(w.rows) != 2 || len(w.rejects) != 0 || w.sum.Heading != 0 {
			t.Errorf("%s: %+v", name, w)
			continue
		}
		for _, r := range w.rows {
			if !strings.HasPrefix(r.Serial, "A") || len(r.Understood) == 0 {
				t.Errorf("%s: %+v", name, r)
			}
		}
	}
	// Nothing parts the heading of one column: then the separator that is named parts what stands below.
	for named, rejects := range map[string]int{"": 1, "sep=;\n": 0, "sep=^\n": 1} {
		w := work(t, desk, named+"Fault\npower light dark, since noon\npower light lit\n", Options{})
		if w.err != nil || len(w.rejects) != rejects {
			t.Errorf("%q above one column: %+v", named, w)
		}
	}
	for text, want := range map[string]rune{"sep=;": ';', "sep=": 0, "sep=;x": 0, "sep=a": 0, "sep=7": 0, "separator=;": 0, "Serial;sep=;": 0, "sep=|": '|', "\"sep=,\"": ','} {
		if got := namedSeparator(text); got != want {
			t.Errorf("%q names %q", text, got)
		}
	}
}

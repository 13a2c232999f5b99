package triage

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"

	"downdrop/rulebase"
	"downdrop/testdata/support"
)

func small(t *testing.T) *rulebase.Base {
	t.Helper()
	b, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestRolesAreReadAsTheyAreTyped(t *testing.T) {
	base := small(t)
	role := func(text string) string {
		heading, role, err := ReadRole(base, text)
		if err != nil {
			return "wrong: " + err.Error()
		}
		return heading + " is " + role
	}
	support.Says(t, [][2]string{
		{role("a=serial"), "a is serial"},
		{role(" Text 2 = complaint "), "Text 2 is complaint"},
		{role("a=b=place"), "a=b is place"},
		{role("a=unused"), "a is unused"},
		{role("a=power_light"), "a is power_light"},
		{role("=serial"), "wrong: say HEADING=ROLE, like \"Text 2=complaint\""},
		{role("a="), "wrong: say HEADING=ROLE, like \"Text 2=complaint\""},
		{role("serial"), "wrong: say HEADING=ROLE, like \"Text 2=complaint\""},
		{role("a=serail"), "wrong: \"serail\" is no role: serial, complaint, place, unused, or the id of a symptom or a given; did you mean \"serial\"?"},
		{role("a=power_ligt"), "wrong: \"power_ligt\" is no role: serial, complaint, place, unused, or the id of a symptom or a given; did you mean \"power_light\"?"},
		{role("a=xyzzy"), "wrong: \"xyzzy\" is no role: serial, complaint, place, unused, or the id of a symptom or a given"},
	})
}

func TestColumnsAreSaid(t *testing.T) {
	base := small(t)
	read := func(said map[string]string, names ...string) string {
		c, problems := readColumns(base, names, said)
		return strings.Join(c.roles, " ") + " | " + strings.Join(c.unused(), " ") + " | " + strings.Join(problems, " | ")
	}
	support.Says(t, [][2]string{
		{read(nil, "Serial number", "Complaint", "Colour", " "), "serial complaint unused unused | Colour | "},
		{read(nil, "Power-Light", "power light"), "power_light power_light |  | The columns \"Power-Light\" and \"power light\" are both taken for power_light; say which is not, with --column \"power light=unused\"."},
		{read(map[string]string{"Text": "complaint"}, "Text", "Complaint"), "complaint complaint |  | "},
		{read(map[string]string{"Txt": "complaint"}, "Text", "Complaint"), "unused complaint | Text | There is no heading \"Txt\" in the list; did you mean \"Text\"?"},
		{read(map[string]string{"weight": "complaint"}, "Text", "Complaint"), "unused complaint | Text | There is no heading \"weight\" in the list; it has Text, Complaint."},
		{read(nil, "Serial"), "serial |  | No column is known to hold the complaint: the headings are Serial. Say which one, with --column HEADING=complaint."},
		{sayFieldCount(1, 4), "This row has 1 cell for 4 headings."},
		{sayFieldCount(3, 1), "This row has 3 cells for 1 heading."},
		{sayDamage(LostZeros, "Serial", "12"), "Serial \"12\": shorter than the others, which begin with zeros; a spreadsheet may have lost them; ask for it as on the label"},
		{sayDamage(WhichComma, "Volts", "1,234"), "Volts \"1,234\": the comma may set off thousands or decimals; ask which"},
		{firstOf(strings.Repeat("x", mostRejectText)), strings.Repeat("x", mostRejectText)},
		{firstOf(strings.Repeat("x", mostRejectText+1)), strings.Repeat("x", mostRejectText) + " ..."},
		{joined("", "b"), "b"},
		{joined("a", "b"), "a; b"},
	})
}

// What was asked for lately is remembered, what was not is let go.
func TestMemoryKeepsWhatIsAskedFor(t *testing.T) {
	m := newMemory[int](2)
	for i, key := range []string{"a", "b", "c"} {
		m.put(key, i)
	}
	if x, ok := m.get("a"); !ok || x != 0 {
		t.Error("a is forgotten too early")
	}
	for i, key := range []string{"d", "e"} { // a is young again, so it outlives b
		m.put(key, i)
	}
	if _, ok := m.get("a"); !ok {
		t.Error("a was asked for, and is forgotten")
	}
	if _, ok := m.get("b"); ok {
		t.Error("b was not asked for, and is kept")
	}
}

// Rows are held in memory as far as was said, 4096 where nothing was said; beyond that they are
// laid down on the disk, and where that cannot be done the list is not half given.
func TestRowsThatCannotBeLaidDown(t *testing.T) {
	t.Setenv("TMPDIR", "/nowhere/at/all")
	desk := NewDesk(small(t), 0)
	const list = "serial,complaint\nA1,power light dark\nA2,power light lit\n"
	for hold, well := range map[int]bool{0: true, 3: true, 1: false} {
		n := 0
		_, err := desk.Run(context.Background(), func() (io.ReadCloser, error) { return io.NopCloser(strings.NewReader(list)), nil }, Options{Hold: hold},
			func(*Row) error { n++; return nil }, func(r Reject) error { return errors.New(r.Why) })
		if (err == nil) != well || well && n != 2 {
			t.Errorf("%d rows held: %d given, %v", hold, n, err)
		}
	}
}

// An error from whoever opens, reads, takes or is asked about a list comes back, wherever it is met.
func TestErrorsOfAListComeBack(t *testing.T) {
	desk := NewDesk(small(t), 0)
	broken := errors.New("broken")
	const list = "serial,complaint\nA1,power light dark\nA2,power light lit\n\"A3\n"
	spoilt := func(pass int) func() (io.ReadCloser, error) {
		return func() (io.ReadCloser, error) {
			if pass--; pass == 0 {
				return nil, broken
			}
			return io.NopCloser(strings.NewReader(list)), nil
		}
	}
	torn := func(pass, after int) func() (io.ReadCloser, error) {
		return func() (io.ReadCloser, error) {
			if pass--; pass == 0 {
				return io.NopCloser(io.MultiReader(strings.NewReader(list[:after]), brokenReader{broken})), nil
			}
			return io.NopCloser(strings.NewReader(list)), nil
		}
	}
	take := func(*Row) error { return nil }
	reject := func(Reject) error { return nil }
	run := func(open func() (io.ReadCloser, error), o Options, each func(*Row) error, reject func(Reject) error) error {
		_, err := desk.Run(context.Background(), open, o, each, reject)
		return err
	}
	for pass := 1; pass <= 7; pass++ { // the letters, the first rows by four separators, the survey, the rows
		if err := run(spoilt(pass), Options{}, take, reject); !errors.Is(err, broken) {
			t.Errorf("opening %d fails: %v", pass, err)
		}
		for _, after := range []int{0, 5, 25} {
			if err := run(torn(pass, after), Options{}, take, reject); !errors.Is(err, broken) {
				t.Errorf("reading %d fails after %d bytes: %v", pass, after, err)
			}
		}
	}
	whole := spoilt(-1)
	for hold := range 3 {
		if err := run(whole, Options{Hold: hold}, func(*Row) error { return broken }, reject); !errors.Is(err, broken) {
			t.Errorf("taking a row fails with %d held: %v", hold, err)
		}
	}
	if err := run(whole, Options{}, take, func(Reject) error { return broken }); !errors.Is(err, broken) {
		t.Errorf("taking a rejected row fails: %v", err)
	}
	if err := run(whole, Options{Before: func(context.Context, string) ([]string, error) { return nil, broken }}, take, reject); !errors.Is(err, broken) {
		t.Errorf("asking what is remembered fails: %v", err)
	}
	stopped, stop := context.WithCancelCause(context.Background())
	stop(broken)
	if _, err := desk.Run(stopped, whole, Options{}, take, reject); !errors.Is(err, broken) {
		t.Errorf("a run that was stopped: %v", err)
	}
}

type brokenReader struct{ err error }

func (b brokenReader) Read([]byte) (int, error) { return 0, b.err }

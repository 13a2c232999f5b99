package cases_test

import (
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"downdrop/cases"
)

// handed is a case of n notes whose chain has events of other cases in between.
func handed(t *testing.T, n int) *cases.Case {
	t.Helper()
	var w writer
	w.write(t, draft(cases.KindOpened, cases.Opening{Location: "Tide mill", Complaint: "unit silent"}))
	r := rand.New(rand.NewPCG(7, 7))
	for i := range n {
		if i%3 == 0 { // another case's event
			w.head = cases.Head{Seq: w.head.Seq + 1, Hash: fmt.Sprintf("%064x", r.Uint64())}
		}
		w.write(t, draft(cases.KindNote, cases.Note{Text: fmt.Sprintf("reading %x at %d", r.Uint64(), i)}))
	}
	return cases.Fold(w.events)
}

func TestHandOverReadsBackWhole(t *testing.T) {
	for _, n := range []int{0, 1, 20, 300} {
		c := handed(t, n)
		parts, _, err := cases.HandOverText(c, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range parts {
			if len(p) > cases.PartLength {
				t.Errorf("a part of %d letters", len(p))
			}
		}
		t.Logf("%d events: %d parts, %d letters", n+1, len(parts), len(strings.Join(parts, "")))
		if n == 20 && len(parts) > 1 {
			t.Errorf("twenty events do not go into one code")
		}
		for name, text := range map[string]string{
			"as it is":    strings.Join(parts, "\n"),
			"small":       strings.ToLower(strings.Join(parts, "\n")),
			"backwards":   backwards(parts),
			"in a letter": "Hello,\nhere is the case:\n\n" + wrapped(parts, "") + "\n\nBye, and mind the dog.\n",
			"quoted":      wrapped(parts, "> "),
			"twice":       strings.Join(parts, "\n") + "\n\n" + strings.Join(parts, "\r\n"),
		} {
			events, _, err := cases.ReadHandOver(text)
			if err != nil {
				t.Errorf("%d events, %s: %v", n+1, name, err)
				continue
			}
			if d := cmp.Diff(c.Events, events); d != "" {
				t.Errorf("%d events, %s: other events:\n%s", n+1, name, d)
			}
		}
	}
}

func backwards(parts []string) string {
	var b strings.Builder
	for i := range parts {
		b.WriteString(parts[len(parts)-1-i] + "\n\nand\n\n")
	}
	return b.String()
}

func wrapped(parts []string, before string) string {
	var b strings.Builder
	for _, p := range parts {
		for i := 0; i < len(p); i += 76 {
			b.WriteString(before + p[i:min(i+76, len(p))] + "\r\n")
		}
	}
	return b.String()
}

func TestHandOverThatWasSpoilt(t *testing.T) {
	parts, _, err := cases.HandOverText(handed(t, 300), nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(parts) < 3 {
		t.Fatal("too few parts for this test")
	}
	other, _, _ := cases.HandOverText(handed(t, 2), nil, 0)
	for name, text := range map[string]string{
		"nothing":      "",
		"a letter":     "dear all",
		"one lacking":  parts[0] + "\n" + parts[2],
		"two mixed":    parts[0] + "\n" + other[0],
		"cut":          strings.Join(parts, "\n")[:len(strings.Join(parts, "\n"))-3],
		"part 9 of 2":  strings.Replace(other[0], "/1/1/", "/9/2/", 1),
		"a head alone": "DOWNDROP1/1/1/AAAAAAAAAAAAAAAA/",
	} {
		if _, _, err := cases.ReadHandOver(text); err == nil {
			t.Errorf("%s was read", name)
		} else {
			t.Logf("%-12s %v", name, err)
		}
	}
	for i := range len(other[0]) { // every letter of a small one, another letter in its place
		swap := map[bool]string{true: "A", false: "B"}[other[0][i] != 'A']
		text := other[0][:i] + swap + other[0][i+1:]
		if events, _, err := cases.ReadHandOver(text); err == nil {
			t.Errorf("letter %d changed: %d events were read", i, len(events))
		}
	}
}

func FuzzHandOver(f *testing.F) {
	f.Add("DOWNDROP1/1/1/AAAAAAAAAAAAAAAA/AAAA")
	f.Add("dear all, DOWNDROP1/1/2/ABCDEFGHIJKLMNOP/MZXW6YTB\n> MZXW6")
	f.Fuzz(func(t *testing.T, text string) {
		events, _, err := cases.ReadHandOver(text)
		if err == nil && len(events) > 0 {
			if _, _, err := cases.HandOverText(cases.Fold(events), nil, 0); err != nil {
				t.Error(err)
			}
		}
	})
}

// A case's own sheet goes with it where it costs no more parts than are allowed, and comes out byte for byte; a
// text that the case does not name does not, whoever puts it in.
func TestHandOverCarriesASmallSheet(t *testing.T) {
	sheet := []byte("sheet: Tide mill\ndrops: []\n")
	var w writer
	w.write(t, draft(cases.KindOpened, cases.Opening{Location: "Tide mill"}))
	w.write(t, draft(cases.KindSituation, cases.Circumstances{SheetFile: fmt.Sprintf("%x", sha256.Sum256(sheet))}))
	c := cases.Fold(w.events)
	parts, carried, err := cases.HandOverText(c, sheet, cases.SheetParts)
	if err != nil || !carried || len(parts) != 1 {
		t.Fatalf("%d parts, carried %v, %v", len(parts), carried, err)
	}
	events, got, err := cases.ReadHandOver(strings.Join(parts, "\n"))
	if err != nil || string(got) != string(sheet) || len(events) != 2 {
		t.Errorf("read are %d events and %q, %v", len(events), got, err)
	}
	if _, carried, err := cases.HandOverText(c, []byte("sheet: Another\n"), 9); carried || err != nil {
		t.Errorf("another's sheet is carried: %v", err)
	}
	r := rand.New(rand.NewPCG(8, 8))
	var long []byte
	for len(long) < 16<<10 {
		long = fmt.Appendf(long, "# %016x\n", r.Uint64())
	}
	w.write(t, draft(cases.KindSituation, cases.Circumstances{SheetFile: fmt.Sprintf("%x", sha256.Sum256(long))}))
	c = cases.Fold(w.events)
	plain, _, err := cases.HandOverText(c, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	if parts, carried, err := cases.HandOverText(c, long, cases.SheetParts); carried || err != nil || strings.Join(parts, "") != strings.Join(plain, "") {
		t.Errorf("a long sheet is carried in %d parts, %v", len(parts), err)
	}
	if parts, carried, err := cases.HandOverText(c, long, 99); !carried || err != nil || len(parts) < 2 {
		t.Errorf("with room for it: %d parts, carried %v, %v", len(parts), carried, err)
	}
}

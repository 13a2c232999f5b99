package cases_test

import (
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
		parts, err := cases.HandOverText(c)
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
			events, err := cases.ReadHandOver(text)
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
	parts, err := cases.HandOverText(handed(t, 300))
	if err != nil {
		t.Fatal(err)
	}
	if len(parts) < 3 {
		t.Fatal("too few parts for this test")
	}
	other, _ := cases.HandOverText(handed(t, 2))
	for name, text := range map[string]string{
		"nothing":      "",
		"a letter":     "dear all",
		"one lacking":  parts[0] + "\n" + parts[2],
		"two mixed":    parts[0] + "\n" + other[0],
		"cut":          strings.Join(parts, "\n")[:len(strings.Join(parts, "\n"))-3],
		"part 9 of 2":  strings.Replace(other[0], "/1/1/", "/9/2/", 1),
		"a head alone": "DOWNDROP1/1/1/AAAAAAAAAAAAAAAA/",
	} {
		if _, err := cases.ReadHandOver(text); err == nil {
			t.Errorf("%s was read", name)
		} else {
			t.Logf("%-12s %v", name, err)
		}
	}
	for i := range len(other[0]) { // every letter of a small one, another letter in its place
		swap := map[bool]string{true: "A", false: "B"}[other[0][i] != 'A']
		text := other[0][:i] + swap + other[0][i+1:]
		if events, err := cases.ReadHandOver(text); err == nil {
			t.Errorf("letter %d changed: %d events were read", i, len(events))
		}
	}
}

func FuzzHandOver(f *testing.F) {
	f.Add("DOWNDROP1/1/1/AAAAAAAAAAAAAAAA/AAAA")
	f.Add("dear all, DOWNDROP1/1/2/ABCDEFGHIJKLMNOP/MZXW6YTB\n> MZXW6")
	f.Fuzz(func(t *testing.T, text string) {
		events, err := cases.ReadHandOver(text)
		if err == nil && len(events) > 0 {
			if _, err := cases.HandOverText(cases.Fold(events)); err != nil {
				t.Error(err)
			}
		}
	})
}

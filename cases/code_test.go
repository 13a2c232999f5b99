package cases_test

import (
	"math/rand/v2"
	"strings"
	"testing"

	"downdrop/cases"
)

func TestCodesShowMistakes(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	const letters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	missed := 0
	for range 300 {
		code := cases.NewCode(r.Uint64())
		if back, ok := cases.ReadCode(" " + strings.ToLower(code[:3]) + "-" + code[3:]); !ok || back != code {
			t.Fatalf("%q read back as %q, %v", code, back, ok)
		}
		for i := range code {
			for _, l := range letters {
				wrong := code[:i] + string(l) + code[i+1:]
				if _, ok := cases.ReadCode(wrong); ok && wrong != code {
					t.Errorf("%s for %s fits its check", wrong, code)
				}
			}
			if i > 0 && code[i] != code[i-1] {
				wrong := code[:i-1] + code[i:i+1] + code[i-1:i] + code[i+1:]
				if _, ok := cases.ReadCode(wrong); ok {
					missed++ // Luhn's sum misses the swap of the first and the last letter of the alphabet only
					if code[i-1:i+1] != "0Z" && code[i-1:i+1] != "Z0" {
						t.Errorf("%s for %s fits its check", wrong, code)
					}
				}
			}
		}
	}
	t.Logf("swapped neighbours that pass: %d", missed)
	for _, bad := range []string{"", "K7Q4", "K7Q4M2X", "K7U4MM", "æøåæøå"} {
		if _, ok := cases.ReadCode(bad); ok {
			t.Errorf("%q is no code", bad)
		}
	}
	if a, _ := cases.ReadCode("o1l-abc"); a != "011ABC" {
		t.Errorf("look-alikes: %q", a)
	}
}

// A case from elsewhere brings a code along that stands in links, names of files and commands
// to be typed; what is none is not taken.
func TestACodeThatIsNoneIsNotTaken(t *testing.T) {
	for code, want := range map[string]string{"011ABC": "011ABC", "Z": "Z", "": "", "0111ABC": "", "011abc": "", "../ABC": "", `\ABC`: "", "A B": "", "A;B": "", "ÄB": ""} {
		w := &writer{}
		w.write(t, draft(cases.KindOpened, cases.Opening{Code: code, Location: "yard"}))
		if c := cases.Fold(w.events); c.Code != want || c.Opening.Code != want || c.Opening.Location != "yard" {
			t.Errorf("%q: taken as %q and %q", code, c.Code, c.Opening.Code)
		}
	}
}

package cases_test

import (
	"bytes"
	"compress/flate"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"os"
	"strings"
	"testing"

	"downdrop/cases"
	"downdrop/cases/storetest"
)

// packedParts writes a text as a hand-over of one part, as HandOverText would pack it: what is
// fuzzed is then what stands behind the check, which drawn letters never get past.
func packedParts(z *flate.Writer, plain []byte) string {
	var packed bytes.Buffer
	z.Reset(&packed)
	_, _ = z.Write(plain) // a buffer takes everything
	_ = z.Close()
	letters := base32.StdEncoding.WithPadding(base32.NoPadding)
	sum := sha256.Sum256(packed.Bytes())
	return fmt.Sprintf("DOWNDROP1/1/1/%s/%s", letters.EncodeToString(sum[:10]), letters.EncodeToString(packed.Bytes()))
}

// Whatever a hand-over holds that fits its check, it is refused as spoilt or read; what was read
// becomes a case, and is handed over as it came.
func FuzzHandedOver(f *testing.F) {
	f.Add([]byte(`{"case":"c1","words":["","home"],"events":[{"i":"e1","k":"opened","t":1900000000000000,"s":1,"n":1,"o":1,"h":"","b":{"code":"K7Q4M2","drop":5}},{"i":"e2","k":"note","t":1900000000000001,"s":1,"n":2,"o":2,"b":{"text":"x"}}]}`))
	f.Add([]byte(`{"case":"c1","words":[""],"events":[{"i":"e1","k":"finding","t":-9223372036854775808,"z":-99999,"s":7,"n":-1,"o":9223372036854775807,"c":"e1","b":{"symptom":"power_light","value":{"word":"dark"}}}]}`))
	z, err := flate.NewWriter(nil, flate.HuffmanOnly)
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, plain []byte) {
		events, _, err := cases.ReadHandOver(packedParts(z, plain))
		if err != nil {
			if !errors.Is(err, cases.ErrSpoilt) {
				t.Fatalf("not refused as spoilt: %v", err)
			}
			return
		}
		if len(events) == 0 {
			return
		}
		c := cases.Fold(events)
		c.SearchText()
		parts, _, err := cases.HandOverText(c, nil, 0)
		if err != nil {
			t.Fatalf("what was read is not handed over: %v", err)
		}
		again, _, err := cases.ReadHandOver(strings.Join(parts, "\n\n"))
		if err != nil || len(again) != len(c.Events) {
			t.Fatalf("of %d events %d came back: %v", len(c.Events), len(again), err)
		}
	})
}

// mendedExport seals the events of an export anew and reckons its checksum, so that what is
// fuzzed is what the events say. A text that is no export stays as it is.
func mendedExport(text []byte) []byte {
	var manifest struct{ Manifest cases.Manifest }
	lines := bytes.Split(bytes.TrimSuffix(text, []byte("\n")), []byte("\n"))
	if len(lines) > 200 || json.Unmarshal(lines[0], &manifest) != nil {
		return text
	}
	m := manifest.Manifest
	m.Events, m.Files, m.Names, m.Heads = 0, 0, 0, map[string]cases.Head{}
	var rest bytes.Buffer
	for _, line := range lines[1:] {
		var l struct {
			Event *cases.Event
			File  *json.RawMessage
			Name  *json.RawMessage
			End   *json.RawMessage
		}
		switch {
		case json.Unmarshal(line, &l) != nil:
		case l.End != nil:
			continue
		case l.File != nil:
			m.Files++
		case l.Name != nil:
			m.Names++
		case l.Event != nil:
			e, err := cases.Seal(l.Event.Draft, l.Event.Site, m.Heads[l.Event.Site], l.Event.Order)
			if err != nil {
				break
			}
			m.Events++
			m.Heads[e.Site] = cases.Head{Seq: e.Seq, Hash: e.Hash}
			if sealed, err := json.Marshal(map[string]any{"event": e}); err == nil {
				line = sealed
			}
		}
		rest.Write(line)
		rest.WriteByte('\n')
	}
	head, err := json.Marshal(map[string]any{"manifest": m})
	if err != nil {
		return text
	}
	whole := append(append(head, '\n'), rest.Bytes()...)
	sum := sha256.Sum256(whole)
	return fmt.Appendf(whole, "{\"end\":{\"lines\":%d,\"sha256\":%q}}\n", bytes.Count(whole, []byte("\n")), hex.EncodeToString(sum[:]))
}

// Whatever an export holds, it is taken in whole or not at all; what was taken in can be looked at,
// is whole by the store's own word, and goes into another store as the same bytes.
func FuzzImport(f *testing.F) {
	m := storetest.NewModel("mill")
	if _, err := m.Import(f.Context(), storetest.Invented("mill", 1, 1)); err != nil {
		f.Fatal(err)
	}
	var text bytes.Buffer
	if _, err := cases.Export(f.Context(), m, &text, cases.ExportOptions{}); err != nil {
		f.Fatal(err)
	}
	f.Add(text.Bytes())
	closed, err := os.ReadFile("examples/closed/closed.jsonl")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(append(bytes.Join(bytes.SplitN(closed, []byte("\n"), 13)[:12], []byte("\n")), '\n'))
	f.Add([]byte(`{"manifest":{"schema":"downdrop.cases/1","site":"mill","whole":true,"events":0,"files":0,"names":0,"heads":{}}}` + "\n" + `{"file":{"digest":"x","content":"eA=="}}` + "\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, text := range [][]byte{text, mendedExport(text)} {
			s := storetest.NewModel("here")
			_, err := cases.ImportFrom(t.Context(), s, bytes.NewReader(text), true)
			if err != nil {
				for e := range s.All(t.Context()) {
					t.Fatalf("%s was kept of what was refused: %v", e.ID, err)
				}
				continue
			}
			looked(t, s)
			taken := storetest.Exported(t, s)
			if again, err := cases.ImportFrom(t.Context(), s, bytes.NewReader(text), true); err != nil || again.Added != 0 {
				t.Fatalf("twice: %d events more, %v", again.Added, err)
			}
			other := storetest.NewModel("here")
			if _, err := cases.ImportFrom(t.Context(), other, strings.NewReader(taken), true); err != nil {
				t.Fatalf("what was taken in is not taken in elsewhere: %v\n%s", err, taken)
			}
			if got := storetest.Exported(t, other); got != taken {
				t.Fatalf("it became something else on its way:\n%s\n%s", taken, got)
			}
			if _, err := cases.ExportedCases(strings.NewReader(taken)); err != nil {
				t.Fatal(err)
			}
		}
	})
}

// looked goes over all that a store can be asked.
func looked(t *testing.T, s *storetest.Model) {
	t.Helper()
	v, err := s.Verify(t.Context())
	if err != nil || len(v.Damage) > 0 {
		t.Fatalf("what was taken in is not whole: %v %v", err, v.Damage)
	}
	found, err := s.Find(t.Context(), cases.Query{Limit: 100})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range found {
		c, err := s.Case(t.Context(), f.ID)
		if err != nil {
			t.Fatal(err)
		}
		c.SearchText()
		c.Attached()
		if _, err := cases.LookBack(t.Context(), s, c); err != nil {
			t.Fatal(err)
		}
	}
	if err := cases.Units(t.Context(), s, func(*cases.Card) error { return nil }); err != nil {
		t.Fatal(err)
	}
}

// What is read as money is written as it was read, and adds up.
func FuzzMoney(f *testing.F) {
	for _, text := range []string{"1250.00 EUR", "-0.5USD", "1,250.00 EUR", "000000000000000000001 JPY", "9e9 EUR", "1/3 EUR", "123456789012345.1234 XXX", "-0 EUR"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		m, err := cases.ReadMoney("parts", text)
		if err != nil {
			if err.Error() == "" {
				t.Fatal("nothing was said")
			}
			return
		}
		again, err := cases.ReadMoney("parts", m.Amount+" "+m.Currency)
		if err != nil || again != m {
			t.Fatalf("%q is %+v, and that %+v: %v", text, m, again, err)
		}
		if sums := cases.MoneySums([]cases.Money{m, m}); len(sums) != 1 || sums[0].Currency != m.Currency {
			t.Fatalf("twice %+v is %+v", m, sums)
		}
	})
}

// What is read as a short code is one of ours, and reads as itself.
func FuzzCode(f *testing.F) {
	for _, text := range []string{"K7Q4M2", "k7q-4m 2", "OIL000", "ﬀ0000", "ſ7q4m2", "......K7Q4M2", "\u212a7Q4M2"} {
		f.Add(text, uint64(len(text)))
	}
	f.Fuzz(func(t *testing.T, text string, random uint64) {
		if code, ok := cases.ReadCode(text); ok {
			if again, ok := cases.ReadCode(code); !ok || again != code || len(code) != cases.CodeLength {
				t.Fatalf("%q is %q, and that %q", text, code, again)
			}
		}
		code := cases.NewCode(random)
		if again, ok := cases.ReadCode(strings.ToLower(code)); !ok || again != code {
			t.Fatalf("%q is read as %q", code, again)
		}
	})
}

// A file is refused or made clean, and what was made clean is clean.
func FuzzFile(f *testing.F) {
	small := image.NewRGBA(image.Rect(0, 0, 3, 2))
	var asPNG, asJPEG bytes.Buffer
	if err := errors.Join(png.Encode(&asPNG, small), jpeg.Encode(&asJPEG, small, nil)); err != nil {
		f.Fatal(err)
	}
	f.Add(asPNG.Bytes())
	f.Add(asJPEG.Bytes())
	// A camera's note on which way is up, behind the mark of the beginning.
	note := "\xff\xe1\x00\x22Exif\x00\x00MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06\x00\x00\x00\x00\x00\x00"
	f.Add(append([]byte("\xff\xd8"+note), asJPEG.Bytes()[2:]...))
	f.Add([]byte("%PDF-1.4\n"))
	f.Add([]byte("a note\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		// A picture of millions of pixels is allowed and takes its time: not what is looked for here.
		if size, _, err := image.DecodeConfig(bytes.NewReader(content)); err == nil && size.Width*size.Height > 1<<16 {
			return
		}
		clean, media, err := cases.CleanFile(content)
		if err != nil {
			return
		}
		if _, other, err := cases.CleanFile(clean); err != nil || other != media {
			t.Fatalf("%s made clean is %s: %v", media, other, err)
		}
		if media == "image/png" && bytes.Contains(clean, []byte("tEXt")) || bytes.Contains(clean, []byte("Exif\x00")) && media == "image/jpeg" {
			t.Fatalf("what a camera noted is still in it: %q", clean)
		}
	})
}

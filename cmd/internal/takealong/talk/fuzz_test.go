package talk

import (
	"encoding/json"
	"strings"
	"sync"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/rulebase"
)

// smallPacked is a small rulebase as a file holds it.
var smallPacked = sync.OnceValue(func() string {
	base, err := rulebase.LoadFolder("../../../downdrop/testdata/small")
	if err != nil {
		panic(err)
	}
	text, err := base.Pack()
	if err != nil {
		panic(err)
	}
	return string(text)
})

// Whatever the page's script sends, an answer of our schema comes back, and what was taken in stays
// a case that can be handed over.
func FuzzRequest(f *testing.F) {
	text := handed(f, atDrop)
	for _, requests := range []string{
		`{"do":"show"}`, `{"do":"answer","form":"f1","text":"power light lit, 5 m down\u0000"}` + "\n" + `{"do":"undo","form":"f2"}`,
		`{"do":"answer","form":"f1","text":"24.1","reads":"volts_at_drop","unit":"V","sure":"no"}` + "\n" + `{"do":"show","explain":"why"}`,
		`{"do":"agree","form":"f3","Off":"x","Back":"y","Else":"z"}` + "\n" + `{"do":"text"}`, `{"do":"hearing","text":"all lights dark since the storm"}`,
		`{"do":"merge","form":"f4","text":"DOWNDROP1/1/1/AAAAAAAAAAAAAAAA/AA"}`, `[]`, `{"do":"answer","form":"f5","about":{"kind":"opening"},"chosen":true,"text":"don't know"}`, "{\"do\":\"answer\",\"form\":\"f6\",\"text\":\"undo\xff\"}",
	} {
		f.Add(requests)
	}
	f.Fuzz(func(t *testing.T, requests string) {
		c, err := Open(Opening{Base: smallPacked(), Case: text, Site: "phone-1", Program: "test"}, func() time.Time { return clock })
		if err != nil {
			t.Fatal(err)
		}
		for _, request := range strings.SplitN(requests, "\n", 6) {
			var reply Reply
			if err := json.Unmarshal([]byte(c.Do(request)), &reply); err != nil || reply.Schema != Schema {
				t.Fatalf("%q is answered by what is no answer: %v", request, err)
			}
		}
		var reply Reply
		if err := json.Unmarshal([]byte(c.Do(`{"do":"text"}`)), &reply); err != nil || reply.Error != "" {
			t.Fatalf("%v, %q", err, reply.Error)
		}
		if _, _, err := cases.ReadHandOver(strings.Join(reply.Parts, "\n\n")); err != nil {
			t.Fatalf("what is handed over is not read: %v", err)
		}
	})
}

package conversation_test

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"testing/fstest"

	"downdrop/cmd/internal/conversation"
	"downdrop/engine"
	"downdrop/rulebase"
)

// small is the rulebase of these tests, and a talk over it through the engine's door.
var small = sync.OnceValues(func() (*rulebase.Base, error) { return rulebase.LoadFolder("testdata/rulebase") })

func smallTalk(t testing.TB) (*rulebase.Base, *conversation.Talk) {
	t.Helper()
	base, err := small()
	if err != nil {
		t.Fatal(err)
	}
	return base, talkOver(base)
}

func talkOver(base *rulebase.Base) *conversation.Talk {
	p := engine.Prepare(base)
	return conversation.New(base, func(ctx context.Context, s rulebase.Situation, o engine.Options) (*engine.Diagnosis, error) {
		about, err := json.Marshal(s)
		if err != nil { // a number that is none
			return engine.Diagnose(ctx, p, s, o)
		}
		key := fmt.Sprintf("%p %s %+v", base, about, o)
		if known, ok := diagnosed.Load(key); ok {
			return known.(*engine.Diagnosis), nil
		}
		d, err := engine.Diagnose(ctx, p, s, o)
		if err == nil {
			diagnosed.Store(key, d)
		}
		return d, err
	})
}

// diagnosed are the diagnoses that were made: two of three talks come by the same ones, and a diagnosis is
// only ever read.
var diagnosed sync.Map

// changed is a talk over the tests' rulebase with some of its text replaced.
func changed(t *testing.T, oldNew ...string) *conversation.Talk {
	t.Helper()
	file, err := os.ReadFile("testdata/rulebase/small.yaml")
	if err != nil {
		t.Fatal(err)
	}
	text := string(file)
	for i := 0; i < len(oldNew); i += 2 {
		if !strings.Contains(text, oldNew[i]) {
			t.Fatalf("the rulebase has no %q", oldNew[i])
		}
		text = strings.ReplaceAll(text, oldNew[i], oldNew[i+1])
	}
	base, err := rulebase.Load(rulebase.Layer{Name: "changed", FS: fstest.MapFS{"small.yaml": {Data: []byte(text)}}})
	if err != nil {
		t.Fatal(err)
	}
	return talkOver(base)
}

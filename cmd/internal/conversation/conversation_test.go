package conversation_test

import (
	"context"
	"sync"
	"testing"

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
		return engine.Diagnose(ctx, p, s, o)
	})
}

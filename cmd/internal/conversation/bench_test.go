package conversation_test

import (
	"context"
	"testing"
	"time"

	"downdrop/engine"
	"downdrop/rulebase"
)

// BenchmarkStep is one entry on the shipped rulebase, beside the diagnosis it cannot
// do without: what listening, echoing and asking add to it.
func BenchmarkStep(b *testing.B) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		b.Fatal(err)
	}
	talk := talkOver(base)
	start, _ := talk.Begin(rulebase.Situation{})
	start, _ = talk.Step(context.Background(), start, "technician at the drop, not alone, it does not work")
	const entry = "the operator says the power light is dark, run light off, 23.8 V at the drop, I think; 1-4 good, 5 dead"
	next, _ := talk.Step(context.Background(), start, entry)
	prepared := engine.Prepare(base)
	floor := time.Duration(0)
	b.ReportAllocs()
	for b.Loop() {
		begun := time.Now()
		if _, err := engine.Diagnose(context.Background(), prepared, next.Situation, engine.Options{Weights: true}); err != nil {
			b.Fatal(err)
		}
		floor += time.Since(begun)
		talk.Step(context.Background(), start, entry)
	}
	b.ReportMetric(float64(b.Elapsed()-floor)/float64(floor), "times-the-diagnosis")
}

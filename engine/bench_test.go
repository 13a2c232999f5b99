package engine_test

import (
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
)

func shippedCase(b *testing.B) (*rulebase.Base, rulebase.Situation) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		b.Fatal(err)
	}
	s := rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}
	for _, see := range []string{"power_light=lit", "run_light=dark", "traffic_light=dark"} {
		f, err := base.ReadSee(see)
		if err != nil {
			b.Fatal(err)
		}
		s.Findings = append(s.Findings, f)
	}
	return base, s
}

// BenchmarkFirstDiagnosis prepares the shipped rulebase and diagnoses once, as a
// fresh process does; BenchmarkDiagnosis diagnoses again, as a conversation does.
func BenchmarkFirstDiagnosis(b *testing.B) {
	base, s := shippedCase(b)
	b.ReportAllocs()
	for b.Loop() {
		diagnose(b, engine.Prepare(base), s, engine.Options{})
	}
}

func BenchmarkDiagnosis(b *testing.B) {
	base, s := shippedCase(b)
	p := engine.Prepare(base)
	b.ReportAllocs()
	for b.Loop() {
		diagnose(b, p, s, engine.Options{})
	}
}

func BenchmarkLoadShipped(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := rulebase.LoadShipped(); err != nil {
			b.Fatal(err)
		}
	}
}

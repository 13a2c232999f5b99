package sheet_test

import (
	"os"
	"testing"

	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

func read(t *testing.T, file string) *rulebase.Sheet {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	s, err := rulebase.ReadSheet(file, text, sheet.Kinds())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestExample(t *testing.T) {
	for _, r := range sheet.Check(read(t, "../../cases/examples/sheets/tide_mill.yaml")) {
		t.Logf("%-9s %-24s %-20s %s | %s [%s]", r.Verdict, r.Rule, r.Where, r.Says, r.Do, r.Source)
	}
}

package takealong

import (
	"testing"

	"downdrop/cases"
	"downdrop/rulebase"
)

func example(t *testing.T) (*rulebase.Base, *cases.Case) {
	t.Helper()
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	return base, nil
}

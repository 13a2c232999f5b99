package rulebase_test

import (
	"fmt"
	"strings"
	"testing"
	"testing/fstest"

	"downdrop/rulebase"
)

// More causes than can be numbered are refused with their place: they would be taken for one
// another.
func TestMoreCausesThanCanBeNumbered(t *testing.T) {
	files := fstest.MapFS{"rulebase.yaml": {Data: []byte("rulebase: {name: many, version: 1}\n")}}
	for n, file := 0, 0; n <= rulebase.MostCauses; file++ {
		var text strings.Builder
		text.WriteString("causes:\n")
		for last := min(n+20_000, rulebase.MostCauses+1); n < last; n++ {
			fmt.Fprintf(&text, "  c%d: {}\n", n)
		}
		files[fmt.Sprintf("causes_%d.yaml", file)] = &fstest.MapFile{Data: []byte(text.String())}
	}
	_, err := rulebase.Load(rulebase.Layer{Name: "many", FS: files})
	if want := "many/causes_3.yaml:5538:3: there are more than 65536 causes"; err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("said is %.300v, wanted is %s", err, want)
	}
}

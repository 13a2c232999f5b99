package page

import (
	"testing"

	"downdrop/cases"
)

// A file of a case is named by a code of ours, and by nothing else that another site may have put there.
func TestFilesAreNamedByCodes(t *testing.T) {
	code := cases.NewCode(20261126)
	for is, want := range map[string]string{code: code + ".html", "": "case.html", code + "\r\nX: y": "case.html", "../" + code: "case.html", `a"; filename="b`: "case.html"} {
		if got := fileOf(&cases.Case{Code: is}, ".html"); got != want {
			t.Errorf("of %q the file is %q", is, got)
		}
	}
}

package report_test

import (
	"bytes"
	"errors"
	"os"
	"testing"

	"downdrop/cmd/internal/report"
)

// Whatever a file holds, it is a bench record, or none; what is read of it is written again in both
// forms, and those say the same.
func FuzzRecord(f *testing.F) {
	page, err := os.ReadFile("testdata/record.html")
	if err != nil {
		f.Fatal(err)
	}
	_, rest, _ := bytes.Cut(page, []byte(`id="record">`))
	content, _, _ := bytes.Cut(rest, []byte("</script>"))
	begin := []byte(`<script type="application/json" id="record">`)
	f.Add(bytes.Join([][]byte{begin, content, []byte("</script>")}, nil))
	f.Add([]byte("%PDF-1.3 <downdrop:record>7b7d</downdrop:record>"))
	f.Add(bytes.Join([][]byte{begin, []byte(`{"schema":"downdrop.record/1"}`), []byte("</script>")}, nil))
	f.Fuzz(func(t *testing.T, file []byte) {
		r, err := report.ReadRecord(file)
		if err != nil {
			if !errors.Is(err, report.ErrNoRecord) {
				t.Fatalf("an error of another kind: %v", err)
			}
			return
		}
		var html, pdf bytes.Buffer
		if err := errors.Join(r.HTML(&html), r.PDF(&pdf)); err != nil {
			t.Fatalf("what was read is not written: %v", err)
		}
		for _, form := range [][]byte{html.Bytes(), pdf.Bytes()} {
			back, err := report.ReadRecord(form)
			if err != nil || back.Digest != r.Digest {
				t.Fatalf("read back it is another one: %v", err)
			}
		}
	})
}

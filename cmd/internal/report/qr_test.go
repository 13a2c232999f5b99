package report_test

import (
	"bytes"
	"fmt"
	"image/png"
	"regexp"
	"strings"
	"testing"

	"downdrop/cmd/internal/report"
)

// The code as an outline and as a picture is dark where the code is, a border away from its corner, and nowhere else.
func TestCodeIsDrawnWhole(t *testing.T) {
	q, err := report.QR("an invented case, 40 letters long or more than that")
	if err != nil {
		t.Fatal(err)
	}
	const border, pixels = 4, 3
	side := q.Size() + 2*border
	outline := make([]bool, side*side)
	path := q.Path(border)
	run := regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1h-(\d+)z`)
	for _, m := range run.FindAllStringSubmatch(path, -1) {
		x, y, n := int(number(t, m[1])), int(number(t, m[2])), int(number(t, m[3]))
		if m[3] != m[4] {
			t.Errorf("%s does not close", m[0])
		}
		for i := range n {
			outline[y*side+x+i] = true
		}
	}
	if rest := run.ReplaceAllString(path, ""); rest != "" {
		t.Errorf("the outline has %q too", rest)
	}
	var buf bytes.Buffer
	if err := q.PNG(&buf, pixels); err != nil {
		t.Fatal(err)
	}
	picture, err := png.Decode(&buf)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := picture.Bounds().Dx(), side*pixels; got != want {
		t.Fatalf("the picture is %d pixels wide, not %d", got, want)
	}
	var wrong []string
	for y := range side * pixels {
		for x := range side * pixels {
			at := [2]int{x/pixels - border, y/pixels - border}
			dark := at[0] >= 0 && at[1] >= 0 && at[0] < q.Size() && at[1] < q.Size() && q.Dark(at[0], at[1])
			r, _, _, _ := picture.At(x, y).RGBA()
			if dark != (r == 0) || dark != outline[y/pixels*side+x/pixels] {
				wrong = append(wrong, fmt.Sprint(at))
			}
		}
	}
	if len(wrong) > 0 {
		t.Errorf("%d pixels are wrong, of the modules %.200s", len(wrong), strings.Join(wrong, " "))
	}
}

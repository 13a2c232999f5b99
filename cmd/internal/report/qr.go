package report

import (
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"strings"

	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/qr"
)

// A QRCode is a text as a code for cameras.
type QRCode struct{ code barcode.Barcode }

// QR makes the code of a text, with the least check that screens and clean prints
// need. Capital letters, digits and few signs take least room.
func QR(text string) (QRCode, error) {
	code, err := qr.Encode(text, qr.L, qr.Auto)
	if err != nil {
		return QRCode{}, fmt.Errorf("make a QR code of %d letters: %w", len(text), err)
	}
	return QRCode{code}, nil
}

// Size is how many modules the code has on a side, without its quiet border of four.
func (q QRCode) Size() int { return q.code.Bounds().Dx() }

// Dark says whether a module is dark.
func (q QRCode) Dark(x, y int) bool { return q.code.At(x, y) == color.Black }

// Runs goes over the dark modules, row by row, those of a row that touch as one: where they
// begin, and how many they are.
func (q QRCode) Runs(yield func(x, y, n int)) {
	for y := range q.Size() {
		for x := 0; x < q.Size(); x++ {
			n := 0
			for x+n < q.Size() && q.Dark(x+n, y) {
				n++
			}
			if n > 0 {
				yield(x, y, n)
				x += n
			}
		}
	}
}

// Path is the outline of the dark modules for a drawing in SVG, a border away from its corner.
func (q QRCode) Path(border int) string {
	var path strings.Builder
	q.Runs(func(x, y, n int) { fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", x+border, y+border, n, n) })
	return path.String()
}

// PNG writes the code as a picture, pixels of one module on a side at a time, with
// its quiet border.
func (q QRCode) PNG(w io.Writer, pixels int) error {
	const border = 4
	side := (q.Size() + 2*border) * pixels
	picture := image.NewPaletted(image.Rect(0, 0, side, side), color.Palette{color.White, color.Black})
	for y := range side {
		for x := range side {
			if at := image.Pt(x/pixels-border, y/pixels-border); at.In(q.code.Bounds()) && q.Dark(at.X, at.Y) {
				picture.SetColorIndex(x, y, 1)
			}
		}
	}
	return png.Encode(w, picture)
}

// Text writes the code with its quiet border in half blocks, two modules to a sign, dark on
// light whatever the terminal's own colours are: cameras want it so.
func (q QRCode) Text(w io.Writer) error {
	const border = 2
	at := func(x, y int) bool {
		return x >= 0 && y >= 0 && x < q.Size() && y < q.Size() && q.Dark(x, y)
	}
	for y := -border; y < q.Size()+border; y += 2 {
		line := "\x1b[30;107m"
		for x := -border; x < q.Size()+border; x++ {
			switch upper, lower := at(x, y), at(x, y+1); {
			case upper && lower:
				line += "█"
			case upper:
				line += "▀"
			case lower:
				line += "▄"
			default:
				line += " "
			}
		}
		if _, err := fmt.Fprintf(w, "  %s\x1b[0m\n", line); err != nil {
			return err
		}
	}
	return nil
}

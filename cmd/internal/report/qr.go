package report

import (
	"fmt"
	"image/color"
	"io"

	qr "github.com/piglig/go-qr"
)

// A QRCode is a text as a code for cameras.
type QRCode struct{ code *qr.QrCode }

// QR makes the code of a text, with the least check that screens and clean prints
// need. Capital letters, digits and few signs take least room.
func QR(text string) (QRCode, error) {
	segments, err := qr.MakeSegments(text)
	if err == nil {
		var code *qr.QrCode
		if code, err = qr.EncodeStandardSegments(segments, qr.Low); err == nil {
			return QRCode{code}, nil
		}
	}
	return QRCode{}, fmt.Errorf("make a QR code of %d letters: %w", len(text), err)
}

// Size is how many modules the code has on a side, without its quiet border of four.
func (q QRCode) Size() int { return q.code.Size() }

// Dark says whether a module is dark.
func (q QRCode) Dark(x, y int) bool { return q.code.Module(x, y) }

// PNG writes the code as a picture, pixels of one module on a side at a time.
func (q QRCode) PNG(w io.Writer, pixels int) error {
	return q.code.WriteAsPNG(qr.NewQrCodeImgConfig(pixels, 4, qr.WithLight(color.White), qr.WithDark(color.Black)), w)
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

//go:build !js

package cases

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"net/http"
	"strings"
	"unicode/utf8"
)

// Caps on one file of a case.
const (
	MaxFile   = 8 << 20  // bytes, as it comes
	maxPixels = 50 << 20 // of a picture, before it is unpacked
	maxSide   = 2000     // pixels; a larger picture is made smaller
)

// CleanFile makes a file fit to be kept and sent on. Pictures (JPEG, PNG) are drawn
// anew, so that nothing of where and by whom they were taken goes with them, turned
// upright as the camera noted, and no larger than needed. Plain text and PDF are
// kept as they are. Anything else is refused: it cannot be seen to be clean.
func CleanFile(content []byte) (clean []byte, media string, err error) {
	if len(content) > MaxFile {
		return nil, "", fmt.Errorf("it has %d bytes; at most %d are kept, so make it smaller first", len(content), MaxFile)
	}
	media, _, _ = strings.Cut(http.DetectContentType(content), ";")
	switch media {
	case "image/jpeg", "image/png":
		clean, err = redraw(content, media)
		return clean, media, err
	case "application/pdf":
		return content, media, nil
	case "text/plain":
		if utf8.Valid(content) {
			return content, media, nil
		}
	}
	return nil, "", fmt.Errorf("it is %s; JPEG and PNG pictures, PDF and plain text in UTF-8 are kept", media)
}

func redraw(content []byte, media string) ([]byte, error) {
	size, _, err := image.DecodeConfig(bytes.NewReader(content))
	if err != nil {
		return nil, fmt.Errorf("the picture cannot be read: %w", err)
	}
	if size.Width <= 0 || size.Height <= 0 || size.Width > maxPixels/size.Height {
		return nil, fmt.Errorf("the picture has %d by %d pixels; make it smaller first", size.Width, size.Height)
	}
	picture, _, err := image.Decode(bytes.NewReader(content))
	if err != nil {
		return nil, fmt.Errorf("the picture cannot be read: %w", err)
	}
	turn := 1
	if media == "image/jpeg" {
		turn = orientation(content)
	}
	picture = upright(shrunk(picture), turn)
	var out bytes.Buffer
	if media == "image/png" {
		err = png.Encode(&out, picture)
	} else {
		err = jpeg.Encode(&out, picture, &jpeg.Options{Quality: 85})
	}
	if err == nil && out.Len() > MaxFile {
		err = errors.New("drawn anew it is too large")
	}
	return out.Bytes(), err
}

// shrunk takes blocks of pixels together, so that no side is above maxSide. A side shorter
// than a block becomes one pixel.
func shrunk(p image.Image) image.Image {
	b := p.Bounds()
	n := (max(b.Dx(), b.Dy()) + maxSide - 1) / maxSide
	if n <= 1 {
		return p
	}
	wide, high := min(n, b.Dx()), min(n, b.Dy()) // of a block
	out := image.NewRGBA(image.Rect(0, 0, b.Dx()/wide, b.Dy()/high))
	for y := range out.Rect.Dy() {
		for x := range out.Rect.Dx() {
			block := image.Rect(0, 0, wide, high).Add(b.Min).Add(image.Pt(x*wide, y*high))
			mean := meanOf(p, block)
			copy(out.Pix[out.PixOffset(x, y):], mean[:])
		}
	}
	return out
}

// meanOf is the mean colour of a block of pixels, as image.RGBA keeps it.
func meanOf(p image.Image, block image.Rectangle) (mean [4]uint8) {
	var sum [4]uint32
	for y := block.Min.Y; y < block.Max.Y; y++ {
		for x := block.Min.X; x < block.Max.X; x++ {
			r, g, b, a := p.At(x, y).RGBA()
			sum[0], sum[1], sum[2], sum[3] = sum[0]+r>>8, sum[1]+g>>8, sum[2]+b>>8, sum[3]+a>>8
		}
	}
	for k := range sum {
		mean[k] = uint8(sum[k] / uint32(block.Dx()*block.Dy()))
	}
	return mean
}

// upright turns and mirrors a picture as the eight orientations of Exif 2.3 (tag 0x0112) ask for.
func upright(p image.Image, turn int) image.Image {
	if turn <= 1 || turn > 8 {
		return p
	}
	b := p.Bounds()
	w, h := b.Dx(), b.Dy()
	if turn >= 5 {
		w, h = h, w
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			var i, j int // where this pixel comes from
			switch turn {
			case 2:
				i, j = w-1-x, y
			case 3:
				i, j = w-1-x, h-1-y
			case 4:
				i, j = x, h-1-y
			case 5:
				i, j = y, x
			case 6:
				i, j = y, w-1-x
			case 7:
				i, j = h-1-y, w-1-x
			case 8:
				i, j = h-1-y, x
			}
			out.Set(x, y, p.At(b.Min.X+i, b.Min.Y+j))
		}
	}
	return out
}

// orientation reads tag 0x0112 of a JPEG's Exif block; 1 where there is none.
func orientation(content []byte) int {
	at := bytes.Index(content, []byte("Exif\x00\x00"))
	if at < 0 || at+14 > len(content) {
		return 1
	}
	tiff := content[at+6:]
	var order binary.ByteOrder = binary.LittleEndian
	if bytes.HasPrefix(tiff, []byte("MM")) {
		order = binary.BigEndian
	}
	dir := order.Uint32(tiff[4:8])
	if uint64(dir)+2 > uint64(len(tiff)) {
		return 1
	}
	entries := tiff[dir+2:]
	for range order.Uint16(tiff[dir : dir+2]) {
		if len(entries) < 12 {
			return 1
		}
		if order.Uint16(entries) == 0x0112 {
			return int(order.Uint16(entries[8:10]))
		}
		entries = entries[12:]
	}
	return 1
}

package cases_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"strings"
	"testing"

	"downdrop/cases"
)

// photo is a JPEG with an Exif block that says how it was held and where it was taken.
func photo(t *testing.T, w, h, turn int) []byte { return photoOf(t, w, h, turn, false) }

func photoOf(t *testing.T, w, h, turn int, white bool) []byte {
	t.Helper()
	p := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			if x < w/2 && y < h/2 || white {
				p.Set(x, y, color.White) // the corner that was upper left on the film
			} else {
				p.Set(x, y, color.Black)
			}
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, p, nil); err != nil {
		t.Fatal(err)
	}
	exif := []byte("Exif\x00\x00MM\x00\x2a\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00")
	exif = append(exif, byte(turn), 0, 0, 0, 0, 0, 0)
	exif = append(exif, "GPS 51.2345N 4.5678E by J. Invented"...)
	head := append([]byte{0xff, 0xd8, 0xff, 0xe1}, binary.BigEndian.AppendUint16(nil, uint16(len(exif)+2))...)
	return append(append(head, exif...), b.Bytes()[2:]...)
}

func TestPicturesAreTurnedAndTellNoPlace(t *testing.T) {
	// The white corner after turning, by orientation: Exif 2.3, tag 0x0112.
	corner := map[int][2]bool{1: {true, true}, 2: {false, true}, 3: {false, false}, 4: {true, false}, 5: {true, true}, 6: {false, true}, 7: {false, false}, 8: {true, false}}
	for turn, want := range corner {
		clean, media, err := cases.CleanFile(photo(t, 64, 32, turn))
		if err != nil || media != "image/jpeg" {
			t.Fatal(turn, media, err)
		}
		for _, word := range []string{"Exif", "GPS", "Invented"} {
			if bytes.Contains(clean, []byte(word)) {
				t.Errorf("%q is still in the picture", word)
			}
		}
		p, err := jpeg.Decode(bytes.NewReader(clean))
		if err != nil {
			t.Fatal(err)
		}
		w, h := p.Bounds().Dx(), p.Bounds().Dy()
		if (turn >= 5) != (h > w) {
			t.Errorf("orientation %d: %d by %d", turn, w, h)
		}
		for _, left := range []bool{true, false} {
			for _, top := range []bool{true, false} {
				x, y := w/4, h/4
				if !left {
					x = 3 * w / 4
				}
				if !top {
					y = 3 * h / 4
				}
				r, _, _, _ := p.At(x, y).RGBA()
				if white := r > 0x8000; white != (want == [2]bool{left, top}) {
					t.Errorf("orientation %d: left %v, top %v is white: %v", turn, left, top, white)
				}
			}
		}
	}
}

// However a picture is turned, its edges come along.
func TestATurnedPictureKeepsItsEdges(t *testing.T) {
	for turn := 1; turn <= 8; turn++ {
		clean, _, err := cases.CleanFile(photoOf(t, 64, 32, turn, true))
		if err != nil {
			t.Fatal(turn, err)
		}
		p, err := jpeg.Decode(bytes.NewReader(clean))
		if err != nil {
			t.Fatal(err)
		}
		for y := range p.Bounds().Dy() {
			for x := range p.Bounds().Dx() {
				if r, _, _, _ := p.At(x, y).RGBA(); r < 0xf000 {
					t.Fatalf("orientation %d: of a white picture %d, %d is %04x", turn, x, y, r)
				}
			}
		}
	}
}

// A panorama far longer than it is high keeps at least a row, and of its own colour.
func TestAThinPictureKeepsARow(t *testing.T) {
	for _, size := range [][2]int{{4100, 1}, {1, 4100}, {9000, 3}} {
		p := image.NewRGBA(image.Rect(0, 0, size[0], size[1]))
		for i := range p.Pix {
			p.Pix[i] = 0xff
		}
		var b bytes.Buffer
		if err := png.Encode(&b, p); err != nil {
			t.Fatal(err)
		}
		clean, _, err := cases.CleanFile(b.Bytes())
		if err != nil {
			t.Errorf("%d by %d: %v", size[0], size[1], err)
			continue
		}
		got, err := png.Decode(bytes.NewReader(clean))
		if err != nil {
			t.Fatal(err)
		}
		if w, h := got.Bounds().Dx(), got.Bounds().Dy(); w < 1 || h < 1 || max(w, h) > 2000 {
			t.Errorf("%d by %d became %d by %d", size[0], size[1], w, h)
		} else if r, g, bl, _ := got.At(w/2, h/2).RGBA(); r != 0xffff || g != 0xffff || bl != 0xffff {
			t.Errorf("%d by %d: white became %x %x %x", size[0], size[1], r, g, bl)
		}
	}
}

func TestFilesThatAreKeptOrRefused(t *testing.T) {
	var large bytes.Buffer
	if err := png.Encode(&large, image.NewGray(image.Rect(0, 0, 4500, 3000))); err != nil {
		t.Fatal(err)
	}
	clean, media, err := cases.CleanFile(large.Bytes())
	if err != nil || media != "image/png" {
		t.Fatal(media, err)
	}
	if size, _, _ := image.DecodeConfig(bytes.NewReader(clean)); max(size.Width, size.Height) > 2000 || size.Width != 1500 {
		t.Errorf("%d by %d", size.Width, size.Height)
	}
	for name, content := range map[string][]byte{"text": []byte("24.1 V at the unit"), "pdf": []byte("%PDF-1.7\n...")} {
		if got, _, err := cases.CleanFile(content); err != nil || !bytes.Equal(got, content) {
			t.Errorf("%s: %v", name, err)
		}
	}
	bomb := append([]byte(nil), large.Bytes()...)
	copy(bomb[16:24], []byte{0, 1, 0, 0, 0, 1, 0, 0}) // 65,536 by 65,536, as its head says
	for name, content := range map[string][]byte{
		"a picture cut short": photo(t, 64, 32, 1)[:200], "a bomb": bomb, "a program": []byte("\x7fELF\x02\x01\x01"), "a page": []byte("<html><script>"),
		"Latin text": []byte("gr\xfcn"), "too large": make([]byte, cases.MaxFile+1), "nothing in Exif": []byte("\xff\xd8\xff\xe1\x00\x08Exif\x00\x00"),
	} {
		if _, _, err := cases.CleanFile(content); err == nil {
			t.Errorf("%s was kept", name)
		}
	}
}

// A file that did not come with a hand-over is known by its hash, as it was kept and as it came off the camera;
// another one is not.
func TestFilesThatComeLaterAreKnown(t *testing.T) {
	original := photo(t, 64, 32, 6)
	clean, _, err := cases.CleanFile(original)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(clean)
	lacking := []cases.Attachment{{Name: "other.jpg", Digest: strings.Repeat("0", 64)}, {Name: "door.jpg", Digest: hex.EncodeToString(sum[:])}}
	for what, content := range map[string][]byte{"as kept": clean, "as taken": original} {
		if a, kept, ok := cases.MatchFile(lacking, content); !ok || a.Name != "door.jpg" || !bytes.Equal(kept, clean) {
			t.Errorf("%s: %v %v", what, a, ok)
		}
	}
	for what, content := range map[string][]byte{"another picture": photo(t, 32, 64, 1), "a program": []byte("<html><script>"), "nothing": nil} {
		if a, _, ok := cases.MatchFile(lacking, content); ok {
			t.Errorf("%s is taken for %v", what, a)
		}
	}
}

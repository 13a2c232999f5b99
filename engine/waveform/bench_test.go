package waveform_test

import (
	"os"
	"path/filepath"
	"testing"

	"downdrop/engine/waveform"
)

// A capture of 5,000 points is read and measured; the floor is reading it.
func BenchmarkCapture(b *testing.B) {
	text, err := os.ReadFile(filepath.Join(exampleFolder, "no_end_terminator.csv"))
	if err != nil {
		b.Fatal(err)
	}
	c, err := waveform.Read("f", text, waveform.Units{})
	if err != nil {
		b.Fatal(err)
	}
	b.Run("read", func(b *testing.B) {
		b.SetBytes(int64(len(text)))
		for b.Loop() {
			if _, err := waveform.Read("f", text, waveform.Units{}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("measure", func(b *testing.B) {
		for b.Loop() {
			waveform.Measure(c, waveform.Options{})
		}
	})
}

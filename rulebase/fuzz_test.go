package rulebase_test

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"downdrop/rulebase"
)

// Whatever a unit profile holds, it is read whole or not at all; what was read has a digest of
// its text, and reads as the same again.
func FuzzProfile(f *testing.F) {
	files, err := filepath.Glob("drop/bench/units/*.yaml")
	if err != nil || len(files) == 0 {
		f.Fatal(files, err)
	}
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Add([]byte("unit: x\nline: {kind: can, rate: 1e309}\nmodules: [{}]\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		rulebase.IsProfile(text)
		p, err := rulebase.ReadProfile("u.yaml", text)
		if err != nil {
			var problems *rulebase.Problems
			if !errors.As(err, &problems) || len(problems.List) == 0 {
				t.Fatalf("an error that is no problem of the file: %v", err)
			}
			return
		}
		sum := sha256.Sum256(text)
		if p.Digest != hex.EncodeToString(sum[:]) || p.Name == "" {
			t.Fatalf("%+v", p)
		}
	})
}

// Whatever stands in a store for a rulebase, it is loaded whole or not at all; what is loaded is
// written as it stood, so that its digest stays what it was.
func FuzzBundle(f *testing.F) {
	b := goodBase(f)
	bundle, err := b.Bundle()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(bundle)
	f.Add([]byte("a.yaml\x00rulebase: {name: a, version: 1}\n\x00b.yaml\x00causes: {}\n\x00a.yaml\x00rulebase: {name: b, version: 1, extends: a}\n\x00"))
	f.Add([]byte("a.yaml\x00" + strings.Repeat("[", 100) + "\x00"))
	f.Fuzz(func(t *testing.T, bundle []byte) {
		b, err := rulebase.LoadBundle(bundle)
		if (b == nil) != (err != nil) {
			t.Fatalf("half loaded: %v, %v", b, err)
		}
		if err != nil {
			return
		}
		sound(t, b)
		again, err := b.Bundle()
		if err != nil {
			t.Fatal(err)
		}
		if other, err := rulebase.LoadBundle(again); err != nil || other.Digest != b.Digest {
			t.Fatalf("written again it is another one: %v\n%q", err, again)
		}
	})
}

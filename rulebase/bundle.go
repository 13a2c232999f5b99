//go:build !js

package rulebase

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"path"
	"slices"
	"testing/fstest"
)

// Bundle is the whole text of a rulebase in one piece, as Base.Digest is reckoned: for
// each file its base name, NUL, its bytes, NUL, layer by layer. So the SHA-256 of the
// piece is the digest, and whoever keeps it under its hash can load the same
// rulebase years later with LoadBundle. Files that were changed since loading are an error.
func (b *Base) Bundle() ([]byte, error) {
	var out bytes.Buffer
	for i, layer := range b.layers() {
		texts, err := readLayer(i, layer)
		if err != nil {
			return nil, err
		}
		for _, t := range texts {
			out.Write(bytes.Join([][]byte{[]byte(path.Base(t.name)), t.bytes, nil}, []byte{0}))
		}
	}
	if sum := sha256.Sum256(out.Bytes()); hex.EncodeToString(sum[:]) != b.Digest {
		return nil, errors.New("the files of the rulebase were changed while it was in use; start again")
	}
	return out.Bytes(), nil
}

// LoadBundle loads what Bundle wrote. A bundle does not say where a layer ends. Each has one header, and its
// files come in the order of their names, which mostly tells; where several ends are possible, the first with which
// the whole loads is taken: an entry that a wrong one puts into another layer either says the same there or is
// refused. The error is that of the likeliest ends.
func LoadBundle(bundle []byte) (*Base, error) {
	files, err := unbundled(bundle)
	if err != nil {
		return nil, err
	}
	ends := slices.Collect(layerEnds(files))
	b, err := Load(layersOf(files, ends[0])...)
	for _, other := range ends[1:] {
		if err == nil {
			break
		}
		if again, refused := Load(layersOf(files, other)...); refused == nil {
			return again, nil
		}
	}
	return b, err
}

// A bundledFile is a file of a bundle.
type bundledFile struct {
	name string
	text []byte
}

func unbundled(bundle []byte) (files []bundledFile, err error) {
	for len(bundle) > 0 {
		name, rest, ok := bytes.Cut(bundle, []byte{0})
		text, rest, ok2 := bytes.Cut(rest, []byte{0})
		if !ok || !ok2 || !fs.ValidPath(string(name)) || bytes.ContainsRune(name, '/') {
			return nil, fmt.Errorf("the kept rulebase is no list of files: %w", fs.ErrInvalid)
		}
		files, bundle = append(files, bundledFile{string(name), text}), rest
	}
	return files, nil
}

// mostEnds is how many ways of parting a bundle into layers are tried.
const mostEnds = 20

// layerEnds gives ways of parting files into layers, by the places where a layer other than the first begins,
// the likeliest first: as late as can be.
func layerEnds(files []bundledFile) iter.Seq[[]int] {
	var gaps [][]int // the places where a layer can begin, for each but the first
	header := -1
	for i, f := range files {
		if i > 0 && f.name <= files[i-1].name { // it begins here for sure
			gaps = append(gaps, []int{i})
			header = -1
		}
		if !hasHeader(f.text) {
			continue
		}
		if header >= 0 {
			var gap []int
			for at := i; at > header; at-- {
				gap = append(gap, at)
			}
			gaps = append(gaps, gap)
		}
		header = i
	}
	return func(yield func([]int) bool) {
		for n := range mostEnds {
			ends := make([]int, len(gaps))
			for i, gap := range gaps {
				ends[i] = gap[n%len(gap)]
				n /= len(gap)
			}
			if n > 0 || !yield(ends) {
				return // all were tried
			}
		}
	}
}

func layersOf(files []bundledFile, ends []int) []Layer {
	var layers []Layer
	from := 0
	for _, to := range append(slices.Clone(ends), len(files)) {
		folder := fstest.MapFS{}
		for _, f := range files[from:to] {
			folder[f.name] = &fstest.MapFile{Data: f.text, Mode: 0o444}
		}
		layers, from = append(layers, Layer{fmt.Sprintf("layer%d", len(layers)+1), folder}), to
	}
	return layers
}

// hasHeader says that a file begins a rulebase: the key stands at the left edge.
func hasHeader(text []byte) bool {
	return bytes.HasPrefix(text, []byte("rulebase:")) || bytes.Contains(text, []byte("\nrulebase:"))
}

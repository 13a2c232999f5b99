//go:build !js

package rulebase

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"path"
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

// LoadBundle loads what Bundle wrote. A new layer begins where a file's name does not come
// after the one before, or where a second header would stand.
func LoadBundle(bundle []byte) (*Base, error) {
	var layers []Layer
	var files fstest.MapFS
	last := ""
	for len(bundle) > 0 {
		name, rest, ok := bytes.Cut(bundle, []byte{0})
		text, rest, ok2 := bytes.Cut(rest, []byte{0})
		if !ok || !ok2 || !fs.ValidPath(string(name)) || bytes.ContainsRune(name, '/') {
			return nil, fmt.Errorf("the kept rulebase is no list of files: %w", fs.ErrInvalid)
		}
		if files == nil || string(name) <= last || hasHeader(text) && layerHasHeader(files) {
			files = fstest.MapFS{}
			layers = append(layers, Layer{fmt.Sprintf("layer%d", len(layers)+1), files})
		}
		files[string(name)] = &fstest.MapFile{Data: text, Mode: 0o444}
		last, bundle = string(name), rest
	}
	return Load(layers...)
}

// hasHeader says that a file begins a rulebase: the key stands at the left edge.
func hasHeader(text []byte) bool {
	return bytes.HasPrefix(text, []byte("rulebase:")) || bytes.Contains(text, []byte("\nrulebase:"))
}

func layerHasHeader(files fstest.MapFS) bool {
	for _, f := range files {
		if hasHeader(f.Data) {
			return true
		}
	}
	return false
}

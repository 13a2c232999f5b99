package rulebase

import (
	"cmp"
	"path"
	"slices"
	"strings"

	"downdrop/rulebase/source"
)

// A Comment is what stands behind a # in a file of a rulebase.
type Comment = source.Comment

// positions is where things stand in the files of a Base, for whoever looks it over.
type positions struct {
	text          *source.Reader
	layers        []Layer
	layerOf       map[string]int // by file
	headers       []Position     // by layer
	entries       []Entry        // as written, layer by layer
	headerChanges [][]KeyChange  // by layer
	sections      []Position     // of the keys of sections, in any order
}

// Line is the line of a file that something stands on.
func (b *Base) Line(p Position) string { return b.positions.text.Line(p) }

// LayerOf says in which layer something stands, from 0.
func (b *Base) LayerOf(p Position) int { return b.positions.layerOf[p.File] }

// LayerOfTest says in which layer's folder a rule test stands, from 0; -1 where it is of none.
func (b *Base) LayerOfTest(p Position) int {
	return slices.IndexFunc(b.positions.layers, func(l Layer) bool { return path.Dir(p.File) == path.Clean(l.Name) })
}

// HeaderOf is where the header of a layer stands.
func (b *Base) HeaderOf(layer int) Position { return b.positions.headers[layer] }

// FolderOf is the name of a layer's folder.
func (b *Base) FolderOf(layer int) string { return b.positions.layers[layer].Name }

// OnShipped says that the shipped rulebase was laid below the folders that were
// named, because the lowest of them extends it.
func (b *Base) OnShipped() bool {
	return b.positions.layers[0].Name == shippedName && len(b.positions.layers) > 1
}

// SectionOf is where the section that something stands in begins in its file; the
// zero Position where it stands in none.
func (b *Base) SectionOf(p Position) Position {
	var at Position
	for _, s := range b.positions.sections {
		if s.File == p.File && s.Line <= p.Line && s.Line > at.Line {
			at = s
		}
	}
	return at
}

// Comments are the comments of all files, file by file in the order of the files' names.
func (b *Base) Comments() []Comment {
	var files []string
	for f := range b.positions.layerOf {
		files = append(files, f)
	}
	slices.SortFunc(files, func(x, y string) int {
		return cmp.Or(b.positions.layerOf[x]-b.positions.layerOf[y], strings.Compare(x, y))
	})
	var all []Comment
	for _, f := range files {
		all = append(all, b.positions.text.Comments(f)...)
	}
	return all
}

// RuleTests reads the rule tests that lie beside the rules, layer by layer. The
// error is a *Problems with all that is wrong in all of them, or the error of a
// file that could not be read.
func (b *Base) RuleTests() ([]Situation, error) { return b.RuleTestsFrom(0) }

// RuleTestsFrom reads the rule tests of a layer and of those laid over it.
func (b *Base) RuleTestsFrom(layer int) ([]Situation, error) {
	var all []Situation
	wrong := &Problems{}
	err := eachFile(b.positions.layers[layer:], ".", "_test.yaml", "rule tests", func(_ int, name string, text []byte) {
		cases, err := b.ReadCases(name, text)
		wrong.Take(err)
		all = append(all, cases...)
	})
	if err != nil {
		return nil, err
	} else if len(wrong.List) > 0 {
		return nil, wrong
	}
	return all, nil
}

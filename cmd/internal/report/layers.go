package report

import (
	"fmt"
	"io"
	"slices"

	"downdrop/rulebase"
)

// LayersSchema names the form of the layers of a rulebase in JSON.
const LayersSchema = "downdrop.layers/1"

// sections are in the order in which they are told.
var sections = []string{"givens", "causes", "conditions", "symptoms", "rules", "tests", "remedies", "warnings", "sources", "on_site"}

// LayersText writes, layer by layer from the lowest, what each adds, what stands
// for an entry of a lower one, and what differs. Of the lowest layer only how much
// it holds is told, unless all is asked for.
func LayersText(w io.Writer, b *rulebase.Base, width int, all bool) error {
	p := newPage(width)
	for i, name := range b.Layers {
		entries := ofLayer(b, i)
		p.gap()
		p.say(sayLayer(b, i, name, entries))
		if i == 0 && !all {
			for _, section := range sections {
				if n := len(inSection(entries, section)); n > 0 {
					p.item("  ", sayHolds(section, n))
				}
			}
			continue
		}
		p.headerChanges(b.HeaderChanges(i))
		p.adds(entries)
		for _, e := range entries {
			if e.Over != nil {
				p.overlaid(b, &e)
			}
		}
	}
	return p.writeTo(w)
}

func ofLayer(b *rulebase.Base, layer int) []rulebase.Entry {
	all := slices.Clone(b.Entries())
	return slices.DeleteFunc(all, func(e rulebase.Entry) bool { return e.Layer != layer })
}

func inSection(entries []rulebase.Entry, section string) []rulebase.Entry {
	return slices.DeleteFunc(slices.Clone(entries), func(e rulebase.Entry) bool { return e.Section != section })
}

func (p *page) headerChanges(fields []rulebase.KeyChange) {
	if len(fields) == 0 {
		return
	}
	p.gap()
	p.say(sayHeaderChanges)
	for _, f := range fields {
		p.keyChange("  ", f)
	}
}

// adds lists what a layer adds, section by section.
func (p *page) adds(entries []rulebase.Entry) {
	headed := false
	for _, section := range sections {
		for _, e := range inSection(entries, section) {
			if e.Over != nil {
				continue
			}
			if !headed {
				p.gap()
				p.say(sayAdds)
				headed = true
			}
			p.item("  "+section+": ", fmt.Sprintf("%s (%s)", e.ID, place(e.Pos)))
		}
	}
}

func place(pos rulebase.Position) string { return fmt.Sprintf("%s:%d", pos.File, pos.Line) }

func (p *page) overlaid(b *rulebase.Base, e *rulebase.Entry) {
	p.gap()
	p.say(sayOverlaid(b, e))
	if len(e.Over.Fields) == 0 {
		p.item("  ", sayNothingDiffers)
	}
	for _, f := range e.Over.Fields {
		p.keyChange("  ", f)
	}
	if len(e.Over.Repeats) > 0 {
		p.item("  ", sayRepeats(e.Over.Repeats))
	}
}

// keyChange writes a key's old and new value; of a list what went and what came.
func (p *page) keyChange(indent string, f rulebase.KeyChange) {
	switch {
	case len(f.Went)+len(f.Came) > 0:
		p.item(indent, f.Key+":")
		for _, item := range f.Went {
			p.item(indent+"  went: ", item)
		}
		for _, item := range f.Came {
			p.item(indent+"  came: ", item)
		}
	case f.Old == "":
		p.item(indent+f.Key+": ", f.New+sayNewKey)
	case f.New == "":
		p.item(indent+f.Key+": ", f.Old+sayKeyGone)
	case len(f.Old)+len(f.New) < 60:
		p.item(indent+f.Key+": ", f.Old+" → "+f.New)
	default:
		p.item(indent+f.Key+": ", f.Old)
		p.item(indent+"→ ", f.New)
	}
}

type layersJSON struct {
	Schema   string       `json:"schema"`
	Rulebase rulebaseJSON `json:"rulebase"`
	Layers   []layerJSON  `json:"layers"`
}

type layerJSON struct {
	Name   string          `json:"name"`
	Folder string          `json:"folder"`
	Header []keyChangeJSON `json:"header"`
	Adds   []addedJSON     `json:"adds"`
	Over   []overJSON      `json:"over"`
}

type addedJSON struct {
	Section string `json:"section"`
	ID      string `json:"id"`
	File    string `json:"file"`
	Line    int    `json:"line"`
}

type overJSON struct {
	addedJSON
	Kind    string          `json:"kind"` // replaces, changes
	Lower   lowerJSON       `json:"lower"`
	Fields  []keyChangeJSON `json:"fields"`
	Repeats []string        `json:"repeats"` // keys written again as they stand below
}

type lowerJSON struct {
	Layer string `json:"layer"`
	File  string `json:"file"`
	Line  int    `json:"line"`
}

type keyChangeJSON struct {
	Key  string   `json:"key"`
	Old  string   `json:"old"`
	New  string   `json:"new"`
	Went []string `json:"went"`
	Came []string `json:"came"`
}

// LayersJSON writes the same for programs, with all entries of all layers.
func LayersJSON(w io.Writer, b *rulebase.Base) error {
	out := layersJSON{Schema: LayersSchema, Rulebase: rulebaseJSON{b.Name, b.Version, b.Digest}, Layers: []layerJSON{}}
	for i, name := range b.Layers {
		layer := layerJSON{Name: name, Folder: b.FolderOf(i), Header: keyChangesJSON(b.HeaderChanges(i)), Adds: []addedJSON{}, Over: []overJSON{}}
		for _, e := range ofLayer(b, i) {
			one := addedJSON{e.Section, e.ID, e.Pos.File, e.Pos.Line}
			if e.Over == nil {
				layer.Adds = append(layer.Adds, one)
				continue
			}
			layer.Over = append(layer.Over, overJSON{one, overKind(&e), lowerJSON{b.Layers[e.Over.Layer], e.Over.Pos.File, e.Over.Pos.Line}, keyChangesJSON(e.Over.Fields), listed(e.Over.Repeats)})
		}
		out.Layers = append(out.Layers, layer)
	}
	return writeJSON(w, out)
}

func overKind(e *rulebase.Entry) string {
	if e.Over.Whole {
		return "replaces"
	}
	return "changes"
}

func keyChangesJSON(fields []rulebase.KeyChange) []keyChangeJSON {
	out := []keyChangeJSON{}
	for _, f := range fields {
		out = append(out, keyChangeJSON{f.Key, f.Old, f.New, listed(f.Went), listed(f.Came)})
	}
	return out
}

package handbook

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"
)

//go:embed page.html
var pageText string

// leveled is an entry with the level of its heading.
type leveled struct {
	Entry
	Level int
}

var page = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("page").Funcs(template.FuncMap{
		"upper":   strings.ToUpper,
		"titled":  func(g []Group) bool { return len(g) > 0 && g[0].Title != "" },
		"level":   entryLevel,
		"at":      func(level int, e Entry) leveled { return leveled{e, level} },
		"heading": heading,
		"words": func() map[string]string {
			return map[string]string{"Warnings": headWarnings, "Facts": headFacts, "Steps": headSteps, "After": headAfter, "Contents": titleContents, "ContentsID": chapterContents, "ToContents": sayToContents, "Skip": saySkip}
		},
	}).Parse(pageText))
})

// entryLevel is the level of the headings of a group's entries: one below the
// group's own, or below the chapter's where the group has none.
func entryLevel(g Group) int {
	if g.Title == "" {
		return 3
	}
	return 4
}

// heading is an element whose level is not known to the template.
func heading(level int, number, title, id string) template.HTML {
	return template.HTML(fmt.Sprintf(`<h%d id="%s"><b>%s</b> <span>%s</span></h%d>`, level, template.HTMLEscapeString(id), template.HTMLEscapeString(number), template.HTMLEscapeString(title), level))
}

// HTML prints a book as one page that needs no other file, no script and no host.
func (b *Book) HTML(w io.Writer) error {
	var out bytes.Buffer
	if err := page().Execute(&out, b); err != nil {
		return fmt.Errorf("write the handbook: %w", err)
	}
	if _, err := w.Write(out.Bytes()); err != nil {
		return fmt.Errorf("write the handbook: %w", err)
	}
	return nil
}

package handbook

import (
	"fmt"
	"io"
	"regexp"
	"strings"
	"sync"
)

// A File is one file of a handbook in a folder.
type File struct {
	Name string
	Text string
}

// FirstFile is the file of a folder to begin with.
const FirstFile = "handbook.md"

// Markdown prints a book as one file of Markdown (CommonMark). Anchors are
// elements of HTML, which CommonMark lets through.
func (b *Book) Markdown(w io.Writer) error {
	m := &markdown{}
	m.heading(1, "", 0, b.Title)
	m.blocks(b.Cover)
	m.heading(2, chapterContents, 0, titleContents)
	for i := range b.Chapters {
		c := &b.Chapters[i]
		m.item(0, m.link(numbered(c.Title, c.First()), c.ID))
		for j := range c.Groups {
			if g := &c.Groups[j]; g.Title != "" {
				m.item(1, m.link(numbered(g.Title, g.First()), g.ID))
			}
		}
	}
	for i := range b.Chapters {
		m.chapter(&b.Chapters[i], 2)
	}
	if _, err := io.WriteString(w, m.text()); err != nil {
		return fmt.Errorf("write the handbook: %w", err)
	}
	return nil
}

// Folder prints a book as a folder of Markdown: a file to begin with, one for
// each part of the drop, and one for each chapter that is about no part.
func (b *Book) Folder() []File {
	pages := b.pages()
	home := map[string]string{}
	for _, p := range pages {
		for _, anchor := range p.anchors() {
			home[anchor] = p.file
		}
	}
	files := make([]File, len(pages))
	for i, p := range pages {
		m := &markdown{file: p.file, home: home}
		m.heading(1, p.id, 0, p.title)
		if i == 0 {
			m.blocks(b.Cover)
			m.heading(2, chapterContents, 0, titleContents)
			for _, other := range pages[1:] {
				m.item(0, "["+escape(other.title)+"]("+other.file+")")
			}
		}
		m.blocks(p.intro)
		for j := range p.groups {
			m.group(&p.groups[j], 2)
		}
		for j := range p.chapters {
			m.chapter(&p.chapters[j], 2)
		}
		files[i] = File{p.file, m.text()}
	}
	return files
}

// A mdPage is what stands in one file of a folder: chapters, or the groups of one.
type mdPage struct {
	file, id, title string
	intro           []Block
	groups          []Group
	chapters        []Chapter
}

// pages divides a book over the files of a folder.
func (b *Book) pages() []*mdPage {
	pages := []*mdPage{{file: FirstFile, title: b.Title}}
	page := func(file string) *mdPage {
		for _, p := range pages {
			if p.file == file {
				return p
			}
		}
		pages = append(pages, &mdPage{file: file})
		return pages[len(pages)-1]
	}
	for i := range b.Chapters {
		c := &b.Chapters[i]
		if c.ID == chapterFront || c.ID == chapterIndex {
			pages[0].chapters = append(pages[0].chapters, *c)
			continue
		}
		for _, g := range c.Groups {
			if g.Part == "" {
				p := page(strings.TrimPrefix(c.ID, "chapter-") + ".md")
				p.id, p.title, p.intro = c.ID, c.Title, c.Intro
				p.groups = append(p.groups, g)
				continue
			}
			p := page("part-" + strings.TrimPrefix(g.ID, c.ID+"-") + ".md")
			p.title = g.Title
			p.chapters = append(p.chapters, Chapter{ID: g.ID, Title: c.Title, Intro: c.Intro, Groups: []Group{{Entries: g.Entries}}})
		}
	}
	return pages
}

// anchors are all that a page's links may lead to.
func (p *mdPage) anchors() []string {
	all := []string{p.id}
	groups := p.groups
	for i := range p.chapters {
		all = append(all, p.chapters[i].ID)
		groups = append(groups[:len(groups):len(groups)], p.chapters[i].Groups...)
	}
	for i := range groups {
		all = append(all, groups[i].ID)
		for j := range groups[i].Entries {
			all = append(all, groups[i].Entries[j].ID)
		}
	}
	return all
}

// A markdown collects the text of one file.
type markdown struct {
	out  strings.Builder
	file string
	home map[string]string // file by anchor; nil: all is in one
}

func (m *markdown) text() string { return strings.TrimRight(m.out.String(), "\n") + "\n" }

func (m *markdown) gap() {
	if s := m.out.String(); s != "" && !strings.HasSuffix(s, "\n\n") {
		m.out.WriteByte('\n')
	}
}

// heading writes a heading, with its anchor and number where it has them.
func (m *markdown) heading(level int, id string, number int, title string) {
	m.gap()
	m.out.WriteString(strings.Repeat("#", level) + " ")
	if id != "" {
		fmt.Fprintf(&m.out, "<a id=\"%s\"></a>", id)
	}
	if number > 0 {
		fmt.Fprintf(&m.out, "%d · ", number)
	}
	m.out.WriteString(escape(title) + "\n\n")
}

func (m *markdown) chapter(c *Chapter, level int) {
	m.heading(level, c.ID, 0, c.Title)
	m.blocks(c.Intro)
	for i := range c.Groups {
		m.group(&c.Groups[i], level+1)
	}
}

func (m *markdown) group(g *Group, level int) {
	if g.Title != "" {
		m.heading(level, g.ID, 0, g.Title)
		level++
	}
	m.rows(g.Rows)
	for i := range g.Entries {
		m.entry(&g.Entries[i], level)
	}
}

func (m *markdown) entry(e *Entry, level int) {
	m.heading(level, e.ID, e.Number, e.Title)
	m.rows(e.Rows)
}

func (m *markdown) rows(rows []Row) {
	for _, r := range rows {
		label := "**" + escape(r.Label) + ":**"
		if len(r.Blocks) == 1 && r.Blocks[0].Text != nil {
			m.gap()
			m.out.WriteString(label + " " + m.line(r.Blocks[0].Text) + "\n\n")
			continue
		}
		m.gap()
		m.out.WriteString(label + "\n\n")
		m.blocks(r.Blocks)
	}
	m.gap()
}

func (m *markdown) blocks(blocks []Block) {
	for _, b := range blocks {
		switch {
		case b.Procedure != nil:
			m.procedure(b.Procedure)
		case b.List != nil:
			m.list(b.List)
		default:
			m.gap()
			m.out.WriteString(m.start(b.Text) + "\n\n")
		}
	}
}

func (m *markdown) list(lines []Line) {
	m.gap()
	for _, l := range lines {
		m.item(0, m.start(l))
	}
	m.gap()
}

func (m *markdown) item(depth int, text string) {
	m.out.WriteString(strings.Repeat("  ", depth) + "- " + text + "\n")
}

// procedure prints a step, its warnings first.
func (m *markdown) procedure(p *Procedure) {
	if p.Name != nil {
		m.gap()
		m.out.WriteString(m.start(p.Name) + "\n\n")
	}
	if len(p.Warnings) > 0 {
		m.head(headWarnings)
		for _, w := range p.Warnings {
			m.out.WriteString("> **" + escape(strings.ToUpper(w.Level)) + "** " + m.line(w.Says) + "\n\n")
		}
	}
	m.head(headFacts)
	m.list(p.Facts)
	m.head(headSteps)
	for i, s := range p.Steps {
		fmt.Fprintf(&m.out, "%d. %s\n", i+1, m.start(s))
	}
	if len(p.After) > 0 {
		m.head(headAfter)
		m.list(p.After)
	}
	m.gap()
}

func (m *markdown) head(text string) {
	m.gap()
	m.out.WriteString("*" + escape(text) + "*\n\n")
}

// line is a line inside text that has begun.
func (m *markdown) line(l Line) string {
	var b strings.Builder
	for _, s := range l {
		switch {
		case s.To != "":
			b.WriteString(m.link(numbered(s.Text, s.Number), s.To))
		case s.Strong:
			b.WriteString("**" + escape(strings.TrimSpace(s.Text)) + "**")
			if strings.HasSuffix(s.Text, " ") {
				b.WriteByte(' ')
			}
		default:
			b.WriteString(escape(s.Text))
		}
	}
	return b.String()
}

// numbered is a text with the number of the entry that it leads to.
func numbered(text string, number int) string {
	if number == 0 {
		return text
	}
	return strings.TrimSpace(fmt.Sprintf("%s (%d)", text, number))
}

// start is a line that begins a paragraph or an item.
func (m *markdown) start(l Line) string { return begin(strings.TrimLeft(m.line(l), " ")) }

func (m *markdown) link(text, to string) string {
	file := ""
	if m.home != nil && m.home[to] != m.file {
		file = m.home[to]
	}
	return "[" + escape(text) + "](" + file + "#" + to + ")"
}

// special are the signs that Markdown gives a meaning inside a line, and that
// extensions of it do (strikethrough, tables, formulas, addresses).
var special = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile("[\\\\`*_\\[\\]<>&|~#$@^{}]|://|www\\.") })

// escape makes text that Markdown shows as it is.
func escape(text string) string {
	return special().ReplaceAllStringFunc(text, func(s string) string {
		if s == "www." {
			return "www\\."
		}
		return "\\" + s
	})
}

// beginning is what Markdown gives a meaning at the beginning of a line.
var beginning = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^([-+=:!]|\d+[.)])`) })

func begin(text string) string {
	at := beginning().FindString(text)
	if at == "" {
		return text
	}
	n := len(at) - 1
	return text[:n] + "\\" + text[n:]
}

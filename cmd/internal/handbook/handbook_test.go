package handbook_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"maps"
	"math"
	"os"
	"path"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/extension"
	goldhtml "github.com/yuin/goldmark/renderer/html"
	"golang.org/x/net/html"

	"downdrop/cmd/internal/handbook"
	"downdrop/engine"
	"downdrop/rulebase"
)

var update = flag.Bool("update", false, "write the golden files anew")

func load(t testing.TB, name string) *rulebase.Base {
	t.Helper()
	b, err := rulebase.LoadShipped()
	if name != "shipped" {
		b, err = rulebase.LoadFolder("testdata/rulebase")
	}
	if err != nil {
		t.Fatal(err)
	}
	if name == "hostile" {
		spoil(reflect.ValueOf(b).Elem(), "")
	}
	return b
}

// bases are the rulebases that every structural test runs on.
var bases = []string{"small", "hostile", "shipped"}

// An edition is a rulebase with all that is printed of it.
type edition struct {
	base     *rulebase.Base
	book     *handbook.Book
	html     string
	markdown string
	folder   []handbook.File
}

func printed(t testing.TB, base *rulebase.Base) edition {
	t.Helper()
	book, err := handbook.New(context.Background(), engine.Prepare(base))
	if err != nil {
		t.Fatal(err)
	}
	var page, text bytes.Buffer
	if err := book.HTML(&page); err != nil {
		t.Fatal(err)
	}
	if err := book.Markdown(&text); err != nil {
		t.Fatal(err)
	}
	return edition{base, book, page.String(), text.String(), book.Folder()}
}

// everywhere runs a test on every rulebase.
func everywhere(t *testing.T, test func(t *testing.T, e edition)) {
	for _, name := range bases {
		t.Run(name, func(t *testing.T) {
			test(t, editionOf(t, name))
		})
	}
}

var editions = map[string]edition{}

func editionOf(t *testing.T, name string) edition {
	t.Helper()
	if _, ok := editions[name]; !ok {
		editions[name] = printed(t, load(t, name))
	}
	return editions[name]
}

// hostile is text that means something to HTML, Markdown, templates or a terminal.
func hostile(n int) string {
	return fmt.Sprintf("<script>alert(%d)</script></title></style></p>\"'>&amp;<!-- `x` *e* **s** _u_ ~~d~~ [l](http://a.example/) ![i](y) <http://b.example> www.c.example http://d.example e@f.example\n# h\n\n- - i\n1. j\n> q\n| t | u |\n|---|---|\n\x00\x1b[31m\u202e{{.}} ${v} $m$ ]]> \\ \\*", n)
}

// seenAs is the hostile text as a reader should see it.
func seenAs(n int) string {
	s := strings.NewReplacer("\x00", "?", "\x1b", "?", "\u202e", "?").Replace(hostile(n))
	return strings.Join(strings.Fields(s), " ")
}

// spoil makes every text of a rulebase hostile; ids and what points at them stay.
func spoil(v reflect.Value, field string) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() && v.Type() != reflect.TypeFor[*rulebase.Expression]() {
			spoil(v.Elem(), field)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.IsExported() && f.Type != reflect.TypeFor[rulebase.Position]() {
				spoil(v.Field(i), f.Name)
			}
		}
	case reflect.Slice:
		if v.Type() == reflect.TypeFor[[]string]() { // the words of all flags are one slice
			v.Set(reflect.ValueOf(slices.Clone(v.Interface().([]string))))
		}
		for i := range v.Len() {
			spoil(v.Index(i), field)
		}
	case reflect.String:
		if v.Type() == reflect.TypeFor[string]() && !slices.Contains([]string{"ID", "Source", "LookAlikes", "FilledBy"}, field) {
			spoilt++
			v.SetString(hostile(spoilt))
		}
	}
}

var spoilt int

// ids are all ids of a rulebase, in every section.
func ids(b *rulebase.Base) []string {
	all := map[string]bool{}
	for _, n := range b.Names {
		all[n.ID] = true
	}
	for _, list := range [][]rulebase.Step{b.Tests, b.Remedies} {
		for i := range list {
			all[list[i].ID] = true
		}
	}
	for i := range b.Rules {
		all[b.Rules[i].ID] = true
	}
	for i := range b.Warnings {
		all[b.Warnings[i].ID] = true
	}
	for i := range b.Sources {
		all[b.Sources[i].ID] = true
	}
	return slices.Sorted(maps.Keys(all))
}

func TestEveryIDHasItsAnchorOnce(t *testing.T) {
	everywhere(t, func(t *testing.T, e edition) {
		all := ""
		for _, f := range e.folder {
			all += f.Text
		}
		for _, id := range ids(e.base) {
			if n := strings.Count(e.html, ` id="`+id+`"`); n != 1 {
				t.Errorf("HTML has %d anchors %s", n, id)
			}
			if n := strings.Count(e.markdown, `<a id="`+id+`"></a>`); n != 1 {
				t.Errorf("Markdown has %d anchors %s", n, id)
			}
			if n := strings.Count(all, `<a id="`+id+`"></a>`); n != 1 {
				t.Errorf("the folder has %d anchors %s", n, id)
			}
		}
		if got := len(ids(e.base)); e.book.Entries != got {
			t.Errorf("%d entries for %d ids", e.book.Entries, got)
		}
	})
}

// parse reads a page, and refuses what browsers would put up with: elements that
// are not closed, or not in order, and anchors that are there twice.
func parse(t *testing.T, page string) *html.Node {
	t.Helper()
	z := html.NewTokenizer(strings.NewReader(page))
	var open []string
	anchors := map[string]bool{}
	for {
		kind := z.Next()
		token := z.Token()
		switch kind {
		case html.ErrorToken:
			if len(open) > 0 {
				t.Errorf("never closed: %v", open)
			}
			root, err := html.Parse(strings.NewReader(page))
			if err != nil {
				t.Fatal(err)
			}
			return root
		case html.StartTagToken:
			if id := attribute(token.Attr, "id"); id != "" {
				if anchors[id] {
					t.Errorf("the anchor %s is there twice", id)
				}
				anchors[id] = true
			}
			if token.Data != "meta" {
				open = append(open, token.Data)
			}
		case html.EndTagToken:
			if len(open) == 0 || open[len(open)-1] != token.Data {
				t.Fatalf("</%s> closes %v", token.Data, open)
			}
			open = open[:len(open)-1]
		case html.CommentToken:
			t.Errorf("a comment: %q", token.Data)
		}
	}
}

func attribute(all []html.Attribute, name string) string {
	for _, a := range all {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func elements(n *html.Node) []*html.Node {
	var all []*html.Node
	for d := range n.Descendants() {
		if d.Type == html.ElementNode {
			all = append(all, d)
		}
	}
	return all
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return b.String()
}

// only holds which elements and attributes a page may have.
func only(t *testing.T, root *html.Node, names, attributes string) {
	t.Helper()
	for _, n := range elements(root) {
		if !slices.Contains(strings.Fields(names), n.Data) {
			t.Fatalf("an element <%s>: %.200q", n.Data, textOf(n))
		}
		for _, a := range n.Attr {
			if !slices.Contains(strings.Fields(attributes), a.Key) {
				t.Fatalf("an attribute %s=%q of <%s>", a.Key, a.Val, n.Data)
			}
		}
	}
}

// ordered holds that headings go down one level at a time, from a single h1.
func ordered(t *testing.T, root *html.Node, ones int) {
	t.Helper()
	last, tops := 0, 0
	for _, n := range elements(root) {
		if len(n.Data) != 2 || n.Data[0] != 'h' || n.Data[1] < '1' || n.Data[1] > '6' {
			continue
		}
		level := int(n.Data[1] - '0')
		if level > last+1 {
			t.Errorf("<h%d> below <h%d>: %.80q", level, last, textOf(n))
		}
		if level == 1 {
			tops++
		}
		last = level
		if strings.TrimSpace(textOf(n)) == "" {
			t.Errorf("an empty <h%d>", level)
		}
	}
	if tops != ones {
		t.Errorf("%d headings at the top", tops)
	}
}

func TestPageIsWellFormedAndNeedsNothing(t *testing.T) {
	everywhere(t, func(t *testing.T, e edition) {
		root := parse(t, e.html)
		only(t, root, "html head meta title style body a header h1 h2 h3 h4 nav ul ol li main section p strong dl div dt dd b span article",
			"lang charset name content http-equiv class href id aria-labelledby data-step data-warning")
		ordered(t, root, 1)
		anchors := map[string]bool{}
		for _, n := range elements(root) {
			anchors[attribute(n.Attr, "id")] = true
		}
		for _, n := range elements(root) {
			for _, a := range n.Attr {
				to, within := strings.CutPrefix(a.Val, "#")
				if a.Key == "href" && (!within || !anchors[to]) || a.Key == "aria-labelledby" && !anchors[a.Val] {
					t.Errorf("%s=%q leads nowhere", a.Key, a.Val)
				}
			}
		}
		style := e.html[strings.Index(e.html, "<style>"):strings.Index(e.html, "</style>")]
		for _, no := range []string{"url(", "@import", "http"} {
			if strings.Contains(style, no) {
				t.Errorf("the style says %q", no)
			}
		}
		if most := 5000 * e.book.Entries; strings.HasSuffix(t.Name(), "/shipped") && len(e.html) > most {
			t.Errorf("the page has %d bytes, more than %d: what is repeated that need not be?", len(e.html), most)
		}
	})
}

// In HTML: every procedure has all warnings of its step, before the first step.
func TestWarningsStandBeforeTheSteps(t *testing.T) {
	everywhere(t, func(t *testing.T, e edition) {
		procedures := 0
		seen := map[string]bool{}
		for _, n := range elements(parse(t, e.html)) {
			id := attribute(n.Attr, "data-step")
			if id == "" {
				continue
			}
			procedures++
			seen[id] = true
			var before []string
			steps := false
			for _, d := range elements(n) {
				if w := attribute(d.Attr, "data-warning"); w != "" {
					if steps {
						t.Errorf("%s: the warning %s stands behind the steps", id, w)
					}
					before = append(before, w)
					warning := &e.base.Warnings[indexOf(e.base, w)]
					if !strings.HasPrefix(textOf(d), strings.ToUpper(string(warning.Level))+" "+clean(warning.Says)) {
						t.Errorf("%s: the warning %s reads %q", id, w, textOf(d))
					}
				}
				steps = steps || attribute(d.Attr, "class") == "steps"
			}
			step := stepOf(e.base, id)
			var want []string
			for _, w := range step.Warnings {
				want = append(want, e.base.Warnings[w].ID)
			}
			slices.Sort(want)
			slices.Sort(before)
			if !slices.Equal(before, want) || !steps {
				t.Errorf("%s: warnings %v, want %v", id, before, want)
			}
		}
		for _, list := range [][]rulebase.Step{e.base.Tests, e.base.Remedies} {
			for i := range list {
				if !list[i].Implied && !seen[list[i].ID] {
					t.Errorf("%s is carried out nowhere", list[i].ID)
				}
			}
		}
		causes := 0
		for i := range e.base.Causes {
			causes += len(e.base.Causes[i].Remedies)
		}
		if procedures < causes {
			t.Errorf("%d procedures for %d remedies of causes", procedures, causes)
		}
	})
}

// In Markdown the same, read as lines: between one Steps and the next, warnings
// stand only before Steps, and each step's card holds all of them there.
func TestWarningsStandBeforeTheStepsInMarkdown(t *testing.T) {
	everywhere(t, func(t *testing.T, e edition) {
		for _, list := range [][]rulebase.Step{e.base.Tests, e.base.Remedies} {
			for i := range list {
				if list[i].Implied {
					continue
				}
				_, card, ok := strings.Cut(e.markdown, `<a id="`+list[i].ID+`"></a>`)
				card, _, _ = strings.Cut(card, "\n#")
				before, after, found := strings.Cut(card, "\n*Steps*\n")
				if !ok || !found || !strings.Contains(after, "\n1. ") || strings.Contains(after, "\n> **") {
					t.Fatalf("%s: the card reads %q", list[i].ID, card)
				}
				for _, w := range list[i].Warnings {
					if !strings.Contains(before, "(#"+e.base.Warnings[w].ID+")\n") {
						t.Errorf("%s: the warning %s does not stand before the steps", list[i].ID, e.base.Warnings[w].ID)
					}
				}
				if n := strings.Count(before, "\n> **"); n != len(list[i].Warnings) {
					t.Errorf("%s: %d warnings, want %d", list[i].ID, n, len(list[i].Warnings))
				}
			}
		}
	})
}

func indexOf(b *rulebase.Base, id string) int {
	r, _ := b.Lookup(id)
	return r.Index
}

func stepOf(b *rulebase.Base, id string) *rulebase.Step {
	r, _ := b.Lookup(id)
	if r.Kind == rulebase.KindRemedy {
		return &b.Remedies[r.Index]
	}
	return &b.Tests[r.Index]
}

func clean(s string) string {
	return strings.Join(strings.Fields(strings.NewReplacer("\x00", "?", "\x1b", "?", "\u202e", "?").Replace(s)), " ")
}

// render is what a common reader of Markdown makes of a file: with extensions
// that make more of plain text than CommonMark does.
func render(t *testing.T, text string) *html.Node {
	t.Helper()
	var out bytes.Buffer
	reader := goldmark.New(goldmark.WithExtensions(extension.GFM, extension.Footnote, extension.DefinitionList), goldmark.WithRendererOptions(goldhtml.WithUnsafe()))
	if err := reader.Convert([]byte(text), &out); err != nil {
		t.Fatal(err)
	}
	root, err := html.Parse(&out)
	if err != nil {
		t.Fatal(err)
	}
	return root
}

func TestMarkdownReadsAsMeant(t *testing.T) {
	everywhere(t, func(t *testing.T, e edition) {
		files := append([]handbook.File{{Name: "", Text: e.markdown}}, e.folder...)
		anchors := map[string]bool{}
		var roots []*html.Node
		for i, f := range files {
			root := render(t, f.Text)
			roots = append(roots, root)
			only(t, root, "html head body h1 h2 h3 h4 p ul ol li a strong em blockquote", "id href")
			ordered(t, root, 1)
			for _, n := range elements(root) {
				if n.Data == "em" && !slices.Contains([]string{"First, what can hurt", "What it takes", "Steps", "Then"}, textOf(n)) {
					t.Errorf("what the rulebase says stands out: %q", textOf(n))
				}
				if id := attribute(n.Attr, "id"); id != "" {
					key := f.Name + "#" + id
					if anchors[key] {
						t.Errorf("the anchor %s is there twice", key)
					}
					anchors[key] = true
				}
			}
			if i > 0 && (path.Base(f.Name) != f.Name || !strings.HasSuffix(f.Name, ".md")) {
				t.Errorf("a file named %q", f.Name)
			}
			anchors[f.Name] = true
		}
		for i, root := range roots {
			for _, n := range elements(root) {
				to := attribute(n.Attr, "href")
				if strings.HasPrefix(to, "#") {
					to = files[i].Name + to
				}
				if n.Data == "a" && to == "" && attribute(n.Attr, "id") == "" || to != "" && !anchors[to] {
					t.Errorf("%q: a link leads to %q, which is not there", files[i].Name, to)
				}
			}
		}
		names := map[string]bool{}
		for _, f := range e.folder {
			if names[f.Name] {
				t.Errorf("two files are named %s", f.Name)
			}
			names[f.Name] = true
		}
		if e.folder[0].Name != handbook.FirstFile {
			t.Errorf("the folder begins with %s", e.folder[0].Name)
		}
	})
}

// Every text of a hostile rulebase that a book shows is read as it was written.
func TestHostileTextIsOnlyText(t *testing.T) {
	e := printed(t, load(t, "hostile"))
	number := regexp.MustCompile(`alert\((\d+)\)`)
	folder := ""
	for _, f := range e.folder {
		folder += textOf(render(t, f.Text)) + "\n"
	}
	for name, text := range map[string]string{"HTML": textOf(parse(t, e.html)), "Markdown": textOf(render(t, e.markdown)), "a folder": folder} {
		text = strings.ReplaceAll(text, "\u00a0", " ")
		shown := map[int]bool{}
		for _, at := range number.FindAllStringSubmatchIndex(text, -1) {
			n, _ := strconv.Atoi(text[at[2]:at[3]])
			shown[n] = true
			// Values and parts are shown as words, with blanks for low lines: both are compared that way.
			want := plain(seenAs(n))
			from := at[0] - len("<script>")
			got := plain(text[from:min(len(text), from+2*len(want))])
			if !strings.HasPrefix(got, want) {
				t.Fatalf("%s shows %q, want %q", name, got, want)
			}
		}
		for _, must := range []string{e.base.Name, e.base.Digest, e.base.Causes[0].Name, e.base.Causes[0].Part, e.base.Conditions[0].Says, e.base.Symptoms[1].Ask, e.base.Symptoms[1].Values[0],
			e.base.Symptoms[1].MistakenFor[0], e.base.Symptoms[2].Unit, e.base.Givens[0].Ask, e.base.Givens[0].OneOf[0], e.base.Rules[0].Because, e.base.Rules[3].Tell, e.base.Tests[0].Do,
			e.base.Tests[0].Steps[0], e.base.Tests[0].Needs[0], e.base.Remedies[0].Do, e.base.Warnings[0].Says, e.base.Warnings[1].Because, e.base.Sources[0].Says, e.base.Sources[0].Kind, e.base.OnSite[0].Called} {
			n, _ := strconv.Atoi(number.FindStringSubmatch(must)[1])
			if !shown[n] {
				t.Errorf("%s does not show text %d", name, n)
			}
		}
	}
}

func plain(s string) string {
	return strings.Join(strings.Fields(strings.ReplaceAll(s, "_", " ")), " ")
}

func TestSameBytesTwice(t *testing.T) {
	for _, name := range []string{"small", "shipped"} {
		one, two := editionOf(t, name), printed(t, load(t, name))
		if one.html != two.html || one.markdown != two.markdown || !slices.Equal(one.folder, two.folder) {
			t.Errorf("%s: two books of one rulebase differ", name)
		}
	}
}

// Contrast by the formula of WCAG 2.1 (relative luminance and contrast ratio):
// 7 to 1 for text (its level AAA), 4.5 for labels, 3 for the lines of boxes.
func TestContrast(t *testing.T) {
	page := printed(t, load(t, "small")).html
	least := map[string]float64{"ink": 7, "soft": 4.5, "rule": 3}
	schemes := regexp.MustCompile(`:root \{[^}]*--ink[^}]*\}`).FindAllString(page, -1)
	if len(schemes) != 3 {
		t.Fatalf("%d schemes, want light, dark and paper", len(schemes))
	}
	for _, scheme := range schemes {
		colour := map[string]string{}
		for _, m := range regexp.MustCompile(`--([a-z]+): #([0-9a-f]{6});`).FindAllStringSubmatch(scheme, -1) {
			colour[m[1]] = m[2]
		}
		for name, want := range least {
			if got := contrast(t, colour[name], colour["paper"]); got < want {
				t.Errorf("%s on paper has a contrast of %.1f, want %.1f: %s", name, got, want, scheme)
			}
		}
	}
}

func contrast(t *testing.T, a, b string) float64 {
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func luminance(t *testing.T, colour string) float64 {
	sum := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		n, err := strconv.ParseUint(colour[2*i:2*i+2], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		x := float64(n) / 255
		if x <= 0.04045 {
			x /= 12.92
		} else {
			x = math.Pow((x+0.055)/1.055, 2.4)
		}
		sum += weight * x
	}
	return sum
}

func TestGolden(t *testing.T) {
	e := printed(t, load(t, "small"))
	files := append([]handbook.File{{Name: "small.html", Text: e.html}, {Name: "small.md", Text: e.markdown}}, inFolder(e.folder)...)
	for _, f := range files {
		name := filepath.Join("testdata", f.Name)
		if *update {
			if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(name, []byte(f.Text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(f.Text, "\n")); diff != "" {
			t.Errorf("%s (-want +got, -update writes it anew):\n%s", name, diff)
		}
	}
}

// inFolder are the files of the folder that a golden is kept of: the first, and a part's.
func inFolder(files []handbook.File) []handbook.File {
	var kept []handbook.File
	for _, f := range files {
		if f.Name == handbook.FirstFile || f.Name == "part-line.md" {
			kept = append(kept, handbook.File{Name: "folder/" + f.Name, Text: f.Text})
		}
	}
	return kept
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if book, err := handbook.New(ctx, engine.Prepare(load(t, "small"))); err == nil || book != nil {
		t.Errorf("a cancelled book: %v", err)
	}
}

// A rulebase of nothing makes a short book.
func TestEmptyRulebase(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "empty.yaml"), []byte("rulebase: {name: empty}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	b, err := rulebase.LoadFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	e := printed(t, b)
	parse(t, e.html)
	if e.book.Entries != 0 || !strings.Contains(e.markdown, "Local codes") {
		t.Errorf("the book reads %q", e.markdown)
	}
	var chapters []string
	for _, c := range e.book.Chapters {
		chapters = append(chapters, c.Title)
	}
	if got := strings.Join(chapters, "; "); got != "Before you use this book; Symptom index; Symptoms; Causes; Test cards; Remedies" {
		t.Errorf("its chapters are %s", got)
	}
}

func BenchmarkShipped(b *testing.B) {
	p := engine.Prepare(load(b, "shipped"))
	for b.Loop() {
		book, err := handbook.New(context.Background(), p)
		if err != nil {
			b.Fatal(err)
		}
		if err := book.HTML(&bytes.Buffer{}); err != nil {
			b.Fatal(err)
		}
	}
}

package source

import (
	"bytes"
	"io"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"sync"

	"gopkg.in/yaml.v3"
)

var yamlError = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^yaml: (?:line (\d+): )?(.*)$`) })

// plainWords says what the parser's messages mean where no trap explains them.
var plainWords = []struct{ message, says string }{
	{"did not find expected key", "this line does not fit those above it: its indentation is off, or something stands behind a closed quote or brace"},
	{"did not find expected '-' indicator", "a list goes on here: begin the line with a dash and a blank, or indent it otherwise"},
	{"mapping values are not allowed", "a key cannot stand here: its indentation is off, or the text it stands in wants quotes"},
	{"could not find expected ':'", "a key wants a colon and a blank behind it, as in `minutes: 6`"},
	{"found unexpected end of stream", "the quote opened here is never closed"},
	{"unknown escape character", "in double quotes a backslash begins an escape; use single quotes, or write it twice"},
	{"hexdecimal number", "in double quotes a backslash begins an escape; use single quotes, or write it twice"},
	{"invalid Unicode character escape", "this escape stands for no character"},
	{"cannot start any token", "a text cannot begin like this in YAML; " + quotes},
	{"tab character", "a tab cannot indent in YAML; use blanks"},
	{"block sequence entries are not allowed", "a list cannot begin on the line of its key: write it as [a, b], or below; a text that begins with a dash wants quotes"},
	{"mapping keys are not allowed", "a lone ? means something else in YAML; " + quotes},
	{"exceeded max depth", "values are nested too deep here"},
	{"',' or '}'", "the brace is not closed, or a comma is missing"},
	{"',' or ']'", "the bracket is not closed, or a comma is missing"},
	{"node content", "a value is missing here"},
	{"expected comment or line break", "nothing may follow here on the line"},
}

// syntax says what YAML could not read: at the place where it went wrong, with
// the usual traps in plain words. The parser itself names the line on which it
// gave up, or where the braces began, or the line before.
func (r *Reader) syntax(file string, text []byte, err error) {
	m := yamlError().FindStringSubmatch(err.Error())
	if m == nil {
		m = []string{"", "", err.Error()}
	}
	named, _ := strconv.Atoi(m[1])
	message, lines := m[2], r.lines[file]
	if alias, ok := strings.CutPrefix(message, "unknown anchor '"); ok {
		r.unknownAlias(file, alias[:strings.IndexByte(alias, '\'')])
		return
	}
	from, to, depth := r.suspects(text, lines, named, message)
	if p, ok := colonWithoutBlank(file, lines, from, message); ok {
		r.Add(p)
		return
	}
	if t, line := firstTrap(lines, from, to, depth); t != nil {
		r.Add(Problem{Position: Position{file, line + 1, t.column}, Kind: t.kind, Says: t.says, Width: t.width})
		return
	}
	at := min(max(0, from), len(lines)-1)
	r.Add(Problem{Position: Position{file, at + 1, columnOf(lines[at], message)}, Kind: "yaml", Says: inPlainWords(message), Width: 1})
}

func inPlainWords(message string) string {
	for _, w := range plainWords {
		if strings.Contains(message, w.message) {
			return w.says
		}
	}
	return "this is not readable YAML: " + message
}

// columnOf is where on its line a mistake without a trap stands: at what is left
// open, else at the beginning.
func columnOf(line, message string) int {
	s := &lineScanner{}
	s.scan(line)
	switch {
	case strings.Contains(message, "',' or") && len(s.opened) > 0:
		return s.opened[len(s.opened)-1]
	case strings.Contains(message, "end of stream") && s.quote > 0:
		return s.quote
	}
	return contentColumn(line)
}

// suspects are the lines, counted from 0, among which the mistake stands, and
// how deep in braces the first of them begins.
func (r *Reader) suspects(text []byte, lines []string, named int, message string) (from, to, depth int) {
	inBraces := strings.Contains(message, "',' or") || strings.Contains(message, "node content")
	switch {
	case inBraces:
		// The line named is the one before the braces began.
		from, to = named, readUntil(text)
		if document := strings.TrimLeft(firstContent(lines), " "); from > 0 && document != "" && strings.ContainsRune("{[", rune(document[0])) {
			depth = 1
		}
	case strings.Contains(message, "did not find expected key") || strings.Contains(message, "indicator"):
		from = firstFailing(lines, message, min(max(0, named-1), len(lines)-1), readUntil(text))
		to = from
	case strings.Contains(message, "tab character"):
		from, to = max(0, named-1), readUntil(text)
	case strings.Contains(message, "end of stream"):
		from, to = max(0, named-1), -1 // the opening quote is exact, and no trap
	default:
		from = max(0, named-1)
		to = from
		if t, _ := firstTrap(lines, from, to, 0); t == nil && from > 0 {
			if t, _ := firstTrap(lines, from-1, from-1, 0); t != nil {
				from--
			}
		}
	}
	return from, to, depth
}

// firstContent is the first line that is neither empty nor a comment.
func firstContent(lines []string) string {
	for _, l := range lines {
		if s := strings.TrimSpace(l); s != "" && s[0] != '#' && s != "---" {
			return l
		}
	}
	return ""
}

// oneByOne hands out a text byte by byte, so that what has been taken is what
// the parser has looked at.
type oneByOne struct {
	text []byte
	at   int
}

// Read hands out one byte.
func (o *oneByOne) Read(p []byte) (int, error) {
	if o.at == len(o.text) {
		return 0, io.EOF
	}
	p[0] = o.text[o.at]
	o.at++
	return 1, nil
}

// readUntil is the line, counted from 0, up to which the parser looks before it gives up.
func readUntil(text []byte) int {
	o := &oneByOne{text: text}
	_, _ = decode(yaml.NewDecoder(o))
	return bytes.Count(text[:o.at], []byte("\n"))
}

// firstFailing is the first line that makes the parser fail with a message,
// counted from 0: the shortest beginning of the file that fails so.
func firstFailing(lines []string, message string, low, high int) int {
	high = min(high, len(lines)-1)
	return low + sort.Search(high-low, func(i int) bool {
		_, err := decode(yaml.NewDecoder(strings.NewReader(strings.Join(lines[:low+i+1], "\n") + "\n")))
		return err != nil && strings.HasSuffix(err.Error(), message)
	})
}

func (r *Reader) unknownAlias(file, name string) {
	sign := regexp.MustCompile(`(?:^|[\s{\[,])(\*` + regexp.QuoteMeta(name) + `)`)
	for i, line := range r.lines[file] {
		if m := sign.FindStringSubmatchIndex(line); m != nil {
			n := &Node{Pos: Position{file, i + 1, 1 + len([]rune(line[:m[2]]))}, Text: "*" + name}
			r.Problem(n, "alias", "", aliasSays, "*"+name)
			return
		}
	}
	r.Add(Problem{Position: Position{File: file}, Kind: "alias", Says: "aliases (*" + name + ") are not allowed; write the value out"})
}

const aliasSays = "YAML takes %s for an alias, which is not allowed; write the value out, or " + quotes

var keyWithoutBlank = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[ -]*[a-z_0-9]+(:)[^\s:]`) })

// colonWithoutBlank recognises `minutes:6`, which YAML takes for one word and
// then stumbles over the line after.
func colonWithoutBlank(file string, lines []string, at int, message string) (Problem, bool) {
	if strings.Contains(message, "mapping values") || strings.Contains(message, "expected ':'") {
		for i := max(0, at-1); i <= min(at, len(lines)-1); i++ {
			if m := keyWithoutBlank().FindStringSubmatchIndex(lines[i]); m != nil && !strings.Contains(lines[i][m[2]:], ": ") {
				return Problem{Position: Position{file, i + 1, m[2] + 1}, Kind: "colon", Says: "a colon wants a blank behind it", Width: 1}, true
			}
		}
	}
	return Problem{}, false
}

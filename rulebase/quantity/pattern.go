package quantity

import (
	"regexp"
	"sync"
)

// A Pattern is a regular expression that is compiled when it is first used.
// Reading what people type takes many; a start of the program that reads none
// should pay for none. It stands here because readings and the conversation,
// which reads the rest of an entry, are the only ones that need it.
type Pattern struct {
	once sync.Once
	text string
	re   *regexp.Regexp
}

// NewPattern makes a pattern of an expression, which must be a valid one.
func NewPattern(text string) *Pattern { return &Pattern{text: text} }

// RE is the compiled expression.
func (p *Pattern) RE() *regexp.Regexp {
	p.once.Do(func() { p.re = regexp.MustCompile(p.text) })
	return p.re
}

// MatchString says whether a text holds a match.
func (p *Pattern) MatchString(s string) bool { return p.RE().MatchString(s) }

// FindString is the first match in a text, "" where there is none.
func (p *Pattern) FindString(s string) string { return p.RE().FindString(s) }

// FindStringSubmatch is the first match in a text with its groups, nil where there is none.
func (p *Pattern) FindStringSubmatch(s string) []string { return p.RE().FindStringSubmatch(s) }

// ReplaceAllString replaces all matches in a text.
func (p *Pattern) ReplaceAllString(s, by string) string { return p.RE().ReplaceAllString(s, by) }

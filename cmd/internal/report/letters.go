package report

import (
	"strings"
	"unicode"
)

// How wide letters are in the sans-serif faces that screens and printers share the
// measures of (Arial, Helvetica, Liberation Sans), in thousandths of their size, from the
// space on. A test holds them to what a browser measures.
var letterWidths = [...]int{
	278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, // space to /
	556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, // 0 to ?
	1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778, // @ to O
	667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556, // P to _
	333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556, // ` to o
	556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584, // p to ~
}

var boldWidths = [...]int{
	278, 333, 474, 556, 556, 889, 722, 238, 333, 333, 389, 584, 278, 333, 278, 278,
	556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 333, 333, 584, 584, 584, 611,
	975, 722, 722, 722, 722, 667, 611, 778, 722, 278, 556, 722, 611, 833, 722, 778,
	667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 333, 278, 333, 584, 556,
	333, 556, 611, 556, 611, 556, 333, 611, 611, 278, 278, 556, 278, 889, 611, 611,
	611, 611, 389, 556, 333, 611, 556, 778, 556, 556, 500, 389, 280, 389, 584,
}

const otherLetter = 722 // of other scripts; wide ones are twice that

// LettersWide is how wide a line is in a face of those measures, in the unit of its size.
func LettersWide(text string, size float64, bold bool) float64 {
	sum, widths := 0, letterWidths[:]
	if bold {
		widths = boldWidths[:]
	}
	for _, r := range text {
		switch i := int(r) - ' '; {
		case i >= 0 && i < len(widths):
			sum += widths[i]
		case unicode.Is(unicode.Mn, r):
		case r >= 0x1100:
			sum += 2 * otherLetter
		default:
			sum += otherLetter
		}
	}
	return float64(sum) / 1000 * size
}

// A textRun is text in one weight.
type textRun struct {
	text string
	bold bool
}

// foldLetters folds text to lines no wider than a width, but never divides a word.
func foldLetters(size, width float64, runs ...textRun) [][]textRun {
	var lines [][]textRun
	var line []textRun
	at, space := 0.0, LettersWide(" ", size, false)
	for _, run := range runs {
		for _, word := range strings.Fields(run.text) {
			wide := LettersWide(word, size, run.bold)
			if len(line) > 0 && at+space+wide > width {
				lines, line, at = append(lines, line), nil, 0
			}
			last := len(line) - 1
			switch {
			case last < 0:
				line = []textRun{{word, run.bold}}
			case line[last].bold == run.bold:
				line[last].text += " " + word
				at += space
			default:
				line = append(line, textRun{" " + word, run.bold})
				at += space
			}
			at += wide
		}
	}
	if len(line) > 0 {
		lines = append(lines, line)
	}
	return lines
}

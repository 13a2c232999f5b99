package report_test

import (
	"encoding/xml"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"downdrop/cmd/internal/report"
)

// A box is a piece of paper, in the units of a drawing's view box.
type box struct{ left, top, right, bottom float64 }

func (a box) over(b box) bool {
	return math.Min(a.right, b.right)-math.Max(a.left, b.left) > 1 && math.Min(a.bottom, b.bottom)-math.Max(a.top, b.top) > 1
}

func (a box) within(b box) bool {
	return a.left >= b.left-0.5 && a.top >= b.top-0.5 && a.right <= b.right+0.5 && a.bottom <= b.bottom+0.5
}

// A drawnThing is an element of a drawing: where it lies, and what it is.
type drawnThing struct {
	box
	is, class string
	x, y      float64 // of a text: where its line of writing is at its anchor
	anchor    string
	says      string
	points    [][2]float64 // of a line or path, stroke after stroke
	starts    []int        // where among them a stroke begins
	clipped   bool         // what runs off is not drawn
}

// A drawing is read back from its SVG.
type drawing struct {
	paper box
	all   []drawnThing
}

var (
	styleOf   = regexp.MustCompile(`(?s)<style>.*?</style>`)
	media     = regexp.MustCompile(`@media[^{]*\{(?:[^{}]*\{[^}]*\})*\}`)
	styleRule = regexp.MustCompile(`([\w. ]+)\{([^}]*)\}`)
	pixels    = regexp.MustCompile(`([\d.]+)px`)
	pathStep  = regexp.MustCompile(`[MmLlHhVv]|-?[\d.]+`)
)

// readDrawing reads a drawing; styles are those of a page that it stands in.
func readDrawing(t *testing.T, svg, styles string) *drawing {
	t.Helper()
	styles += strings.Join(styleOf.FindAllString(svg, -1), "")
	size, bold, anchors := map[string]float64{}, map[string]bool{}, map[string]string{}
	for _, rule := range styleRule.FindAllStringSubmatch(media.ReplaceAllString(styles, ""), -1) {
		name := strings.TrimPrefix(strings.TrimPrefix(strings.TrimSpace(strings.TrimPrefix(rule[1], "style")), "svg "), ".")
		if px := pixels.FindStringSubmatch(rule[2]); px != nil && strings.Contains(rule[2], "font") {
			size[name] = number(t, px[1])
		}
		if strings.Contains(rule[2], "font-weight:700") {
			bold[name] = true
		}
		if strings.Contains(rule[2], "text-anchor:middle") {
			anchors[name] = "middle"
		}
	}
	d := &drawing{}
	decoder := xml.NewDecoder(strings.NewReader(svg))
	var text *drawnThing // the one that is being read
	var letters, wide float64
	heavy, groups, aside := []bool{}, []bool{}, 0
	for {
		token, err := decoder.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("not well formed: %v", err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			is := map[string]string{}
			for _, a := range e.Attr {
				is[a.Name.Local] = a.Value
			}
			at := func(name string) float64 {
				if is[name] == "" {
					return 0
				}
				return number(t, is[name])
			}
			if aside > 0 || slices.Contains([]string{"defs", "title", "style"}, e.Name.Local) {
				aside++
				continue
			}
			one := drawnThing{is: e.Name.Local, class: is["class"], clipped: slices.Contains(groups, true)}
			switch e.Name.Local {
			case "svg":
				view := strings.Fields(is["viewBox"])
				x, y := number(t, view[0]), number(t, view[1])
				d.paper = box{x, y, x + number(t, view[2]), y + number(t, view[3])}
				if is["font-size"] != "" && size["text"] == 0 {
					size["text"] = number(t, is["font-size"])
				}
				continue
			case "g":
				groups = append(groups, is["clip-path"] != "")
				continue
			case "text":
				letters, wide = size["text"], 0
				if s := size[one.class]; s > 0 {
					letters = s
				}
				one.x, one.y, one.anchor = at("x"), at("y"), is["text-anchor"]
				if a := anchors[one.class]; a != "" {
					one.anchor = a
				}
				heavy = append(heavy, bold[one.class] || is["font-weight"] == "bold")
				text = &one
				continue
			case "tspan":
				heavy = append(heavy, is["font-weight"] == "bold")
				continue
			case "rect":
				if strings.HasSuffix(is["width"], "%") { // the ground
					one.box = d.paper
					break
				}
				one.box = box{at("x"), at("y"), at("x") + at("width"), at("y") + at("height")}
			case "circle":
				r := at("r")
				one.box = box{at("cx") - r, at("cy") - r, at("cx") + r, at("cy") + r}
			case "line":
				one.points, one.starts = [][2]float64{{at("x1"), at("y1")}, {at("x2"), at("y2")}}, []int{0}
			case "path":
				one.points, one.starts = walked(t, is["d"])
			default:
				t.Fatalf("nothing is known of <%s>", e.Name.Local)
			}
			if len(one.points) > 0 {
				one.box = box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
				for _, p := range one.points {
					one.box = box{math.Min(one.left, p[0]), math.Min(one.top, p[1]), math.Max(one.right, p[0]), math.Max(one.bottom, p[1])}
				}
			}
			d.all = append(d.all, one)
		case xml.CharData:
			if text != nil && aside == 0 {
				text.says += string(e)
				wide += report.LettersWide(string(e), letters, heavy[len(heavy)-1])
			}
		case xml.EndElement:
			switch {
			case aside > 0:
				aside--
			case e.Name.Local == "g":
				groups = groups[:len(groups)-1]
			case e.Name.Local == "tspan":
				heavy = heavy[:len(heavy)-1]
			case e.Name.Local == "text":
				left := text.x - map[string]float64{"middle": wide / 2, "end": wide}[text.anchor]
				text.box = box{left, text.y - 0.73*letters, left + wide, text.y + 0.21*letters}
				if text.says != "" {
					d.all = append(d.all, *text)
				}
				heavy, text = nil, nil
			}
		}
	}
	if d.paper.right == 0 || len(d.all) == 0 {
		t.Fatal("there is no drawing")
	}
	return d
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		t.Fatalf("%q is no number of a drawing", text)
	}
	return x
}

// walked are the points of a path.
func walked(t *testing.T, path string) (points [][2]float64, starts []int) {
	t.Helper()
	steps := pathStep.FindAllString(path, -1)
	var x, y float64
	kind := ""
	for i := 0; i < len(steps); {
		if strings.ContainsAny(steps[i], "MmLlHhVv") {
			if kind = steps[i]; strings.ContainsAny(kind, "Mm") {
				starts = append(starts, len(points))
			}
			i++
		}
		switch one := number(t, steps[i]); kind {
		case "H":
			x = one
		case "h":
			x += one
		case "V":
			y = one
		case "v":
			y += one
		case "M", "L":
			x, y = one, number(t, steps[i+1])
			i++
		default:
			x, y = x+one, y+number(t, steps[i+1])
			i++
		}
		i++
		points = append(points, [2]float64{x, y})
	}
	return points, starts
}

// of are the things of a kind and class; "" is any.
func (d *drawing) of(is, class string) []drawnThing {
	var out []drawnThing
	for _, x := range d.all {
		if x.is == is && (class == "" || x.class == class) {
			out = append(out, x)
		}
	}
	return out
}

// texts is all that a drawing says.
func (d *drawing) texts() string {
	var all []string
	for _, x := range d.of("text", "") {
		all = append(all, x.says)
	}
	return strings.Join(all, "\n")
}

// tidy holds a drawing to what every drawing owes its reader: all of it lies on the paper, and no
// text lies on another.
func (d *drawing) tidy(t *testing.T, name string) {
	t.Helper()
	for _, x := range d.all {
		if !x.clipped && !x.within(d.paper) {
			t.Errorf("%s: the %s %s%q lies at %.0f, off the paper of %.0f", name, x.is, x.class, x.says, x.box, d.paper)
		}
	}
	texts := d.of("text", "")
	for i, a := range texts {
		for _, b := range texts[:i] {
			if a.over(b.box) {
				t.Errorf("%s: %q at %.0f lies on %q at %.0f", name, a.says, a.box, b.says, b.box)
			}
		}
	}
}

// svgOf draws.
func svgOf(t *testing.T, draw func(io.Writer) error) string {
	t.Helper()
	return string(written(t, draw))
}

// A drawnAxis is an axis as its marks tell it: what a place on paper stands for.
type drawnAxis struct {
	unit  string
	value func(place float64) float64
}

// axes reads the marks of a frame. They are held to stand on round numbers at even distances, each at its
// number, and to be enough to read by.
func (d *drawing) axes(t *testing.T, name string, frame box) (across, up drawnAxis) {
	t.Helper()
	read := func(place func(drawnThing) float64, at func(drawnThing) bool, beside func(mark, text drawnThing) bool) drawnAxis {
		var places, numbers []float64
		for _, mark := range d.of("line", "axis") {
			if !at(mark) {
				continue
			}
			for _, text := range d.of("text", "") {
				if beside(mark, text) {
					places, numbers = append(places, place(mark)), append(numbers, number(t, text.says))
				}
			}
		}
		n := len(numbers)
		if n < 4 || n > 11 {
			t.Fatalf("%s: an axis has the marks %v", name, numbers)
		}
		step := (numbers[n-1] - numbers[0]) / float64(n-1)
		value := func(at float64) float64 {
			return numbers[0] + (at-places[0])*(numbers[n-1]-numbers[0])/(places[n-1]-places[0])
		}
		for i := range numbers {
			if !(math.Abs(numbers[i]-numbers[0]-float64(i)*step) <= 1e-6*step) || !(math.Abs(value(places[i])-numbers[i]) <= step/100) {
				t.Errorf("%s: an axis has the marks %v at %v", name, numbers, places)
			}
		}
		if first := step / math.Pow(10, math.Floor(math.Log10(step)+1e-9)); !(math.Abs(first-1) <= 1e-6) && !(math.Abs(first-2) <= 1e-6) && !(math.Abs(first-5) <= 1e-6) {
			t.Errorf("%s: an axis goes by %v", name, step)
		}
		if !(math.Abs(numbers[0]/step-math.Round(numbers[0]/step)) <= 1e-6) {
			t.Errorf("%s: an axis has the marks %v", name, numbers)
		}
		return drawnAxis{value: value}
	}
	across = read(func(m drawnThing) float64 { return m.left },
		func(m drawnThing) bool {
			return m.left == m.right && m.top == frame.bottom && m.bottom > m.top && m.left >= frame.left-0.1 && m.right <= frame.right+0.1
		},
		func(m, x drawnThing) bool {
			return x.anchor == "middle" && x.x == m.left && x.top > m.bottom && x.bottom < m.bottom+20
		})
	up = read(func(m drawnThing) float64 { return m.top },
		func(m drawnThing) bool {
			return m.top == m.bottom && m.right == frame.left && m.right > m.left && m.top >= frame.top-0.1 && m.bottom <= frame.bottom+0.1
		},
		func(m, x drawnThing) bool {
			return x.anchor == "end" && x.right < m.left && x.right > m.left-10 && x.top < m.top && x.bottom > m.top
		})
	for _, x := range d.of("text", "") {
		_, unit, _ := strings.Cut(x.says, ", ")
		switch {
		case x.anchor == "end" && math.Abs(x.right-frame.right) < 1 && x.top > frame.bottom && x.bottom < frame.bottom+60:
			across.unit = unit
		case x.anchor == "end" && math.Abs(x.right-frame.right) < 1 && x.bottom < frame.top && x.top > frame.top-30:
			up.unit = unit
		}
	}
	return across, up
}

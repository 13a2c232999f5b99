package report_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
	"downdrop/testdata/support/browser"
)

// smallChart and shippedChart are charts on disk.
func smallChart(t *testing.T) (*report.Chart, string) {
	base, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	return chartOnDisk(t, base, rulebase.Situation{At: rulebase.Field}, engine.ChartOptions{})
}

func TestMain(m *testing.M) {
	code := m.Run()
	browser.Close()
	os.Exit(code)
}

func shippedChart(t *testing.T, places int) (*report.Chart, string) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	lit, _ := base.ReadSee("power_light=lit")
	g, _ := base.ReadGiven("loss_of_bus=off")
	return chartOnDisk(t, base, rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician, Findings: []rulebase.Finding{lit}, Givens: []rulebase.GivenValue{g}}, engine.ChartOptions{Nodes: places})
}

func chartOnDisk(t *testing.T, base *rulebase.Base, s rulebase.Situation, o engine.ChartOptions) (*report.Chart, string) {
	t.Helper()
	p := engine.Prepare(base)
	tree, err := engine.Chart(context.Background(), p, s, o)
	if err != nil {
		t.Fatal(err)
	}
	chart := report.NewChart(p, s, tree, report.StillInPlace(base, s))
	var out bytes.Buffer
	if err := chart.HTML(&out, report.ChartKind{}); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "chart.html")
	if err := os.WriteFile(file, out.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return chart, "file://" + file
}

// here is what a phone shows of a chart.
type here struct {
	Shown  int      // sections to be seen: one
	ID     string   // of the one
	Ways   []string // where its answers lead
	Small  int      // answers lower than 56 px
	Wide   bool     // it has to be pushed sideways
	Hidden bool     // a warning stands below what it warns of
}

const lookHere = `(function(){
 var all=[...document.querySelectorAll(".place")].filter(function(e){return e.offsetParent!==null});
 var e=all[0]||document.body, ways=[...e.querySelectorAll("a.way")];
 var doing=e.querySelector(".do"), warnings=[...e.querySelectorAll(".warning")];
 return {Shown:all.length, ID:e.id, Ways:ways.map(function(a){return a.getAttribute("href").slice(1)}),
  Small:ways.filter(function(a){return a.getBoundingClientRect().height<56}).length,
  Wide:document.documentElement.scrollWidth>window.innerWidth,
  Hidden:warnings.some(function(w){return doing&&w.getBoundingClientRect().top>doing.getBoundingClientRect().top})};
})()`

func look(t *testing.T, tab *browser.Tab, want string) here {
	t.Helper()
	var h here
	for range 100 { // the page follows its address in its own time
		h = here{}
		if tab.Eval(lookHere, &h); h.ID == want && h.Shown == 1 {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if h.Shown != 1 || h.ID != want || h.Small > 0 || h.Wide || h.Hidden {
		t.Fatalf("at %s the phone shows %+v", want, h)
	}
	return h
}

// Every path of a small chart, from a disk, with the network cut: forward by its
// answers, back by the button.
func TestEveryPathOfASmallChartOnAPhone(t *testing.T) {
	t.Parallel()
	_, address := smallChart(t)
	tab := browser.New(t, browser.Options{Width: 360, Height: 740, Offline: true})
	tab.Run(chromedp.Navigate(address))
	walked, ends := 0, 0
	var walk func(id string)
	walk = func(id string) {
		h := look(t, tab, id)
		if len(h.Ways) == 0 {
			ends++
			return
		}
		for _, to := range h.Ways {
			walked++
			tab.Click(`#` + id + ` a.way[href="#` + to + `"]`)
			walk(to)
			tab.Click("#back")
			look(t, tab, id)
		}
	}
	walk("p1")
	if walked < 10 || ends < 5 {
		t.Errorf("only %d answers and %d ends", walked, ends)
	}
	t.Logf("%d answers, %d ends", walked, ends)
}

// Random paths of the shipped chart, with the phone put away and taken out again on the way.
func TestRandomPathsOfTheShippedChartInABrowser(t *testing.T) {
	t.Parallel()
	if support.Deep(t, 1) == 1 {
		t.Skip("a step of CI does so, with DOWNDROP_DEEP=2")
	}
	_, address := shippedChart(t, 80)
	tab := browser.New(t, browser.Options{Width: 360, Height: 740, Offline: true})
	r := rand.New(rand.NewPCG(5, 28))
	tab.Run(chromedp.Navigate(address))
	for range support.Deep(t, 6) {
		id := "p1"
		for {
			h := look(t, tab, id)
			if len(h.Ways) == 0 {
				break
			}
			to := h.Ways[r.IntN(len(h.Ways))]
			tab.Click(`#` + id + ` a.way[href="#` + to + `"]`)
			if id = to; r.IntN(20) == 0 {
				tab.Run(chromedp.Navigate("about:blank"), chromedp.Navigate(address)) // without the place in the address
			}
		}
		tab.Click("#again")
	}
	look(t, tab, "p1")
}

// By keys alone: Tab goes to an answer, Enter gives it. Where a browser refuses to keep
// anything, the address still says where one was.
func TestChartByKeysWithoutStorage(t *testing.T) {
	t.Parallel()
	_, address := smallChart(t)
	tab := browser.New(t, browser.Options{Width: 360, Height: 740, Offline: true})
	refuse := `Object.defineProperty(window, "localStorage", {get: function () { throw new Error("refused"); }})`
	tab.Run(chromedp.ActionFunc(func(ctx context.Context) error {
		_, err := page.AddScriptToEvaluateOnNewDocument(refuse).Do(ctx)
		return err
	}), chromedp.Navigate(address))
	id := "p1"
	for {
		h := look(t, tab, id)
		if len(h.Ways) == 0 {
			break
		}
		tab.Run(chromedp.KeyEvent(kb.Tab), chromedp.KeyEvent(kb.Enter)) // the first answer
		id = h.Ways[0]
	}
	if id == "p1" {
		t.Fatal("nothing was answered")
	}
	var where string
	tab.Eval("location.href", &where)
	tab.Run(chromedp.Navigate("about:blank"), chromedp.Navigate(where))
	look(t, tab, id)
	tab.Run(chromedp.NavigateBack(), chromedp.Navigate(address))
	look(t, tab, "p1")
}

// What is known, and what is still in place, is told at the beginning, and the latter
// everywhere; the whole chart goes to where an answer leads.
func TestChartTellsWhatStandsInPlace(t *testing.T) {
	t.Parallel()
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	lit, _ := base.ReadSee("power_light=lit")
	s := rulebase.Situation{At: rulebase.Field, Findings: []rulebase.Finding{lit}, Done: []rulebase.Done{{ID: "leave_drop_out_for_now"}}}
	_, address := chartOnDisk(t, base, s, engine.ChartOptions{Nodes: 10})
	tab := browser.New(t, browser.Options{Width: 360, Height: 740, Offline: true})
	tab.Run(chromedp.Navigate(address))
	seen := func() (text string) {
		tab.Eval("document.body.innerText", &text)
		return text
	}
	if text := seen(); !strings.Contains(text, "power light lit") || !strings.Contains(text, "STILL IN PLACE") {
		t.Errorf("at the beginning:\n%s", text)
	}
	to := look(t, tab, "p1").Ways[0]
	tab.Click(`#p1 a.way[href="#` + to + `"]`)
	look(t, tab, to)
	if text := seen(); strings.Contains(text, "power light lit") || !strings.Contains(text, "STILL IN PLACE") || !strings.Contains(text, "Answers so far") {
		t.Errorf("further on:\n%s", text)
	}
	tab.Click("#all")
	var h struct {
		Seen int
		Top  float64
	}
	tab.Eval(`(function(){window.third=document.querySelectorAll(".place")[2];location.hash=third.id;return true})()`, new(bool))
	for range 50 {
		tab.Eval(`({Seen:[...document.querySelectorAll(".place")].filter(function(e){return e.offsetParent!==null}).length, Top:third.getBoundingClientRect().top})`, &h)
		if h.Top < 370 && h.Top > -1 {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if h.Seen < 5 || h.Top >= 370 || h.Top <= -1 {
		t.Errorf("of the whole chart %+v", h)
	}
}

// A chart that ends where it begins is a page that says so.
func TestChartThatEndsAtOnceOnAPhone(t *testing.T) {
	t.Parallel()
	base, err := rulebase.LoadFolder("../../../testdata/checks/asia/rulebase")
	if err != nil {
		t.Fatal(err)
	}
	_, address := chartOnDisk(t, base, rulebase.Situation{At: rulebase.Field}, engine.ChartOptions{Identify: true})
	tab := browser.New(t, browser.Options{Width: 360, Height: 740, Offline: true})
	tab.Run(chromedp.Navigate(address))
	if h := look(t, tab, "p1"); len(h.Ways) > 0 {
		t.Errorf("%+v", h)
	}
}

// With scripts off the whole chart is there, and its answers lead by number.
func TestChartWithoutScripts(t *testing.T) {
	t.Parallel()
	_, address := smallChart(t)
	tab := browser.New(t, browser.Options{Width: 360, Height: 740, Offline: true, NoScript: true})
	tab.Run(chromedp.Navigate(address))
	var h struct{ Places, Seen, Lost int }
	tab.Eval(`(function(){var all=[...document.querySelectorAll(".place")];
	 return {Places:all.length, Seen:all.filter(function(e){return e.offsetParent!==null}).length,
	  Lost:[...document.querySelectorAll("a.way")].filter(function(a){return !document.getElementById(a.getAttribute("href").slice(1))}).length}})()`, &h)
	if h.Places < 5 || h.Seen != h.Places || h.Lost > 0 {
		t.Errorf("%+v", h)
	}
}

// One side of paper is one side, at 9 points, on either paper, for whoever stands
// wherever; and what can hurt stands above the step that it belongs to.
func TestDoorPageIsOneSideInABrowser(t *testing.T) {
	t.Parallel()
	if support.Deep(t, 1) == 1 {
		t.Skip("a step of CI does so, with DOWNDROP_DEEP=2")
	}
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(base)
	tab := browser.New(t, browser.Options{Width: 1280, Height: 800, Offline: true})
	file := filepath.Join(t.TempDir(), "door.html")
	persons := []rulebase.Who{rulebase.Operator, rulebase.Engineer}
	warned, legends := 0, 0
	for _, at := range []rulebase.Place{rulebase.Phone, rulebase.Field, rulebase.Bench} {
		for i, who := range persons {
			if (at == rulebase.Field) == (i == 0) && support.Deep(t, 1) == 1 {
				continue // the operator by phone and at the bench, the engineer at the drop
			}
			g, _ := base.ReadGiven("loss_of_bus=off")
			s := rulebase.Situation{At: at, Who: who, Givens: []rulebase.GivenValue{g}}
			tree, err := engine.Chart(t.Context(), p, s, engine.ChartOptions{Nodes: 15})
			if err != nil {
				t.Fatal(err)
			}
			for _, paper := range []string{"a4", "letter"} { // the smaller one last: what it lacks room for is gone
				chart := report.NewChart(p, s, tree, nil)
				for !chart.FitsPage(paper, report.ChartKind{}) && tree.Trim(chart.Size(paper)) {
					chart = report.NewChart(p, s, tree, nil)
				}
				var out bytes.Buffer
				if err := chart.Page(&out, paper, report.ChartKind{}); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(file, out.Bytes(), 0o600); err != nil {
					t.Fatal(err)
				}
				tab.Run(chromedp.Navigate("file://" + file))
				size := map[string]string{"a4": "594.", "letter": "612"}[paper]
				if pdf := tab.PDF(); bytes.Count(pdf, []byte("/Type /Page\n")) != 1 || !bytes.Contains(pdf, []byte("/MediaBox [0 0 "+size)) {
					t.Errorf("%s, %s, %s: %d sides, or another size", at, who, paper, bytes.Count(pdf, []byte("/Type /Page\n")))
				}
				var h struct {
					Boxes, Warnings, Late, Lost, Legend int
					Least                               float64
				}
				tab.Eval(lookDoor, &h)
				if h.Boxes > 15 || h.Boxes < 3 || h.Late > 0 || h.Lost > 0 || h.Least < 12-1e-9 { // 9 pt are 12 px
					t.Errorf("%s, %s, %s: %+v", at, who, paper, h)
				}
				warned, legends = warned+h.Warnings, legends+h.Legend
			}
		}
	}
	if warned < 20 || legends == 0 {
		t.Errorf("only %d warnings, %d in full at the head", warned, legends)
	}
}

// lookDoor counts warnings below their steps, and numbers that lead nowhere.
const lookDoor = `(function(){
 var all=[...document.querySelectorAll("body *")].filter(function(e){return e.textContent.trim()!==""}), boxes=[...document.querySelectorAll(".box")];
 var late=0, lost=0, warnings=0, tags=boxes.map(function(b){return b.querySelector(".tag").textContent.trim()});
 boxes.forEach(function(b){var doing=b.querySelector(".do").getBoundingClientRect();
  b.querySelectorAll(":scope > .warnings p").forEach(function(w){warnings++;if(w.getBoundingClientRect().top>=doing.top)late++});
  b.querySelectorAll("li > strong").forEach(function(a){if(tags.indexOf(a.textContent.replace("go to ",""))<0)lost++})});
 return {Boxes:boxes.length, Warnings:warnings, Late:late, Lost:lost, Legend:document.querySelectorAll(".legend p").length,
  Least:Math.min.apply(null,all.map(function(e){return parseFloat(getComputedStyle(e).fontSize)}))};
})()`

// What is reckoned of the width of letters is what a browser measures.
func TestLettersAreAsWideAsInABrowser(t *testing.T) {
	t.Parallel()
	tab := browser.New(t, browser.Options{Width: 1280, Height: 800, Offline: true})
	tab.Run(chromedp.Navigate("about:blank"))
	var all strings.Builder
	for r := ' '; r <= '~'; r++ {
		all.WriteRune(r)
	}
	for _, text := range []string{all.String(), "Switch the drop's supply and field supplies off and prove it before a unit, module or plug moves.", "DANGER WARNING CAUTION NOTICE"} {
		for _, bold := range []bool{false, true} {
			var wide float64
			tab.Eval(fmt.Sprintf(`(function(){var c=document.createElement("canvas").getContext("2d");c.fontKerning="none";c.font=%q;return c.measureText(%q).width})()`,
				map[bool]string{true: "bold ", false: ""}[bold]+`100px "Liberation Sans", Arial, Helvetica`, text), &wide)
			if got := report.LettersWide(text, 100, bold); !(math.Abs(got-wide) <= 0.005*wide) {
				t.Errorf("bold %t: %.0f for %.0f wide: %s", bold, got, wide, text)
			}
		}
	}
}

// In a drawing no text runs over another, or out of its column, and the page that a
// browser makes of it is all there.
func TestDrawingKeepsToItsColumnsInABrowser(t *testing.T) {
	t.Parallel()
	if support.Deep(t, 1) == 1 {
		t.Skip("a step of CI does so, with DOWNDROP_DEEP=2")
	}
	chart, _ := shippedChart(t, 40)
	var svg bytes.Buffer
	if err := chart.SVG(&svg, report.ChartKind{}); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "chart.svg")
	if err := os.WriteFile(file, svg.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	tab := browser.New(t, browser.Options{Width: 1280, Height: 800, Offline: true})
	tab.Run(chromedp.Navigate("file://" + file))
	var h struct{ Texts, Tags, Terminals, Over, Out int }
	tab.Eval(`(function(){
	 var tags=[...document.querySelectorAll(".tag")], left=[...new Set(tags.map(function(t){return +t.getAttribute("x")}))].sort(function(a,b){return a-b});
	 var texts=[...document.querySelectorAll("text")], boxes=texts.map(function(t){return t.getBBox()}), over=0, out=0;
	 boxes.forEach(function(b,i){
	  for(var j=i+1;j<boxes.length;j++){var c=boxes[j];if(b.x+1<c.x+c.width&&c.x+1<b.x+b.width&&b.y+4<c.y+c.height-1&&c.y+4<b.y+b.height-1)over++}
	  var column=left.filter(function(x){return x<=b.x}).pop();
	  if(b.y>+tags[0].getAttribute("y")&&i<texts.length-4&&b.x+b.width>column+440+4)out++});
	 return {Texts:texts.length, Tags:tags.length, Terminals:document.querySelectorAll(".terminal").length, Over:over, Out:out};
	})()`, &h)
	if h.Texts < 300 || h.Tags < 20 || h.Terminals < 2*h.Tags || h.Over > 0 || h.Out > 0 {
		t.Errorf("%+v", h)
	}
}

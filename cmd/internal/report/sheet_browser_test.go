package report_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"downdrop/cmd/internal/report"
	"downdrop/engine/sheet"
	"downdrop/rulebase"
	"downdrop/testdata/support/browser"
)

// crowded is a trunk with a repeater and many things that do not go at one place.
const crowded = `sheet: Weir house, trunk 1
line: tia485_polled
rate: 19.2 kbaud
rise_time: 400 ns
cable: [{length: 700 m, conductor: AWG 24, impedance: 120 ohm, shielded: yes}, {length: 700 m, conductor: AWG 24, impedance: 120 ohm, shielded: no}]
inline: [{name: R1, kind: repeater, at: 700 m}]
terminators: [{at: host}, {at: 700 m}, {at: 700 m}, {at: 1100 m}]
stubs: [{at: 300 m, length: 25 m}, {at: 305 m, length: 25 m}, {at: 310 m, length: 25 m}, {at: 315 m, length: 25 m}, {at: 320 m, length: 25 m}, {at: 325 m, length: 25 m}, {at: 330 m, length: 25 m}]
drops: [{drop: gate, at: 120 m, address: 1}, {drop: sluice, at: 300 m, address: 2}, {drop: fish ladder, at: 310 m, address: 2}, {drop: pump, at: 900 m, address: 250}]
beside: [{from: 300 m, to: 650 m, apart: 40 mm}, {from: 800 m, to: 1000 m, apart: 150 mm}]
`

// sheetLook is what a browser makes of a sheet's page.
type sheetLook struct {
	Wide    bool     // the page itself has to be pushed sideways
	Touch   []string // texts of the drawing that lie on one another
	Letters []string // in the drawing
	Listed  []string // in the list
	Lattice bool     // the picture of the lattice is there
	Warning bool     // it stands above the drawing
}

const lookAtSheet = `(function(){
 var box=function(e){return e.getBoundingClientRect()};
 var texts=[...document.querySelectorAll("svg text")], touch=[];
 for(var i=0;i<texts.length;i++)for(var j=0;j<i;j++){var a=box(texts[i]),b=box(texts[j]);
  if(Math.min(a.right,b.right)-Math.max(a.left,b.left)>1&&Math.min(a.bottom,b.bottom)-Math.max(a.top,b.top)>2)touch.push(texts[i].textContent+" and "+texts[j].textContent)}
 var img=document.querySelector("img");
 return {Wide:document.documentElement.scrollWidth>innerWidth,Touch:touch,
  Letters:[...document.querySelectorAll("svg .letter")].map(function(e){return e.textContent}),
  Listed:[...new Set([...document.querySelectorAll("li b")].map(function(e){return e.textContent}).filter(Boolean))],
  Lattice:!!img&&img.naturalWidth>0,Warning:box(document.querySelector(".warning")).top<box(document.querySelector("svg")).top}})()`

// The page of a checked sheet on a phone and on a screen, offline and without
// scripts: nothing of the drawing lies on anything else, and every letter of it is
// in the list.
func TestSheetPageInABrowser(t *testing.T) {
	t.Parallel()
	s, err := rulebase.ReadSheet("sheet.yaml", []byte(crowded), sheet.Kinds())
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := report.SheetPage(&out, s, sheet.Check(s)); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "sheet.html")
	if err := os.WriteFile(file, out.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, size := range [][2]int{{360, 740}, {1000, 700}} {
		t.Run(fmt.Sprint(size[0]), func(t *testing.T) {
			tab := browser.New(t, browser.Options{Width: size[0], Height: size[1], Offline: true, NoScript: true})
			tab.Run(chromedp.Navigate("file://" + file))
			var look sheetLook
			tab.Eval(lookAtSheet, &look)
			if look.Wide || !look.Lattice || !look.Warning {
				t.Errorf("pushed sideways: %v, lattice: %v, warning above the drawing: %v", look.Wide, look.Lattice, look.Warning)
			}
			if len(look.Touch) > 0 {
				t.Errorf("texts lie on one another: %s", strings.Join(look.Touch, "; "))
			}
			if len(look.Letters) < 10 {
				t.Errorf("the drawing has the letters %v", look.Letters)
			}
			listed := " " + strings.Join(look.Listed, " ") + " "
			for _, l := range look.Letters {
				if !strings.Contains(listed, " "+l+" ") {
					t.Errorf("letter %s is not in the list: %s", l, listed)
				}
			}
		})
	}
}

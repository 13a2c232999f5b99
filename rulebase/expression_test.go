package rulebase_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"downdrop/rulebase"
	"downdrop/testdata/support"
)

const (
	truly   = rulebase.True
	falsely = rulebase.False
	unknown = rulebase.Unknown
)

// expressionNames is what the expressions of these tests can read.
var expressionNames = []rulebase.Name{
	{ID: "storm", Kind: rulebase.KindGiven, Type: rulebase.Flag},
	{ID: "remote", Kind: rulebase.KindGiven, Type: rulebase.Flag},
	{ID: "line", Kind: rulebase.KindGiven, Type: rulebase.Choice, Words: []string{"token_pair", "polled"}},
	{ID: "spare_line", Kind: rulebase.KindGiven, Type: rulebase.Choice, Words: []string{"fibre", "polled", "token_pair"}},
	{ID: "length", Kind: rulebase.KindGiven, Type: rulebase.Number, Unit: "m"},
	{ID: "terminator", Kind: rulebase.KindGiven, Type: rulebase.Number, Unit: "ohm"},
	{ID: "power", Kind: rulebase.KindSymptom, Type: rulebase.Choice, Words: []string{"lit", "dark", "flickering"}},
	{ID: "hum", Kind: rulebase.KindSymptom, Type: rulebase.Choice, Words: []string{"yes", "no", "storm", "12"}},
	{ID: "volts", Kind: rulebase.KindSymptom, Type: rulebase.Banded, Unit: "V", Words: []string{"none", "low", "good", "high"}},
	{ID: "told_off", Kind: rulebase.KindFact, Type: rulebase.Flag},
	{ID: "fuse_open", Kind: rulebase.KindCause, Type: rulebase.Flag},
	{ID: "wire_open", Kind: rulebase.KindCause, Type: rulebase.Flag},
	{ID: "unpowered", Kind: rulebase.KindCondition, Type: rulebase.Flag},
}

func expressionIDs(names []rulebase.Name) map[string]int {
	ids := map[string]int{}
	for i, n := range names {
		ids[n.ID] = i
	}
	return ids
}

var observed = &rulebase.Scope{Names: expressionNames, ByID: expressionIDs(expressionNames), Where: "a rule", Allow: []rulebase.Kind{rulebase.KindGiven, rulebase.KindSymptom, rulebase.KindFact}}

var supposed = &rulebase.Scope{Names: expressionNames, ByID: expressionIDs(expressionNames), Where: "a condition", Allow: []rulebase.Kind{rulebase.KindCause, rulebase.KindCondition, rulebase.KindGiven},
	Kinds: map[string]rulebase.Kind{"measure_pair": rulebase.KindTest}}

var limits = &rulebase.Scope{Names: expressionNames, ByID: expressionIDs(expressionNames), Where: "a limit", Allow: []rulebase.Kind{rulebase.KindGiven}, Number: true}

// Reading conditions is most of what reading a large rulebase takes: what one allocates is
// counted.
func TestReadingAConditionAllocatesLittle(t *testing.T) {
	const text = "storm == true and volts >= 19.2 and length < 300 and told_off == false"
	if n := testing.AllocsPerRun(100, func() { mustParse(t, text, observed) }); n > 80 {
		t.Errorf("a condition of four parts allocates %v times", n)
	}
}

// A product that no float64 holds exactly is a number all the same, on processors that
// fuse products with sums too: run with GOARCH=arm64 and an emulator, this failed.
func TestProductsThatAreRoundedAreNumbers(t *testing.T) {
	slots := make([]rulebase.Slot, len(expressionNames))
	for i := range slots {
		slots[i] = rulebase.Slot{Number: 120, Rank: rulebase.FromPerson}
	}
	for _, text := range []string{"0.2 * terminator", "terminator * 0.2", "0.1 * terminator + 0.7 * length", "-(0.2 * terminator)", "max(0.2 * terminator, 0.1)"} {
		if got := mustParse(t, text, limits).Value(slots); math.IsNaN(got) {
			t.Errorf("%s is no number", text)
		}
	}
}

func mustParse(t testing.TB, text string, scope *rulebase.Scope) *rulebase.Expression {
	t.Helper()
	e, problems := rulebase.ParseExpression(text, rulebase.Position{}, scope)
	if len(problems) > 0 {
		t.Fatalf("%s: %v", text, problems)
	}
	return e
}

// slotsOf reads what is known: power=dark volts=24(good) default:length=300.
func slotsOf(t testing.TB, text string) []rulebase.Slot {
	t.Helper()
	slots := unknownSlots()
	for _, field := range strings.Fields(text) {
		rank := rulebase.FromPerson
		field, isDefault := strings.CutPrefix(field, "default:")
		if isDefault {
			rank = rulebase.FromDefault
		}
		id, value, _ := strings.Cut(field, "=")
		i, ok := observed.ByID[id]
		if !ok {
			t.Fatalf("%s is no name", id)
		}
		s := &slots[i]
		s.Rank = rank
		number, word, _ := strings.Cut(value, "(")
		word = strings.TrimSuffix(word, ")")
		if x, err := strconv.ParseFloat(number, 64); err == nil {
			s.Number = x
		} else {
			word = number
		}
		words := expressionNames[i].Words
		if expressionNames[i].Type == rulebase.Flag {
			words = []string{"false", "true"}
		}
		s.Word = int32(slices.Index(words, word) + 1)
	}
	return slots
}

func unknownSlots() []rulebase.Slot {
	slots := make([]rulebase.Slot, len(expressionNames))
	for i := range slots {
		slots[i].Number = math.NaN()
	}
	return slots
}

func TestMeanings(t *testing.T) {
	for _, c := range []struct {
		text, known string
		want        rulebase.Truth
	}{
		{"true", "", truly}, {"false", "", falsely},
		{"storm", "storm=true", truly}, {"storm", "storm=false", falsely}, {"storm", "", unknown}, {"not storm", "", unknown}, {"not storm", "storm=false", truly},
		{"storm or true", "", truly}, {"storm and false", "", falsely}, {"storm or false", "", unknown}, {"storm and true", "", unknown},
		{"storm and remote", "storm=false", falsely}, {"remote and storm", "storm=false", falsely}, {"storm or remote", "remote=true", truly}, {"storm or not storm", "", unknown},
		{"storm and remote and told_off", "storm=true remote=true told_off=true", truly}, {"storm and remote and told_off", "storm=true told_off=false", falsely}, {"storm and remote and told_off", "storm=true remote=true", unknown},
		{"storm or remote or told_off", "told_off=true", truly}, {"storm or remote or told_off", "storm=false remote=false told_off=false", falsely}, {"storm or remote or told_off", "storm=false remote=false", unknown},
		{"storm == true", "storm=true", truly}, {"true == storm", "storm=false", falsely}, {"storm != true", "storm=false", truly}, {"storm == false", "", unknown},
		{"storm == remote", "storm=true remote=true", truly}, {"storm != remote", "storm=true", unknown}, {"storm == (length > 3)", "storm=true length=4", truly}, {"storm == not remote", "storm=true remote=false", truly},
		{"power == dark", "power=dark", truly}, {"power == dark", "power=lit", falsely}, {"power == dark", "", unknown}, {"power != dark", "power=lit", truly}, {"power != dark", "", unknown},
		{`power == "dark"`, "power=dark", truly}, {`power == 'dark'`, "power=dark", truly}, {"dark == power", "power=dark", truly}, {"(power) == (dark)", "power=dark", truly},
		{`hum == yes`, "hum=yes", truly}, {`hum == "storm"`, "hum=storm", truly}, {`hum == "12"`, "hum=no", falsely},
		{"power in [dark, flickering]", "power=flickering", truly}, {"power in [dark, flickering]", "power=lit", falsely}, {"power in [dark]", "", unknown},
		{"power not in [dark, flickering]", "power=lit", truly}, {"not (power in [dark])", "power=dark", falsely}, {"power not in [dark]", "", unknown},
		{"line == spare_line", "line=token_pair spare_line=token_pair", truly}, {"line == spare_line", "line=token_pair spare_line=fibre", falsely}, {"line != spare_line", "line=polled spare_line=token_pair", truly}, {"spare_line == line", "line=polled", unknown},
		{"volts == low", "volts=12(low)", truly}, {"volts == low", "volts=low", truly}, {"volts in [none, low]", "volts=24(good)", falsely}, {"volts < 19.2", "volts=12(low)", truly}, {"volts < 19.2", "volts=low", unknown}, {"volts >= 19.2", "volts=19.2(good)", truly},
		{"19.2 <= volts", "volts=19.2(good)", truly}, {"19.2 > volts", "volts=19.2(good)", falsely}, {"volts > 19.2", "volts=19.2", falsely}, {"volts <= 19.2", "volts=19.2", truly}, {"volts < 19.2", "", unknown},
		{"volts == low", "volts=12", unknown}, // a reading whose limits are not known has no band
		{"length == 300", "length=300", truly}, {"length != 300", "length=300", falsely}, {"length == 0.1 + 0.2", "length=0.3", falsely}, {"length == 300.0", "length=300", truly}, {"300 == length", "", unknown},
		{"length in [100, 300, -5]", "length=-5", truly}, {"length in [100, 300]", "length=200", falsely}, {"length not in [100, 300]", "length=200", truly}, {"length in [1]", "", unknown}, {"2 * length in [600]", "length=300", truly},
		{"length > 2 * terminator", "length=300 terminator=100", truly}, {"length - terminator * 2 - 1 > 0", "length=300 terminator=150", falsely}, {"-length < 0", "length=300", truly}, {"length / terminator == 2", "length=300 terminator=150", truly},
		{"length / (terminator - terminator) > 1", "length=300 terminator=150", unknown}, {"length * 1e308 * 10 > 1", "length=300", unknown}, {"0 * length == 0", "", unknown},
		{"min(length, terminator) == 150", "length=300 terminator=150", truly}, {"max(1, length, 2) == 300", "length=300", truly}, {"max(400, length) == 400", "", unknown}, {"abs(length - 400) == 100", "length=300", truly},
		{"known(length)", "length=300", truly}, {"known(length)", "default:length=300", falsely}, {"known(length)", "", falsely}, {"not known(power)", "", truly}, {"known(power) == true", "power=dark", truly},
		{"length > 200", "default:length=300", truly},
		{"power == dark and volts >= 19.2 and length not in [1, 2, 3]", "power=dark volts=24 length=300", truly},
		{"power == dark or volts < 19.2 and storm", "power=lit volts=12 storm=true", truly}, {"(power == dark or volts < 19.2) and storm", "power=dark storm=false", falsely},
		{"not storm and remote", "storm=false remote=true", truly}, {"not (storm and remote)", "storm=false", truly},
		{"storm\n and\tremote", "storm=true remote=true", truly},
	} {
		e := mustParse(t, c.text, observed)
		slots := slotsOf(t, c.known)
		if got := e.Eval(slots); got != c.want {
			t.Errorf("%s where %q: %v, want %v", c.text, c.known, got, c.want)
		}
		if got := rulebase.EvalTerm(e.Root, slots); got != c.want {
			t.Errorf("%s where %q, walked: %v, want %v", c.text, c.known, got, c.want)
		}
		if !math.IsNaN(e.Value(slots)) {
			t.Errorf("%s has a number", c.text)
		}
	}
}

func TestNumberMeanings(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		text, known string
		want        float64
	}{
		{"0.42 * terminator", "terminator=150", 63}, {"terminator", "terminator=150", 150}, {"18", "", 18}, {"-5", "", -5}, {"+5", "", 5}, {"- -5", "", 5}, {"terminator", "", nan}, {"2 * (length + 1) / 4 - 1", "length=9", 4},
		{"min(terminator, 2 * length)", "terminator=150 length=60", 120}, {"max(terminator)", "terminator=150", 150}, {"abs(-terminator)", "terminator=150", 150}, {"1 / (length - 9)", "length=9", nan}, {"1e3", "", 1000}, {"7 / 2", "", 3.5},
	} {
		e := mustParse(t, c.text, limits)
		slots := slotsOf(t, c.known)
		for how, got := range map[string]float64{"compiled": e.Value(slots), "walked": rulebase.TermValue(e.Root, slots)} {
			if got != c.want && !(math.IsNaN(got) && math.IsNaN(c.want)) {
				t.Errorf("%s where %q, %s: %v, want %v", c.text, c.known, how, got, c.want)
			}
		}
		if e.Eval(slots) != unknown {
			t.Errorf("%s has a truth value", c.text)
		}
	}
}

// TestRefusedExpressions goes through testdata/expressions.txt: blocks of
//
//	scope: the expression
//	  column: what is said, and the near miss, as a Problem prints them
//
// parted by blank lines. -update writes what is said.
func TestRefusedExpressions(t *testing.T) {
	const name = "testdata/expressions.txt"
	scopes := map[string]*rulebase.Scope{"observed": observed, "supposed": supposed, "limit": limits}
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var anew strings.Builder
	for _, line := range strings.Split(string(text), "\n") {
		scope, expression, ok := strings.Cut(line, ": ")
		if !ok || scopes[scope] == nil {
			if strings.HasPrefix(line, "#") {
				anew.WriteString(line + "\n")
			}
			continue
		}
		expression = unescape.Replace(expression)
		e, problems := rulebase.ParseExpression(expression, rulebase.Position{Line: 1, Column: 1}, scopes[scope])
		if e != nil || len(problems) == 0 {
			t.Errorf("%s is taken", expression)
		}
		fmt.Fprintf(&anew, "\n%s: %s\n", scope, strings.ReplaceAll(expression, "\n", `\n`))
		for _, p := range problems {
			where := strconv.Itoa(p.Column)
			if p.Line > 1 {
				where = fmt.Sprintf("line %d", p.Line)
			}
			p.Position = rulebase.Position{}
			fmt.Fprintf(&anew, "  %s: %s\n", where, p)
		}
	}
	if *update {
		if err := os.WriteFile(name, []byte(anew.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if diff := cmp.Diff(string(text), anew.String()); diff != "" && !*update {
		t.Error(diff)
	}
}

var unescape = strings.NewReplacer(`\n`, "\n")

func TestTooMuchIsRefused(t *testing.T) {
	for _, c := range []struct{ text, kind string }{
		{strings.Repeat("(", 101) + "storm" + strings.Repeat(")", 101), "expression-too-deep"},
		{strings.Repeat("not ", 101) + "storm", "expression-too-deep"},
		{"length > " + strings.Repeat("- ", 101) + "1", "expression-too-deep"},
		{"length in " + strings.Repeat("[", 101), "expression-too-deep"},
		{strings.Repeat("(", 1000), "expression-too-deep"},
		{strings.Repeat("storm or ", 460) + "storm", "expression-too-long"},
		{strings.Repeat("(", 2<<20), "expression-too-long"},
	} {
		_, problems := rulebase.ParseExpression(c.text, rulebase.Position{}, observed)
		if len(problems) != 1 || problems[0].Kind != c.kind {
			t.Errorf("%.30s...: %v, want %s", c.text, problems, c.kind)
		}
	}
	// What is only long is taken: 100 brackets, 400 alternatives.
	mustParse(t, strings.Repeat("(", 100)+"storm"+strings.Repeat(")", 100), observed)
	e := mustParse(t, strings.Repeat("not storm or ", 250)+"remote", observed)
	if got := e.Eval(slotsOf(t, "storm=true remote=true")); got != truly {
		t.Errorf("a long or is %v", got)
	}
}

func TestProblemsStandInTheirFile(t *testing.T) {
	pos := rulebase.Position{File: "line.yaml", Line: 7, Column: 12}
	_, problems := rulebase.ParseExpression("storm and lenght > 3", pos, observed)
	if len(problems) != 1 || problems[0].Position != (rulebase.Position{File: "line.yaml", Line: 7, Column: 22}) || problems[0].Width != 6 || problems[0].Meant != "length" {
		t.Errorf("%+v", problems)
	}
	_, problems = rulebase.ParseExpression("storm and\n  lenght > 3", pos, observed)
	if len(problems) != 1 || problems[0].Line != 8 {
		t.Errorf("%+v", problems)
	}
}

func TestTermsKnowTheirColumn(t *testing.T) {
	e := mustParse(t, "storm and length > 3", observed)
	if got := []int{e.Root.Column, e.Root.Args[0].Column, e.Root.Args[1].Column, e.Root.Args[1].Args[1].Column}; !slices.Equal(got, []int{7, 1, 18, 20}) {
		t.Errorf("columns %v", got)
	}
	less := mustParse(t, "length < 3 - -length", observed).Root.Args[1]
	if got := []int{less.Column, less.Args[1].Column, less.Args[1].Args[0].Column}; !slices.Equal(got, []int{12, 14, 15}) {
		t.Errorf("columns %v", got)
	}
}

func TestReads(t *testing.T) {
	ids := func(names []int) string {
		var all []string
		for _, i := range names {
			all = append(all, expressionNames[i].ID)
		}
		return strings.Join(all, " ")
	}
	for text, want := range map[string]string{
		"true": "", "storm and storm": "storm", "power == dark or known(length) and length > 3": "length power", "line == spare_line": "line spare_line", "min(length, 2 * terminator) in [3]": "length terminator",
		"not (volts in [low]) and volts < 3": "volts",
	} {
		if got := ids(mustParse(t, text, observed).Reads()); got != want {
			t.Errorf("%s reads %q, want %q", text, got, want)
		}
	}
	for text, want := range map[string]string{
		"storm": "", "known(storm)": "+storm", "not known(storm)": "-storm", "not (not known(storm) and known(remote))": "+storm -remote", "known(storm) == true": "+storm -storm",
		"remote == not known(storm)": "+storm -storm", "known(line) or not known(line)": "+line -line", "not not known(storm)": "+storm",
	} {
		var got []string
		for _, k := range mustParse(t, text, observed).KnownReads() {
			got = append(got, map[bool]string{false: "+", true: "-"}[k.Negative]+expressionNames[k.Name].ID)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s reads known %q, want %q", text, got, want)
		}
	}
}

func TestGivensOnly(t *testing.T) {
	// For every term, written as it is formatted: true where no cause or condition is read.
	for text, want := range map[string]map[string]bool{
		"storm and fuse_open":                                  {"storm": true, "fuse_open": false, "storm and fuse_open": false},
		"fuse_open and (storm or length > 3)":                  {"storm or length > 3": true, "length > 3": true, "length": true, "3": true, "fuse_open and (storm or length > 3)": false},
		"not unpowered or true or not known(storm)":            {"not unpowered": false, "unpowered": false, "true": true, "not known(storm)": true},
		"fuse_open or storm and line == spare_line":            {"storm and line == spare_line": true, "line == spare_line": true},
		"storm and line in [polled] and not (remote == storm)": {"storm and line in [polled] and not (remote == storm)": true},
	} {
		got := map[string]bool{}
		var walk func(*rulebase.Term)
		walk = func(x *rulebase.Term) {
			got[x.Format(expressionNames)] = x.GivensOnly
			for _, a := range x.Args {
				walk(a)
			}
		}
		walk(mustParse(t, text, supposed).Root)
		for term, only := range want {
			if g, ok := got[term]; !ok || g != only {
				t.Errorf("%s: %s is %v (%v), want %v", text, term, g, ok, only)
			}
		}
	}
}

// and, or are flattened, but a part that the givens decide alone stays one term.
func TestFlattening(t *testing.T) {
	for text, want := range map[string]int{
		"fuse_open or wire_open or unpowered": 3, "fuse_open or (wire_open or unpowered)": 3, "fuse_open and (storm and remote)": 2, "storm and remote and fuse_open": 2, "storm and (remote and storm)": 3, "fuse_open or wire_open and unpowered": 2,
	} {
		if got := len(mustParse(t, text, supposed).Root.Args); got != want {
			t.Errorf("%s has %d parts, want %d", text, got, want)
		}
	}
}

func TestFormat(t *testing.T) {
	for text, want := range map[string]string{
		`power == "dark"`: "power == dark", "dark != power": "power != dark", `hum in ["storm", yes, "12"]`: `hum in ["storm", yes, "12"]`, "not (power in [dark])": "power not in [dark]",
		"(storm and remote) or told_off": "(storm and remote) or told_off", "storm and (remote or told_off)": "storm and (remote or told_off)", "((storm)) and ((length>3))": "storm and length > 3",
		"not (storm and remote)": "not (storm and remote)", "not (length > 3)": "not (length > 3)", "not not storm": "not (not storm)", "storm == (length > 3)": "storm == (length > 3)", "storm == not remote": "storm == (not remote)",
		"length - (terminator - 1) > 2*length+1": "length - (terminator - 1) > 2 * length + 1", "(length + 1) * 2 == 4": "(length + 1) * 2 == 4", "length - -3 > 0": "length - (-3) > 0", "length > -3": "length > -3", "-(length + 1) < 1": "-(length + 1) < 1", "length / (2 * 3) == 1": "length / (2 * 3) == 1",
		"max( 1,length ) in [1,  2.50]": "max(1, length) in [1, 2.5]", "storm == true": "storm == true", "true != storm": "storm != true", "known(line) and line == spare_line": "known(line) and line == spare_line", "length == 1e3": "length == 1000", "length < 1e300": "length < 1e+300",
	} {
		if got := mustParse(t, text, observed).Format(expressionNames); got != want {
			t.Errorf("%s is printed %s, want %s", text, got, want)
		}
	}
}

func TestWhyNot(t *testing.T) {
	for _, c := range []struct{ text, known, want string }{
		{"power == dark and volts >= 19.2", "power=dark volts=24", ""},
		{"power == dark and volts >= 19.2", "power=lit volts=24", "not so: power == dark"},
		{"power == dark and volts >= 19.2 and storm", "power=lit storm=false", "not so: power == dark; storm. not known: volts >= 19.2"},
		{"not (storm or power == dark)", "storm=true", "not so: not storm. not known: not (power == dark)"},
		{"storm and (power == dark or remote)", "storm=true power=lit", "not known: power == dark or remote"},
		{"storm and (power == dark or remote)", "power=lit remote=false", "not so: power == dark or remote. not known: storm"},
		{"not (storm and remote)", "storm=true remote=true", "not so: not (storm and remote)"},
		{"known(length)", "", "not so: known(length)"}, {"line not in [polled]", "line=polled", "not so: line not in [polled]"},
	} {
		if got := mustParse(t, c.text, observed).WhyNot(slotsOf(t, c.known), expressionNames); got != c.want {
			t.Errorf("%s where %q: %q, want %q", c.text, c.known, got, c.want)
		}
	}
}

func TestEvaluationAllocatesNothing(t *testing.T) {
	slots := slotsOf(t, "power=dark volts=24(good) length=300 terminator=150")
	for _, text := range []string{
		"power == dark and volts >= 19.2 and not (length in [1, 2, 3])", "power in [lit, dark] or storm or remote or told_off", "length > 2 * terminator - 1 and min(length, terminator) == 150 and line == spare_line and known(line)", "storm == remote",
	} {
		e := mustParse(t, text, observed)
		if n := testing.AllocsPerRun(100, func() { e.Eval(slots) }); n != 0 {
			t.Errorf("%s allocates %v times", text, n)
		}
	}
	e := mustParse(t, "0.42 * terminator + max(length, 1)", limits)
	if n := testing.AllocsPerRun(100, func() { e.Value(slots) }); n != 0 {
		t.Errorf("a limit allocates %v times", n)
	}
}

// A randomExpression writes one expression twice: as we take it, and as expr does,
// where words stand in quotes, known(x) is a flag of its own, and a banded
// symptom's reading has another name than its band.
type randomExpression struct {
	*rand.Rand
	ours, peers strings.Builder
	noKnown     bool
}

func (g *randomExpression) both(text string) { g.ours.WriteString(text); g.peers.WriteString(text) }

func (g *randomExpression) each(ours, peers string) {
	g.ours.WriteString(ours)
	g.peers.WriteString(peers)
}

func pick[T any](g *randomExpression, from ...T) T { return from[g.IntN(len(from))] }

func (g *randomExpression) truth(depth int) {
	if depth <= 0 {
		g.comparison(0)
		return
	}
	switch g.IntN(7) {
	case 0, 1, 2:
		g.both("(")
		g.truth(depth - 1 - g.IntN(2))
		joint := pick(g, " and ", " or ")
		for range 1 + g.IntN(3) {
			g.both(joint)
			g.truth(depth - 1 - g.IntN(2))
		}
		g.both(")")
	case 3:
		g.both("not (")
		g.truth(depth - 1)
		g.both(")")
	case 4:
		g.both("((")
		g.truth(depth - 2)
		g.both(")" + pick(g, " == ", " != ") + "(")
		g.truth(depth - 2)
		// Two readings of one flag are no comparison of names: keep it a truth value.
		g.both(" or false))")
	default:
		g.comparison(depth)
	}
}

func (g *randomExpression) comparison(depth int) {
	words := func(name int) []string { return expressionNames[name].Words }
	quoted := func(name int) string {
		w := pick(g, words(name)...)
		return strconv.Quote(w)
	}
	worded := []int{2, 3, 6, 7, 8}
	switch g.IntN(9) {
	case 0:
		g.both(pick(g, "true", "false"))
	case 1:
		g.both(pick(g, "storm", "remote", "told_off", "not storm", "storm == remote", "told_off != true", "false == remote"))
	case 2:
		n := pick(g, worded...)
		g.both(expressionNames[n].ID + pick(g, " == ", " != "))
		w := quoted(n)
		if w == `"storm"` || w == `"12"` || g.IntN(2) == 0 {
			g.both(w)
		} else {
			g.each(strings.Trim(w, `"`), w)
		}
	case 3:
		n := pick(g, worded...)
		g.both(expressionNames[n].ID + pick(g, " in ", " not in ") + "[")
		for i := range 1 + g.IntN(3) {
			if i > 0 {
				g.both(", ")
			}
			g.both(quoted(n))
		}
		g.both("]")
	case 4:
		g.both(pick(g, "line == spare_line", "line != spare_line", "spare_line == line"))
	case 5:
		if id := pick(g, "storm", "line", "length", "power", "volts"); g.noKnown {
			g.both("true")
		} else {
			g.each("known("+id+")", "known_"+id)
		}
	case 6:
		g.number(depth)
		g.both(pick(g, " in ", " not in ") + pick(g, "[1, 2, 3]", "[0]", "[19.2, 1]", "[-1, 0.5, 100]"))
	default:
		g.number(depth)
		g.both(pick(g, " < ", " <= ", " > ", " >= ", " == ", " != "))
		g.number(depth)
		return
	}
}

func (g *randomExpression) number(depth int) {
	if depth <= 0 || g.IntN(3) == 0 {
		switch g.IntN(3) {
		case 0:
			g.both(pick(g, "0", "1", "2", "3", "19.2", "0.5", "0.1", "1e2", "7"))
		case 1:
			g.both(pick(g, "length", "terminator"))
		default:
			// A banded name alone is its band for ==, so it always stands in a sum here.
			g.each("(volts + 0)", "(volts_reading + 0)")
		}
		return
	}
	switch g.IntN(6) {
	case 0:
		g.both("-")
		g.both("(")
		g.number(depth - 1)
		g.both(")")
	case 1:
		g.both(pick(g, "min", "max") + "(")
		g.number(depth - 1)
		g.both(", ")
		g.number(depth - 1)
		g.both(")")
	case 2:
		g.both("abs(")
		g.number(depth - 1)
		g.both(")")
	default:
		g.both("(")
		g.number(depth - 1)
		if sign := pick(g, " + ", " - ", " * ", " / "); sign != " / " {
			g.both(sign)
			g.number(depth - 1)
		} else {
			g.both(" / " + pick(g, "2", "0.5", "length", "(terminator - 1)", "(length * 0)"))
		}
		g.both(")")
	}
}

// knownSlots are slots in which everything is known; some are defaults only.
func (g *randomExpression) knownSlots() []rulebase.Slot {
	slots := unknownSlots()
	for i, n := range expressionNames {
		s := &slots[i]
		s.Rank = pick(g, rulebase.FromDefault, rulebase.FromRules, rulebase.FromFilled, rulebase.FromPerson)
		switch n.Type {
		case rulebase.Flag:
			s.Word = int32(1 + g.IntN(2))
		case rulebase.Choice:
			s.Word = int32(1 + g.IntN(len(n.Words)))
		case rulebase.Banded:
			s.Word = int32(1 + g.IntN(len(n.Words)))
			s.Number = g.reading()
		default:
			s.Number = g.reading()
		}
	}
	return slots
}

func (g *randomExpression) reading() float64 {
	return pick(g, 0, 1, 2, 3, -1, 0.5, 0.1, 19.2, 100, 1e300, -7)
}

// forget makes some of what is known unknown.
func (g *randomExpression) forget(slots []rulebase.Slot) []rulebase.Slot {
	slots = slices.Clone(slots)
	for i := range slots {
		switch g.IntN(4) {
		case 0:
			slots[i] = rulebase.Slot{Number: math.NaN(), Rank: slots[i].Rank}
		case 1:
			if expressionNames[i].Type == rulebase.Banded {
				slots[i].Number = math.NaN() // a band's name was given
			}
		}
	}
	return slots
}

func newRandomExpression(seed1, seed2 uint64) *randomExpression {
	g := &randomExpression{Rand: rand.New(rand.NewPCG(seed1, seed2))}
	return g
}

// The compiled closures agree with the walk over the tree, known or not; printed
// and read again, an expression means the same; and what is decided while some
// things are unknown stays so, whatever they turn out to be.
func TestClosuresAgreeWithTheTree(t *testing.T) {
	t.Parallel()
	support.Alone(t)
	for seed := range uint64(5000 * deep()) {
		g := newRandomExpression(1, seed)
		g.truth(4)
		text := g.ours.String()
		if len(text) > 4<<10 {
			continue
		}
		e := mustParse(t, text, observed)
		again := mustParse(t, e.Format(expressionNames), observed)
		if a, b := e.Format(expressionNames), again.Format(expressionNames); a != b {
			t.Fatalf("seed %d: %s is printed %s, and again %s", seed, text, a, b)
		}
		for range 4 {
			all := g.knownSlots()
			some := g.forget(all)
			got, slow := e.Eval(some), rulebase.EvalTerm(e.Root, some)
			if got != slow || again.Eval(some) != got {
				t.Fatalf("seed %d: %s is %v compiled, %v walked, %v printed and read again, in %v", seed, text, got, slow, again.Eval(some), some)
			}
			if whole := e.Eval(all); got != unknown && whole != got {
				t.Fatalf("seed %d: %s is %v with less known, and %v with more", seed, text, got, whole)
			}
		}
	}
}

func TestNumberClosuresAgreeWithTheTree(t *testing.T) {
	support.Alone(t)
	scope := *observed
	scope.Number = true
	for seed := range uint64(5000 * deep()) {
		g := newRandomExpression(2, seed)
		g.number(4)
		e := mustParse(t, g.ours.String(), &scope)
		again := mustParse(t, e.Format(expressionNames), &scope)
		for range 4 {
			slots := g.forget(g.knownSlots())
			if g.IntN(10) == 0 {
				slots[4].Number = math.Inf(1)
			}
			got, slow, printed := e.Value(slots), rulebase.TermValue(e.Root, slots), again.Value(slots)
			if got != slow && !(math.IsNaN(got) && math.IsNaN(slow)) || math.IsInf(got, 0) || got != printed && !(math.IsNaN(got) && math.IsNaN(printed)) {
				t.Fatalf("seed %d: %s is %v compiled, %v walked, %v printed and read again, in %v", seed, g.ours.String(), got, slow, printed, slots)
			}
		}
	}
}

// Laws of Kleene's strong three-valued logic (Kleene 1952, from memory) hold for
// any expressions in the place of a, b and c.
func TestKleeneLaws(t *testing.T) {
	laws := []struct{ left, right string }{
		{"a and b", "b and a"}, {"a or b", "b or a"}, {"a and (b and c)", "(a and b) and c"}, {"a or (b or c)", "(a or b) or c"},
		{"a and (b or c)", "(a and b) or (a and c)"}, {"a or (b and c)", "(a or b) and (a or c)"},
		{"not (a and b)", "not a or not b"}, {"not (a or b)", "not a and not b"}, {"not not a", "a"}, {"a and a", "a"}, {"a or a", "a"}, {"a or (a and b)", "a"}, {"a and (a or b)", "a"},
		{"a and true", "a"}, {"a or false", "a"}, {"a and false", "false"}, {"a or true", "true"}, {"a != (b or false)", "not (a == (b or false))"},
	}
	rapid.Check(t, func(t *rapid.T) {
		g := newRandomExpression(3, rapid.Uint64().Draw(t, "seed"))
		var parts [3]string
		for i := range parts {
			g.ours.Reset()
			g.truth(2)
			parts[i] = "(" + g.ours.String() + " or false)"
		}
		slots := g.forget(g.knownSlots())
		law := rapid.SampledFrom(laws).Draw(t, "law")
		put := strings.NewReplacer("and", "and", "false", "false", "a", parts[0], "b", parts[1], "c", parts[2])
		left, problemsLeft := rulebase.ParseExpression(put.Replace(law.left), rulebase.Position{}, observed)
		right, problemsRight := rulebase.ParseExpression(put.Replace(law.right), rulebase.Position{}, observed)
		if len(problemsLeft)+len(problemsRight) > 0 {
			if problemsLeft != nil && problemsLeft[0].Kind == "expression-too-long" || problemsRight != nil && problemsRight[0].Kind == "expression-too-long" {
				t.Skip()
			}
			t.Fatalf("%v %v", problemsLeft, problemsRight)
		}
		if a, b := left.Eval(slots), right.Eval(slots); a != b {
			t.Fatalf("%s is %v, %s is %v, where a is %s, b %s, c %s", law.left, a, law.right, b, parts[0], parts[1], parts[2])
		}
	})
}

func FuzzExpression(f *testing.F) {
	for _, text := range []string{"power == dark and volts >= 19.2 and not (length in [1, 2, 3])", "not a == b", "a < b < c", "((((", "known(known)", "1 in [1,", "\"\\u{1F600}\" == power", "min(1,-2)*3/0",
		"a ? b : c", "x | y", "#", "/* */ storm", "length == -9007199254740993", "storm == not not remote", "`a` in [b]", "0x1p-2", "b'x'", "let a = 1; a"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, scope := range []*rulebase.Scope{observed, supposed, limits} {
			e, problems := rulebase.ParseExpression(text, rulebase.Position{File: "f", Line: 1, Column: 1}, scope)
			if (e == nil) != (len(problems) > 0) {
				t.Fatalf("%q: %v and %v", text, e, problems)
			}
			for _, p := range problems {
				if p.Says == "" || p.Kind == "" || p.Line < 1 || p.Column < 1 {
					t.Errorf("%q: %+v", text, p)
				}
			}
			if e == nil {
				continue
			}
			again, problems := rulebase.ParseExpression(e.Format(expressionNames), rulebase.Position{}, scope)
			if len(problems) > 0 {
				t.Fatalf("%q is printed %q: %v", text, e.Format(expressionNames), problems)
			}
			for seed := range uint64(3) {
				g := newRandomExpression(4, seed)
				slots := g.forget(g.knownSlots())
				if a, b, c := e.Eval(slots), rulebase.Truth(unknown), again.Eval(slots); !scope.Number {
					if b = rulebase.EvalTerm(e.Root, slots); a != b || a != c {
						t.Fatalf("%q: %v compiled, %v walked, %v printed", text, a, b, c)
					}
				}
				if a, c := e.Value(slots), again.Value(slots); a != c && !(math.IsNaN(a) && math.IsNaN(c)) {
					t.Fatalf("%q: %v, printed %v", text, a, c)
				}
			}
		}
	})
}

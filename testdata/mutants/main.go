// Command mutants asks how much the tests notice. It takes a seeded sample of the small faults
// that gremlins finds places for, plants one at a time and runs the tests of its package:
//
//	gremlins unleash --dry-run --invert-logical --invert-loopctrl --invert-assignments --invert-bitwise -o places.json .
//	go run ./testdata/mutants -places places.json -seed 1 -n 600 -out survivors.jsonl
//
// gremlins names the places and kinds, and would run the tests itself, but only those of every
// place, which is days for this house; the sample, and a fault that is laid over the source
// instead of written into it, are what this adds. Packages get places by their lines. A fault
// that does not compile is replaced by another one of its package. What ran is in -out, line by
// line, so that a second start goes on where the first one stopped. With -own only the first of the
// packages that should notice is asked, most often that of the fault; a later start without it asks
// the others about what lived.
package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"log"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"time"
)

// Mutant is one planted fault and what came of it.
type Mutant struct {
	File   string  `json:"file"`
	Line   int     `json:"line"`
	Column int     `json:"column"`
	Kind   string  `json:"kind"`
	Was    string  `json:"was"`
	Is     string  `json:"is"`
	Status string  `json:"status,omitempty"` // killed, lived, slow (the tests' time ran out: noticed too), unfit (it does not compile)
	By     string  `json:"by,omitempty"`     // the package whose tests noticed
	Test   string  `json:"test,omitempty"`   // the first of them that failed; none where they end in another way
	Took   float64 `json:"seconds,omitempty"`
	Asked  int     `json:"asked,omitempty"` // of the packages that should notice, how many did not

	offset int
}

// The token that stands in for another one, by the kind's name in gremlins' list.
var swaps = map[string]map[token.Token]token.Token{
	"CONDITIONALS_BOUNDARY": {token.LSS: token.LEQ, token.LEQ: token.LSS, token.GTR: token.GEQ, token.GEQ: token.GTR},
	"CONDITIONALS_NEGATION": {token.EQL: token.NEQ, token.NEQ: token.EQL, token.LSS: token.GEQ, token.GEQ: token.LSS, token.GTR: token.LEQ, token.LEQ: token.GTR},
	"ARITHMETIC_BASE":       {token.ADD: token.SUB, token.SUB: token.ADD, token.MUL: token.QUO, token.QUO: token.MUL, token.REM: token.MUL},
	"INVERT_LOGICAL":        {token.LAND: token.LOR, token.LOR: token.LAND},
	"INVERT_BITWISE":        {token.AND: token.OR, token.OR: token.AND, token.XOR: token.AND, token.AND_NOT: token.AND, token.SHL: token.SHR, token.SHR: token.SHL},
	"INVERT_NEGATIVES":      {token.SUB: token.ADD},
	"INVERT_LOOPCTRL":       {token.BREAK: token.CONTINUE, token.CONTINUE: token.BREAK},
	"INCREMENT_DECREMENT":   {token.INC: token.DEC, token.DEC: token.INC},
	"INVERT_ASSIGNMENTS":    {token.ADD_ASSIGN: token.SUB_ASSIGN, token.SUB_ASSIGN: token.ADD_ASSIGN, token.MUL_ASSIGN: token.QUO_ASSIGN, token.QUO_ASSIGN: token.MUL_ASSIGN},
}

// The packages whose tests hold one that has none, or few, of its own.
var heldBy = map[string][]string{
	"cases":                       {"cases", "cases/sqlite"},
	"cases/sqlstore":              {"cases/sqlstore", "cases/sqlite"},
	"cases/learn":                 {"cases/learn", "cmd/downdrop"},
	"engine/belief":               {"engine/belief", "engine"},
	"engine/chain":                {"engine/chain", "engine"},
	"engine/hypothesis":           {"engine/hypothesis", "engine"},
	"engine/plan":                 {"engine/plan", "engine"},
	"engine/rehearse":             {"engine/rehearse", "engine"},
	"engine/sheet":                {"engine/sheet", "engine/line", "cmd/internal/report"},
	"engine/line":                 {"engine/line", "cmd/internal/report"},
	"engine":                      {"engine", "cmd/internal/report", "cmd/internal/conversation"},
	"rulebase":                    {"rulebase", "engine/review", "engine", "cmd/internal/conversation"},
	"rulebase/source":             {"rulebase/source", "rulebase"},
	"rulebase/quantity":           {"rulebase/quantity", "rulebase"},
	"cmd/internal/conversation":   {"cmd/internal/conversation", "cmd/downdrop"},
	"cmd/internal/report":         {"cmd/internal/report", "cmd/downdrop"},
	"cmd/internal/handbook":       {"cmd/internal/handbook", "cmd/downdrop"},
	"cmd/internal/triage":         {"cmd/internal/triage", "cmd/downdrop"},
	"cmd/internal/kept":           {"cmd/internal/kept", "cmd/internal/page", "cmd/downdrop"},
	"cmd/internal/shop":           {"cmd/internal/shop", "cmd/internal/page", "cmd/downdrop"},
	"cmd/internal/wording":        {"cmd/internal/wording", "cmd/internal/report", "cmd/downdrop"},
	"cmd/internal/takealong":      {"cmd/internal/takealong"},
	"cmd/internal/takealong/talk": {"cmd/internal/takealong/talk", "cmd/internal/takealong"},
}

func main() {
	log.SetFlags(0)
	var (
		places  = flag.String("places", "places.json", "what gremlins wrote")
		seed    = flag.Uint64("seed", 1, "of the sample")
		n       = flag.Int("n", 600, "faults to plant")
		out     = flag.String("out", "mutants.jsonl", "results; read first, and added to")
		within  = flag.Duration("within", 3*time.Minute, "for the tests of one package; a fault that makes them slower counts as noticed")
		until   = flag.String("until", "", "a time of day, 15:04, after which nothing new is begun")
		only    = flag.String("only", "", "an expression: plant only in the packages that it matches, so that several starts can share a sample, each with an -out of its own")
		own     = flag.Bool("own", false, "ask only the first of the packages that should notice")
		listing = flag.Bool("list", false, "only print the sample")
	)
	flag.Parse()
	if err := bounded(); err != nil {
		log.Fatal(err)
	}
	mine, err := regexp.Compile(*only)
	if err != nil {
		log.Fatal(err)
	}
	quota, drawn, err := sample(*places, *n, *seed)
	if err != nil {
		log.Fatal(err)
	}
	for p := range quota {
		if !mine.MatchString(p) {
			delete(quota, p)
		}
	}
	if *listing {
		for _, p := range slices.Sorted(keys(quota)) {
			fmt.Printf("%4d  %s\n", quota[p], p)
		}
		return
	}
	done, err := read(*out)
	if err != nil {
		log.Fatal(err)
	}
	log.SetPrefix("")
	f, err := os.OpenFile(*out, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o666)
	if err != nil {
		log.Fatal(err)
	}
	ran, tests := 0, measured{}
	for _, m := range drawn {
		p := filepath.Dir(m.File)
		if quota[p] == 0 {
			continue
		}
		have, known := done[m.key()]
		if known && !*own && have.Status == "lived" && have.Asked < len(holders(p)) {
			m.Asked, m.Took, known = have.Asked, have.Took, false
		}
		if !known {
			if *until != "" && time.Now().Format("15:04") >= *until {
				break
			}
			if err := m.run(*within, *own, tests); err != nil {
				log.Fatal(err)
			}
			line, err := json.Marshal(m)
			if err != nil {
				log.Fatal(err)
			}
			if _, err := f.Write(append(line, '\n')); err != nil {
				log.Fatal(err)
			}
			have = m
			done[m.key()] = m
		}
		if have.Status != "unfit" {
			quota[p]--
			ran++
		}
	}
	if err := f.Close(); err != nil {
		log.Fatal(err)
	}
	print(done, ran)
}

// bounded lets nothing that is started from here on take more than mostMemory: a loop that a fault makes endless may
// ask for all there is. Ended by that, a test has noticed. What counts is memory that can be written to: a browser
// keeps far more addresses than it uses, and without it every test of a page would fail.
func bounded() error {
	const mostMemory = 12 << 30
	return syscall.Setrlimit(syscall.RLIMIT_DATA, &syscall.Rlimit{Cur: mostMemory, Max: mostMemory})
}

func keys[M ~map[K]V, K comparable, V any](m M) func(func(K) bool) {
	return func(yield func(K) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

func (m *Mutant) key() string { return fmt.Sprint(m.File, ":", m.Line, ":", m.Column, " ", m.Kind) }

// sample gives each package its share of n by its lines, and all places in an order of chance.
func sample(places string, n int, seed uint64) (map[string]int, []*Mutant, error) {
	text, err := os.ReadFile(places)
	if err != nil {
		return nil, nil, err
	}
	var found struct {
		Files []struct {
			Name      string `json:"file_name"`
			Mutations []struct {
				Type         string
				Line, Column int
			}
		}
	}
	if err := json.Unmarshal(text, &found); err != nil {
		return nil, nil, err
	}
	lines, all := map[string]int{}, 0
	var drawn []*Mutant
	for _, f := range found.Files {
		p := filepath.Dir(f.Name)
		if strings.HasPrefix(p, "testdata") || strings.Contains(p, "/testdata/") || p == "cases/storetest" || strings.HasSuffix(p, "takealong/browser") {
			continue // what only tests use, and what only a browser can run
		}
		src, err := os.ReadFile(f.Name)
		if errors.Is(err, os.ErrNotExist) || bytes.Contains(src, []byte("\n// Code generated")) || bytes.HasPrefix(src, []byte("// Code generated")) {
			continue
		} else if err != nil {
			return nil, nil, err
		}
		size := bytes.Count(src, []byte{'\n'})
		lines[p] += size
		all += size
		set := token.NewFileSet()
		tree, err := parser.ParseFile(set, f.Name, src, 0)
		if err != nil {
			return nil, nil, err
		}
		at := tokens(set, tree)
		for _, x := range f.Mutations {
			for _, was := range at[[2]int{x.Line, x.Column}] {
				is, ok := swaps[x.Type][was.tok]
				if !ok || was.unary != (x.Type == "INVERT_NEGATIVES") {
					continue
				}
				drawn = append(drawn, &Mutant{File: f.Name, Line: x.Line, Column: x.Column, Kind: x.Type, Was: was.tok.String(), Is: is.String(), offset: was.offset})
				break
			}
		}
	}
	// The largest remainders get what whole shares leave over.
	quota, rest := map[string]int{}, n
	type part struct {
		p    string
		more float64
	}
	var parts []part
	for p, l := range lines {
		share := float64(n) * float64(l) / float64(all)
		quota[p] = int(share)
		rest -= int(share)
		parts = append(parts, part{p, share - math.Floor(share)})
	}
	slices.SortFunc(parts, func(a, b part) int {
		if a.more != b.more {
			return int(math.Copysign(1, b.more-a.more))
		}
		return strings.Compare(a.p, b.p)
	})
	for _, x := range parts[:max(0, rest)] {
		quota[x.p]++
	}
	r := rand.New(rand.NewPCG(seed, 0))
	r.Shuffle(len(drawn), func(i, j int) { drawn[i], drawn[j] = drawn[j], drawn[i] })
	return quota, drawn, nil
}

type place struct {
	tok    token.Token
	unary  bool
	offset int
}

// tokens are the places of a file where a token can be swapped, by line and column.
func tokens(set *token.FileSet, tree *ast.File) map[[2]int][]place {
	at := map[[2]int][]place{}
	add := func(pos token.Pos, tok token.Token, unary bool) {
		p := set.Position(pos)
		at[[2]int{p.Line, p.Column}] = append(at[[2]int{p.Line, p.Column}], place{tok, unary, p.Offset})
	}
	ast.Inspect(tree, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BinaryExpr:
			add(n.OpPos, n.Op, false)
		case *ast.UnaryExpr:
			add(n.OpPos, n.Op, true)
		case *ast.IncDecStmt:
			add(n.TokPos, n.Tok, false)
		case *ast.AssignStmt:
			add(n.TokPos, n.Tok, false)
		case *ast.BranchStmt:
			add(n.TokPos, n.Tok, false)
		}
		return true
	})
	return at
}

// run plants the fault and runs the tests that should notice.
func (m *Mutant) run(within time.Duration, own bool, tests measured) error {
	src, err := os.ReadFile(m.File)
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "mutant")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := os.Chmod(dir, 0o777|os.ModeSticky); err != nil { // tests, too, put things there, some as somebody else
		return err
	}
	changed := slices.Concat(src[:m.offset], []byte(m.Is), src[m.offset+len(m.Was):])
	name := filepath.Join(dir, filepath.Base(m.File))
	if err := os.WriteFile(name, changed, 0o666); err != nil {
		return err
	}
	full, err := filepath.Abs(m.File)
	if err != nil {
		return err
	}
	over, err := json.Marshal(map[string]any{"Replace": map[string]string{full: name}})
	if err != nil {
		return err
	}
	overlay := filepath.Join(dir, "overlay.json")
	if err := os.WriteFile(overlay, over, 0o666); err != nil {
		return err
	}
	began := time.Now()
	defer func() { m.Took += math.Round(time.Since(began).Seconds()*10) / 10 }()
	p := filepath.Dir(m.File)
	if out, err := command(overlay, within, ".", "go", "build", "./"+p); err != nil {
		m.Status = "unfit"
		if !bytes.Contains(out, []byte(filepath.Base(m.File)+":")) { // not the fault, but the machine
			return fmt.Errorf("%s: %s", m.key(), out)
		}
		return nil
	}
	m.Status = "lived"
	for _, t := range holders(p)[m.Asked:] {
		var failed noticedBy
		switch err := tests.ask(overlay, t, within); {
		case errors.Is(err, context.DeadlineExceeded):
			m.Status, m.By = "slow", t
			return nil
		case errors.Is(err, errNoticed):
			m.Status, m.By = "killed", t
			if errors.As(err, &failed) {
				m.Test = string(failed)
			}
			return nil
		case err != nil:
			return err
		}
		m.Asked++
		if own {
			return nil
		}
	}
	return nil
}

// holders are the packages whose tests should notice a fault in package p, the likeliest first.
func holders(p string) []string {
	if by := heldBy[p]; by != nil {
		return by
	}
	return []string{p}
}

// read takes up what an earlier start wrote.
func read(name string) (map[string]*Mutant, error) {
	done := map[string]*Mutant{}
	f, err := os.Open(name)
	if errors.Is(err, os.ErrNotExist) {
		return done, nil
	} else if err != nil {
		return nil, err
	}
	defer f.Close()
	in := bufio.NewScanner(f)
	for in.Scan() {
		m := &Mutant{}
		if err := json.Unmarshal(in.Bytes(), m); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		done[m.key()] = m
	}
	return done, in.Err()
}

// print writes shares with their 95 % intervals (Wilson's score interval).
func print(done map[string]*Mutant, ran int) {
	noticed, of := map[string]int{}, map[string]int{}
	for _, m := range done {
		if m.Status == "unfit" {
			continue
		}
		for _, p := range []string{filepath.Dir(m.File), "all"} {
			of[p]++
			if m.Status != "lived" {
				noticed[p]++
			}
		}
	}
	for _, p := range slices.Sorted(keys(of)) {
		low, high := wilson(noticed[p], of[p])
		fmt.Printf("%-32s %4d of %4d  %5.1f %%  (%.1f to %.1f)\n", p, noticed[p], of[p], 100*float64(noticed[p])/float64(of[p]), 100*low, 100*high)
	}
	fmt.Println(ran, "of the sample ran")
}

func wilson(k, n int) (low, high float64) {
	const z = 1.959964
	p, m := float64(k)/float64(n), float64(n)
	mid := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return mid - half, mid + half
}

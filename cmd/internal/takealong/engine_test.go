package takealong

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "compile the engine of the file that is taken along anew")

// The limit on what a file holds of program and rulebase, packed: a choice of the project's,
// so that a file goes through a poor line and an old telephone.
const mostPacked = 2 << 20

// engineFile says what the engine was made from. A change of the sources does not make it
// wrong at once: each file that is taken along holds its own, and what it answers is held to the command line by
// TestWholeJob. So only CI asks that it be of today's sources (DOWNDROP_ENGINE=check), and whoever has
// changed them need not write two megabytes anew with every change.
const engineFile = "engine.json"

type engineOf struct {
	Schema string `json:"schema"`
	Go     string `json:"go"`     // the toolchain that compiled it
	Inputs string `json:"inputs"` // SHA-256 over path, NUL, content, NUL of each source file that it is made from, with go.sum
	Bytes  int    `json:"bytes"`  // packed
}

// browserTarget is how the engine is compiled: without names of functions inlined and
// without tables for debuggers, which a browser has no use for. Not inlining makes it a seventh
// smaller once packed.
var browserTarget = []string{"-trimpath", "-buildvcs=false", "-ldflags=-s -w -buildid=", "-gcflags=all=-l"}

func goFor(t *testing.T, args ...string) []byte {
	t.Helper()
	cmd := exec.Command("go", args...)
	cmd.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm", "CGO_ENABLED=0", "GOFLAGS=", "GOWORK=off")
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go %s: %v", strings.Join(args, " "), err)
	}
	return out
}

// inputs sums the sources that the engine is made from.
func inputs(t *testing.T) string {
	t.Helper()
	list := goFor(t, "list", "-deps", "-f", `{{if .Module}}{{if .Module.Main}}{{$d := .Dir}}{{range .GoFiles}}{{$d}}/{{.}}{{"\n"}}{{end}}{{end}}{{end}}`, "./browser")
	root := filepath.Clean(filepath.Join("..", "..", ".."))
	absolute, err := filepath.Abs(root)
	if err != nil {
		t.Fatal(err)
	}
	files := append(strings.Fields(string(list)), filepath.Join(absolute, "go.sum"))
	slices.Sort(files)
	sum := sha256.New()
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		name, err := filepath.Rel(absolute, f)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(sum, "%s\x00%s\x00", filepath.ToSlash(name), text)
	}
	return hex.EncodeToString(sum.Sum(nil))
}

func compile(t *testing.T) []byte {
	t.Helper()
	out := filepath.Join(t.TempDir(), "engine.wasm")
	goFor(t, slices.Concat([]string{"build"}, browserTarget, []string{"-o", out, "./browser"})...)
	wasm, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	packed, err := zip(wasm)
	if err != nil {
		t.Fatal(err)
	}
	return packed
}

// The engine in the tree is the one that these sources make. `go generate
// ./cmd/internal/takealong` writes it anew.
func TestEngineIsOfThisSource(t *testing.T) {
	if *update {
		packed := compile(t)
		text, err := json.MarshalIndent(engineOf{"downdrop.take_along_engine/1", runtime.Version(), inputs(t), len(packed)}, "", "  ")
		if err != nil {
			t.Fatal(err)
		}
		glue, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(goFor(t, "env", "GOROOT"))), "lib", "wasm", "wasm_exec.js"))
		if err != nil {
			t.Fatal(err)
		}
		for name, content := range map[string][]byte{"engine.wasm.gz": packed, engineFile: append(text, '\n'), "go_runtime.js": glue} {
			if err := os.WriteFile(name, content, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		return
	}
	if os.Getenv("DOWNDROP_ENGINE") != "check" {
		t.Skip("DOWNDROP_ENGINE=check compares it with its sources")
	}
	text, err := os.ReadFile(engineFile)
	if err != nil {
		t.Fatal(err)
	}
	var of engineOf
	if err := json.Unmarshal(text, &of); err != nil {
		t.Fatal(err)
	}
	const again = "write it anew: go generate ./cmd/internal/takealong"
	if of.Inputs != inputs(t) {
		t.Fatalf("the engine for files that are taken along is made from other sources than these; %s", again)
	}
	if of.Go != runtime.Version() {
		t.Skipf("compiled by %s, and this is %s: only its sources were compared", of.Go, runtime.Version())
	}
	if !bytes.Equal(compile(t), engine) {
		t.Fatalf("these sources make another engine than the one in the tree; %s", again)
	}
}

// What goes into a file stays small.
func TestEngineStaysSmall(t *testing.T) {
	base, _ := example(t)
	text, err := base.Pack()
	if err != nil {
		t.Fatal(err)
	}
	packed, err := zip(text)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("engine %d bytes packed, rulebase %d, of at most %d for the engine", len(engine), len(packed), mostPacked)
	if len(engine) > mostPacked || len(packed) > mostPacked/8 {
		t.Errorf("engine %d bytes packed, rulebase %d; the engine may have %d, the rulebase an eighth of that", len(engine), len(packed), mostPacked)
	}
}

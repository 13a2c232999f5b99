package support

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"math"
	"math/big"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// long are numbers with so many digits that the last are not the same on every machine.
var long = regexp.MustCompile(`[0-9]+\.[0-9]{6,}(e[-+]?[0-9]+)?`)

// Kept compares a text with the one of yesterday, a file of the package's testdata: what is drawn and reckoned
// without any source to hold it against has at least to stay as it is, unless somebody means it. Then
// DOWNDROP_KEEP=1 go test PACKAGE writes it anew; what differs is said without it. It is kept compressed.
func Kept(t testing.TB, name, got string) {
	t.Helper()
	got = long.ReplaceAllStringFunc(got, func(n string) string {
		x, _ := strconv.ParseFloat(n, 64)
		return strconv.FormatFloat(x, 'g', 6, 64)
	})
	file := filepath.Join("testdata", name+".gz")
	if os.Getenv("DOWNDROP_KEEP") != "" {
		if err := os.MkdirAll("testdata", 0o777); err != nil {
			t.Fatal(err)
		}
		var packed bytes.Buffer
		w, _ := gzip.NewWriterLevel(&packed, gzip.BestCompression)
		if _, err := w.Write([]byte(got)); err != nil || w.Close() != nil || os.WriteFile(file, packed.Bytes(), 0o666) != nil {
			t.Fatalf("%s is not written", file)
		}
		return
	}
	packed, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer packed.Close()
	r, err := gzip.NewReader(packed)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	was, is := strings.Split(string(text), "\n"), strings.Split(got, "\n")
	said := 0
	for i := range max(len(was), len(is)) {
		at := func(lines []string) string {
			if i < len(lines) {
				return lines[i]
			}
			return "(no more)"
		}
		if a, b := at(was), at(is); a != b {
			if said++; said > 5 {
				t.Errorf("%s: and more", file)
				return
			}
			t.Errorf("%s:%d: was %s\nis  %s", file, i+1, a, b)
		}
	}
}

var number = regexp.MustCompile(`[0-9]+(\.[0-9]+)?`)

// DrawnAs draws a text in YAML like another one until it can be read.
func DrawnAs[T any](r *rand.Rand, like []byte, read func([]byte) (T, error)) T {
	for {
		if x, err := read([]byte(drawn(r, string(like)))); err == nil {
			return x
		}
	}
}

// drawn is a text in YAML with some of its numbers changed and some of the items of its lists gone. It may
// say what cannot be.
func drawn(r *rand.Rand, text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		line, _, _ = strings.Cut(line, "#")
		line = strings.TrimRight(line, " \n")
		if line == "" || strings.HasPrefix(strings.TrimSpace(line), "- ") && r.IntN(14) == 0 {
			continue
		}
		if key, rest, ok := strings.Cut(line, ":"); ok && r.IntN(6) == 0 {
			line = key + ":" + number.ReplaceAllStringFunc(rest, func(n string) string {
				x, _ := strconv.ParseFloat(n, 64)
				return strconv.FormatFloat(x*[]float64{0.5, 0.9, 1.1, 2, 3}[r.IntN(5)], 'f', -1, 64)
			})
		}
		b.WriteString(line + "\n")
	}
	return b.String()
}

// Figures writes down all that an exported field of x holds, a line for each that is not nothing: numbers to six
// digits, for the last ones are not the same on every machine, and instead of a pointer to something with
// an id the id.
func Figures(x any) string {
	var b strings.Builder
	figures(&b, "", reflect.ValueOf(x))
	return b.String()
}

func figures(b *strings.Builder, at string, v reflect.Value) {
	if !v.IsValid() || v.IsZero() {
		return
	}
	line := func(format string, args ...any) {
		fmt.Fprintf(b, "%s %s\n", strings.TrimPrefix(at, "."), fmt.Sprintf(format, args...))
	}
	if x, ok := v.Interface().(*big.Rat); ok {
		line("%s", x.FloatString(4))
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		if v.Elem().Kind() == reflect.Struct && v.Elem().FieldByName("ID").IsValid() {
			line("-> %v", v.Elem().FieldByName("ID"))
			return
		}
		figures(b, at, v.Elem())
	case reflect.Interface:
		figures(b, at, v.Elem())
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.IsExported() {
				figures(b, at+"."+f.Name, v.Field(i))
			}
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			figures(b, fmt.Sprintf("%s[%d]", at, i), v.Index(i))
		}
	case reflect.Map:
		keys := v.MapKeys()
		slices.SortFunc(keys, func(a, c reflect.Value) int { return strings.Compare(fmt.Sprint(a), fmt.Sprint(c)) })
		for _, k := range keys {
			figures(b, fmt.Sprintf("%s[%v]", at, k), v.MapIndex(k))
		}
	case reflect.Float32, reflect.Float64:
		if !(math.Abs(v.Float()) <= 1e-9) { // else the rest of a sum that is nothing
			line("%.6g", v.Float())
		}
	case reflect.Func, reflect.Chan:
	default:
		line("%v", v)
	}
}

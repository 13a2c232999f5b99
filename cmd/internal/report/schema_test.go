package report

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"

	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

// documents are all that is printed as JSON, with the Go type of each.
var documents = []struct {
	name, says string
	of         any
}{
	{AlikeSchema, "closed cases that are most like one (case alike)", alikeJSON{}},
	{BenchListSchema, "bench procedures and unit profiles (bench list)", benchListJSON{}},
	{BenchRunSchema, "a run at the bench (bench show)", benchRunJSON{}},
	{CaseSchema, "a case with all that is kept of it (case open, case show)", caseJSON{}},
	{CaseListSchema, "a list of cases (case list, case find)", caseListJSON{}},
	{ChartSchema, "a fault-finding chart (chart)", chartJSON{}},
	{CheckSchema, "what was found in a rulebase (check)", checkJSON{}},
	{ContestSchema, "what rival ways of going about it come to (rehearse --policies)", contestsJSON{}},
	{DecisionSchema, "what can become of a unit and what each way costs (decide)", decisionJSON{}},
	{DiagnosisSchema, "what is likely, how sure that is, and what to do next (diagnose)", diagnosisJSON{}},
	{DistinguishSchema, "how well a rulebase tells causes apart (rulebase distinguish)", distinguishJSON{}},
	{LayersSchema, "which rulebase lies over which (rulebase layers)", layersJSON{}},
	{LessonsSchema, "which numbers closed cases disagree with (learn)", lessonsJSON{}},
	{SheetSchema, "an installation sheet gone over (line check)", sheetJSON{}},
	{EchoSchema, "what a step does at both ends of a trunk (line echo)", echoJSON{}},
	{ExpectedSchema, "what should be read across a dead pair (line ohms)", expectedJSON{}},
	{LocateSchema, "where a fault lies along a trunk (line locate)", locateJSON{}},
	{OhmsSchema, "what an ohm reading can be (line ohms)", ohmsJSON{}},
	{WaveformSchema, "what was measured in a capture (line waveform)", waveformJSON{}},
	{RecordSchema, "the content of a bench record (within its HTML and PDF)", RecordContent{}},
	{RehearsalSchema, "how often the advice is right (rehearse)", rehearsalJSON{}},
	{ReplaySchema, "closed cases taken through a rulebase (replay)", replayJSON{}},
	{ReturnNoteSchema, "the paper that goes with a unit to the shop (unit return-note)", returnNoteJSON{}},
	{RuleTestSchema, "results of rule tests, and what they cover (rulebase test)", ruleTestsJSON{}},
	{StoreSchema, "where the store is and what it holds (store where)", Store{}},
	{VerifiedSchema, "what is wrong in a store (store verify)", verifiedJSON{}},
	{TriageSchema, "a row of a worklist; a document on each line (triage)", triageRowJSON{}},
	{UnitSchema, "a unit with all that is kept of it (unit show)", unitCardJSON{}},
	{UnitsSchema, "a list of units (unit list)", unitListJSON{}},
	{MonthSchema, "a month in the shop (unit month)", monthJSON{}},
	{VersionSchema, "what the program was built from (version)", Version{}},
}

// A shape is a JSON Schema, or a part of one.
type shape = map[string]any

// A shaper makes schemas from Go types.
type shaper struct {
	said map[string]map[string]string // by package path and type: what a field's comment says
	defs shape
}

func (s *shaper) document(name, says string, of any) shape {
	s.defs = shape{}
	root := s.object(reflect.TypeOf(of))
	root["properties"].(shape)["schema"] = shape{"const": name}
	root["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	root["title"] = says
	if len(s.defs) > 0 {
		root["$defs"] = s.defs
	}
	return root
}

var marshaler = reflect.TypeFor[json.Marshaler]()

func (s *shaper) of(t reflect.Type) shape {
	switch {
	case t == reflect.TypeFor[time.Time]():
		return shape{"type": "string", "format": "date-time"}
	case t == reflect.TypeFor[json.RawMessage](), t.Implements(marshaler):
		return shape{}
	}
	switch t.Kind() {
	case reflect.Bool:
		return shape{"type": "boolean"}
	case reflect.String:
		return shape{"type": "string"}
	case reflect.Float32, reflect.Float64:
		return shape{"type": "number"}
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64, reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return shape{"type": "integer"}
	case reflect.Slice, reflect.Array:
		if t.Elem().Kind() == reflect.Uint8 {
			return shape{"type": "string", "contentEncoding": "base64"}
		}
		return shape{"type": "array", "items": s.of(t.Elem())}
	case reflect.Map:
		return shape{"type": "object", "additionalProperties": s.of(t.Elem())}
	case reflect.Pointer:
		return shape{"anyOf": []any{s.of(t.Elem()), shape{"type": "null"}}}
	case reflect.Interface:
		return shape{}
	case reflect.Struct:
		if t.Name() == "" {
			return s.object(t)
		}
		name := strings.TrimSuffix(t.Name(), "JSON")
		if s.defs[name] == nil {
			s.defs[name] = shape{} // before its fields, which may lead back to it
			s.defs[name] = s.object(t)
		}
		return shape{"$ref": "#/$defs/" + name}
	}
	panic(fmt.Sprintf("%v has no place in JSON", t))
}

func (s *shaper) object(t reflect.Type) shape {
	properties, required := shape{}, []any{}
	for f := range fieldsOf(t) {
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		if name == "-" || !f.IsExported() {
			continue
		}
		if name == "" {
			name = f.Name
		}
		left := strings.Contains(options, "omitempty") || strings.Contains(options, "omitzero")
		ft := f.Type
		if left && ft.Kind() == reflect.Pointer {
			ft = ft.Elem()
		}
		one := s.of(ft)
		if says := s.said[t.PkgPath()+"."+t.Name()][f.Name]; says != "" {
			one["description"] = says
		}
		properties[name] = one
		if !left {
			required = append(required, name)
		}
	}
	return shape{"type": "object", "properties": properties, "required": required}
}

// fieldsOf are the fields of a struct, those of one laid into it among them.
func fieldsOf(t reflect.Type) func(func(reflect.StructField) bool) {
	return func(yield func(reflect.StructField) bool) {
		for i := range t.NumField() {
			f := t.Field(i)
			if f.Anonymous && f.Tag.Get("json") == "" && f.Type.Kind() == reflect.Struct {
				for inner := range fieldsOf(f.Type) {
					if !yield(inner) {
						return
					}
				}
				continue
			}
			if !yield(f) {
				return
			}
		}
	}
}

// commentsOf reads what the comments behind and above fields say.
func commentsOf(t *testing.T, folders ...string) map[string]map[string]string {
	t.Helper()
	said := map[string]map[string]string{}
	for _, folder := range folders {
		files, err := filepath.Glob(filepath.Join("../../..", folder, "*.go"))
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") || strings.HasSuffix(name, "shipped_compiled.go") {
				continue
			}
			file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ParseComments)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(file, func(n ast.Node) bool {
				spec, ok := n.(*ast.TypeSpec)
				if !ok {
					return true
				}
				body, ok := spec.Type.(*ast.StructType)
				if !ok {
					return true
				}
				fields := map[string]string{}
				for _, f := range body.Fields.List {
					text := strings.Join(strings.Fields(f.Doc.Text()+" "+f.Comment.Text()), " ")
					for _, n := range f.Names {
						fields[n.Name] = text
					}
				}
				said["downdrop/"+folder+"."+spec.Name.Name] = fields
				return true
			})
		}
	}
	return said
}

// The schemas that the program holds are those of its types. They only grow: a field
// that is gone or of another kind is refused even with -update, and what is required was
// so from the first, so that older documents stay valid and newer ones are read by
// programs that know the older schema.
func TestSchemas(t *testing.T) {
	s := &shaper{said: commentsOf(t, "cmd/internal/report", "cases", "engine/bench", "rulebase")}
	left := map[string]bool{}
	for _, d := range Documents() {
		left[d.Schema] = true
	}
	for _, d := range documents {
		delete(left, d.name)
		now := asRead(t, s.document(d.name, d.says, d.of))
		file := filepath.Join("schemas", schemaFile(d.name))
		text, err := os.ReadFile(file)
		if err == nil {
			var before shape
			if err := json.Unmarshal(text, &before); err != nil {
				t.Fatalf("%s: %v", file, err)
			}
			for _, lost := range grown(d.name, before, now) {
				t.Error(lost)
			}
		}
		var want bytes.Buffer
		if err := writeJSON(&want, now); err != nil {
			t.Fatal(err)
		}
		if updating() && !t.Failed() {
			if err := os.WriteFile(file, want.Bytes(), 0o666); err != nil {
				t.Fatal(err)
			}
		} else if diff := cmp.Diff(want.String(), string(text)); diff != "" {
			t.Errorf("%s is not the schema of its type; go test ./cmd/internal/report -run Schemas -update writes it (-type +file):\n%s", file, diff)
		}
	}
	for name := range left {
		t.Errorf("%s has a schema and is no document any more; documents are not taken away", name)
	}
}

func asRead(t *testing.T, x shape) (out shape) {
	t.Helper()
	text, err := json.Marshal(x)
	if err == nil {
		err = json.Unmarshal(text, &out)
	}
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// grown says what of an earlier schema is no longer so, and takes over from it what must
// stay: which fields are required.
func grown(at string, before, now shape) (lost []string) {
	for _, key := range []string{"type", "const", "$ref", "format"} {
		if was, is := before[key], now[key]; was != is {
			lost = append(lost, fmt.Sprintf("%s: its %s was %v and is %v", at, key, was, is))
		}
	}
	for _, key := range []string{"properties", "$defs"} {
		was, _ := before[key].(shape)
		is, _ := now[key].(shape)
		for name, x := range was {
			y, ok := is[name].(shape)
			if !ok {
				if key == "properties" {
					lost = append(lost, fmt.Sprintf("%s: %s is gone", at, name))
				}
				continue
			}
			lost = append(lost, grown(at+"."+name, x.(shape), y)...)
		}
	}
	for _, key := range []string{"items", "additionalProperties"} {
		if x, ok := before[key].(shape); ok {
			y, _ := now[key].(shape)
			lost = append(lost, grown(at+"[]", x, y)...)
		}
	}
	if was, ok := before["required"].([]any); ok {
		is, _ := now["required"].([]any)
		for _, name := range was {
			if !slices.Contains(is, name) {
				lost = append(lost, fmt.Sprintf("%s: %v may be left out now", at, name))
			}
		}
		now["required"] = was
	}
	return lost
}

// A schema refuses what it should: a lost field, one of another kind.
func TestSchemasOnlyGrow(t *testing.T) {
	s := &shaper{}
	type first struct {
		A int      `json:"a"`
		B []string `json:"b"`
	}
	type more struct {
		A int      `json:"a"`
		B []string `json:"b"`
		C string   `json:"c"`
	}
	type less struct {
		A int `json:"a"`
	}
	type other struct {
		A string   `json:"a"`
		B []string `json:"b"`
	}
	before := asRead(t, s.document("x/1", "", first{}))
	now := asRead(t, s.document("x/1", "", more{}))
	if lost := grown("x/1", before, now); len(lost) > 0 {
		t.Error(lost)
	}
	if required := now["required"].([]any); slices.Contains(required, any("c")) {
		t.Errorf("an added field is required: %v", required)
	}
	for _, worse := range []any{less{}, other{}} {
		if lost := grown("x/1", before, asRead(t, s.document("x/1", "", worse))); len(lost) == 0 {
			t.Errorf("%T was taken for a growth", worse)
		}
	}
}

// compiled is a schema ready to check by; strict takes no field that it does not name.
func compiled(t *testing.T, name string, strict bool) *jsonschema.Schema {
	t.Helper()
	text, ok := DocumentSchema(name)
	if !ok {
		t.Fatalf("%s has no schema", name)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if strict {
		closed(doc)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource("mem:"+name, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("mem:" + name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func closed(x any) {
	switch x := x.(type) {
	case []any:
		for _, y := range x {
			closed(y)
		}
	case shape:
		for _, y := range x {
			closed(y)
		}
		if x["properties"] != nil && x["type"] == "object" {
			x["additionalProperties"] = false
		}
	}
}

// validate checks every document of a text by its schema, and gives their names.
func validate(t *testing.T, file string, text []byte, strict bool) (names []string) {
	t.Helper()
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	for d.More() {
		var doc any
		if err := d.Decode(&doc); err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		object, _ := doc.(shape)
		name, _ := object["schema"].(string)
		if !strings.HasPrefix(name, "downdrop.") {
			continue
		}
		names = append(names, name)
		if err := compiled(t, name, strict).Validate(doc); err != nil {
			t.Errorf("%s: %v", file, err)
		}
	}
	return names
}

// Every golden document holds what its schema says, and nothing that it does not name;
// every kind of document has a golden.
func TestGoldensAreOfTheirSchemas(t *testing.T) {
	found := map[string]bool{}
	files, err := filepath.Glob("testdata/*.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range validate(t, file, text, true) {
			found[name] = true
		}
	}
	var version bytes.Buffer
	if err := (&Version{Version: "v1.2.3", Go: "go1.26.0", System: "linux/arm64"}).JSON(&version); err != nil {
		t.Fatal(err)
	}
	found[validate(t, "version", version.Bytes(), true)[0]] = true
	for _, d := range documents {
		if !found[d.name] && !printedElsewhere[d.name] {
			t.Errorf("no golden is of %s", d.name)
		}
	}

}

// printedElsewhere are documents whose goldens are texts of scripts, checked by
// TestEveryJSONIsOfItsSchema of the command.
var printedElsewhere = map[string]bool{StoreSchema: true, VerifiedSchema: true, TriageSchema: true, UnitSchema: true, UnitsSchema: true, MonthSchema: true, ReturnNoteSchema: true, WaveformSchema: true, RuleTestSchema: true}

// Documents that earlier versions printed are valid by the schemas of today. A folder
// for each version that was released; nothing in them is ever changed.
func TestOlderDocumentsStayValid(t *testing.T) {
	files, err := filepath.Glob("testdata/older/*/*.json")
	if err != nil || len(files) == 0 {
		t.Fatalf("no older documents: %v", err)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if len(validate(t, file, text, false)) == 0 {
			t.Errorf("%s is no document of ours", file)
		}
	}
}

// updating says whether the goldens are written; the flag is that of this package's
// other tests.
func updating() bool {
	f := flag.Lookup("update")
	return f != nil && f.Value.String() == "true"
}

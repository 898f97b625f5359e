package club_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"canter.example/schemas/club"
)

// schemaKeys returns every key of every object in the JSON Schema.
func schemaKeys(t *testing.T) []string {
	t.Helper()
	var keys []string
	walkSchema(t, func(_ string, node map[string]any) {
		if props, ok := node["properties"].(map[string]any); ok {
			for k := range props {
				keys = append(keys, k)
			}
		}
	})
	slices.Sort(keys)
	return slices.Compact(keys)
}

// walkSchema calls f for every schema within the JSON Schema.
func walkSchema(t *testing.T, f func(at string, node map[string]any)) {
	t.Helper()
	var root map[string]any
	if err := json.Unmarshal(club.JSONSchema, &root); err != nil {
		t.Fatal(err)
	}
	var walk func(at string, v any)
	walk = func(at string, v any) {
		node, ok := v.(map[string]any)
		if !ok {
			return
		}
		f(at, node)
		for _, k := range []string{"items", "if", "then", "else"} {
			walk(at+"/"+k, node[k])
		}
		for _, k := range []string{"properties", "$defs"} {
			if m, ok := node[k].(map[string]any); ok {
				for name, sub := range m {
					walk(at+"/"+k+"/"+name, sub)
				}
			}
		}
	}
	walk("#", root)
}

func TestEverySchemaHasADescriptionAndItsExamplesAreValid(t *testing.T) {
	text, err := jsonschema.UnmarshalJSON(bytes.NewReader(club.JSONSchema))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("club.json", text); err != nil {
		t.Fatal(err)
	}
	examples := 0
	walkSchema(t, func(at string, node map[string]any) {
		named := strings.HasPrefix(at, "#/$defs/") || strings.HasPrefix(at, "#/properties/")
		if named && node["description"] == nil && node["$ref"] == nil && !strings.Contains(at, "/if") &&
			!strings.Contains(at, "/then") && !strings.Contains(at, "/else") {
			t.Errorf("%s has no description", at)
		}
		list, ok := node["examples"].([]any)
		if !ok {
			return
		}
		s, err := c.Compile("club.json" + at)
		if err != nil {
			t.Errorf("%s: %v", at, err)
			return
		}
		for _, ex := range list {
			examples++
			if err := s.Validate(ex); err != nil {
				t.Errorf("%s: example %v: %v", at, ex, err)
			}
		}
	})
	if examples < 50 {
		t.Errorf("only %d examples", examples)
	}
}

func TestTheEmbeddedSchemaIsTheFile(t *testing.T) {
	b, err := os.ReadFile("club.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(b, club.JSONSchema) {
		t.Error("club.schema.json and JSONSchema differ")
	}
}

func ExampleParse() {
	_, err := club.Parse("club.yaml", []byte(`
club: Quarrymoor Rovers
time_zone: Europe/Berlin
athletes: [{id: q01, hrmx: 192}]
squads: [{id: first, folders: [data]}]
protocols: [{id: run4, duration: 4}]
`))
	fmt.Println(err)
	// Output:
	// club.yaml:4:22: athletes[0].hrmx: unknown key "hrmx" in an athlete. Did you mean "hrmax"?
	// club.yaml:6:34: protocols[0].duration: 4 is not a length of time. A length of time is written with its unit: 60s, 4m, 1h30m, 8d or 52w
}

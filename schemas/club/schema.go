package club

import (
	"bytes"
	_ "embed" // the JSON Schema
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/santhosh-tekuri/jsonschema/v6/kind"
)

// JSONSchema is the JSON Schema of the club file (draft 2020-12), for editors
// and for [Parse] itself.
//
//go:embed club.schema.json
var JSONSchema []byte

const schemaURL = "https://canter.example/club.schema.json"

// grammar is the compiled schema, and its text to take messages from.
type grammar struct {
	text    any
	club    *jsonschema.Schema
	athlete *jsonschema.Schema
}

// theGrammar compiles the embedded schema once. A schema that doesn't compile
// is a defect of this package that every test would show, hence the panics.
var theGrammar = sync.OnceValue(func() *grammar {
	text, err := jsonschema.UnmarshalJSON(bytes.NewReader(JSONSchema))
	if err != nil {
		panic("club: embedded schema: " + err.Error())
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource(schemaURL, text); err != nil {
		panic("club: embedded schema: " + err.Error())
	}
	return &grammar{text: text, club: c.MustCompile(schemaURL), athlete: c.MustCompile(schemaURL + "#/$defs/athlete")}
})

// Prepare does what [Parse] does once in a process and takes longest: compiling the
// schema. A program that does other things first may have it done meanwhile.
func Prepare() { theGrammar() }

// fault is one leaf of a schema validation: a problem without its place yet.
type fault struct {
	// path to the value, and to the key when the fault is the key itself.
	path string
	key  bool
	// missing is the key that is not there.
	missing    string
	text, hint string
}

// validate checks v against the schema, returns all faults and takes what is
// faulty out of the value, so that what is left can still be checked further.
// Paths in faults begin with prefix.
func (g *grammar) validate(s *jsonschema.Schema, v any, prefix string) (any, []fault) {
	err := s.Validate(v)
	ve, ok := errors.AsType[*jsonschema.ValidationError](err)
	if !ok {
		return v, nil
	}
	var faults []fault
	var prune [][]string
	var walk func(e *jsonschema.ValidationError)
	walk = func(e *jsonschema.ValidationError) {
		if len(e.Causes) > 0 {
			for _, c := range e.Causes {
				walk(c)
			}
			return
		}
		at := pathOf(v, e.InstanceLocation, prefix)
		faults = append(faults, g.faultsOf(e, v, at)...)
		switch k := e.ErrorKind.(type) {
		case *kind.Required:
		case *kind.AdditionalProperties:
			for _, p := range k.Properties {
				prune = append(prune, append(slices.Clone(e.InstanceLocation), p))
			}
		default:
			prune = append(prune, e.InstanceLocation)
		}
	}
	walk(ve)
	for _, p := range prune {
		v = without(v, p)
	}
	return v, faults
}

// pathOf writes a location as people do: squads[0].id.
func pathOf(v any, location []string, prefix string) string {
	path := prefix
	for _, part := range location {
		switch x := v.(type) {
		case []any:
			path += "[" + part + "]"
			if i, err := strconv.Atoi(part); err == nil && i < len(x) {
				v = x[i]
			}
		case map[string]any:
			path = join(path, part)
			v = x[part]
		}
	}
	return path
}

// without returns v with the value at location taken out: deleted from a
// mapping, made nil in a list so that the others keep their numbers.
func without(v any, location []string) any {
	if len(location) == 0 {
		return nil
	}
	switch x := v.(type) {
	case map[string]any:
		if child, ok := x[location[0]]; ok {
			if len(location) == 1 {
				delete(x, location[0])
			} else {
				x[location[0]] = without(child, location[1:])
			}
		}
	case []any:
		if i, err := strconv.Atoi(location[0]); err == nil && i < len(x) {
			x[i] = without(x[i], location[1:])
		}
	}
	return v
}

// lookup returns the value at a location.
func lookup(v any, location []string) any {
	for _, part := range location {
		switch x := v.(type) {
		case map[string]any:
			v = x[part]
		case []any:
			i, err := strconv.Atoi(part)
			if err != nil || i >= len(x) {
				return nil
			}
			v = x[i]
		default:
			return nil
		}
	}
	return v
}

// said returns the nearest text of a keyword at or above a schema location.
func (g *grammar) said(url, keyword string) string {
	_, fragment, _ := strings.Cut(url, "#")
	parts := strings.Split(strings.Trim(fragment, "/"), "/")
	if parts[0] == "" {
		parts = nil
	}
	for n := len(parts); n >= 0; n-- {
		if m, ok := lookup(g.text, parts[:n]).(map[string]any); ok {
			if s, ok := m[keyword].(string); ok {
				return s
			}
		}
	}
	return ""
}

// properties returns the keys that the object schema at url knows, each with
// its own schema.
func (g *grammar) properties(url string) map[string]any {
	_, fragment, _ := strings.Cut(url, "#")
	var parts []string
	if f := strings.Trim(fragment, "/"); f != "" {
		parts = strings.Split(f, "/")
	}
	m, _ := lookup(g.text, append(parts, "properties")).(map[string]any)
	return m
}

// faultsOf says one leaf error in words.
func (g *grammar) faultsOf(e *jsonschema.ValidationError, root any, at string) []fault {
	title, hint := g.said(e.SchemaURL, "title"), strings.TrimSuffix(g.said(e.SchemaURL, "description"), ".")
	got := lookup(root, e.InstanceLocation)
	one := func(format string, args ...any) []fault {
		return []fault{{path: at, text: fmt.Sprintf(format, args...), hint: hint}}
	}
	switch k := e.ErrorKind.(type) {
	case *kind.AdditionalProperties:
		return g.unknown(k.Properties, e.SchemaURL, title, at)
	case *kind.Required:
		return g.missing(k.Missing, e.SchemaURL, at)
	case *kind.Type:
		if got == nil {
			return one("is empty, where %s belongs", title)
		}
		return one("%s is not %s", plain(got), title)
	case *kind.Enum:
		words := make([]string, len(k.Want))
		for i, w := range k.Want {
			words[i] = fmt.Sprint(w)
		}
		if len(words) > 1 { // one word is a number's alternative, which the description has
			hint = "Write " + list(words, "or")
		}
		hint = didYouMean(fmt.Sprint(got), words, hint)
		return one("%s is not %s", plain(got), title)
	case *kind.Minimum:
		return one("%s is too small, the least is %s", plain(got), k.Want.RatString())
	case *kind.Maximum:
		return one("%s is too large, the most is %s", plain(got), k.Want.RatString())
	case *kind.ExclusiveMinimum:
		return one("%s is too small, it must be above %s", plain(got), k.Want.RatString())
	case *kind.MinItems:
		return one("holds %d, and needs %d or more", k.Got, k.Want)
	case *kind.MaxItems:
		return one("holds %d, and may have %d at most", k.Got, k.Want)
	case *kind.MinLength, *kind.MinProperties:
		return one("is empty, where %s belongs", title)
	default: // Pattern, MaxLength
		return one("%s is not %s", plain(got), title)
	}
}

func (g *grammar) unknown(keys []string, url, title, at string) []fault {
	known := slices.Sorted(maps.Keys(g.properties(url)))
	slices.Sort(keys)
	var out []fault
	for _, key := range keys {
		out = append(out, fault{
			path: join(at, key), key: true,
			text: fmt.Sprintf("unknown key %s in %s", quote(key), title),
			hint: didYouMean(key, known, "Known here: "+list(known, "and")),
		})
	}
	return out
}

func (g *grammar) missing(keys []string, url, at string) []fault {
	var out []fault
	for _, key := range keys {
		hint := "Add " + key
		if p, ok := g.properties(url)[key].(map[string]any); ok {
			if ref, ok := p["$ref"].(string); ok && p["examples"] == nil {
				p, _ = lookup(g.text, strings.Split(strings.TrimPrefix(ref, "#/"), "/")).(map[string]any)
			}
			if ex, ok := p["examples"].([]any); ok && len(ex) > 0 {
				if b, err := json.Marshal(ex[0]); err == nil {
					hint = fmt.Sprintf("Add it, for example %s: %s", key, b)
				}
			}
		}
		out = append(out, fault{path: at, missing: key, text: key + " is missing", hint: hint})
	}
	return out
}

// plain names a value in a message.
func plain(v any) string {
	switch x := v.(type) {
	case string:
		return quote(x)
	case map[string]any:
		return "a mapping"
	case []any:
		return "a list"
	default:
		return fmt.Sprint(x)
	}
}

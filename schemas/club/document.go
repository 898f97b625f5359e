package club

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Limits of a club file. 1,500 athletes written out take 180 kB and a third of
// a second; beyond these limits the YAML parser's time grows with the square of
// the size, so such a file is refused before it.
const (
	maxFileBytes = 512 << 10
	maxFlowDepth = 32
	maxDashes    = 16  // list marks on one line: "- - -"
	maxLine      = 100 // YAML tokens on one line outside brackets
	maxKeys      = 64  // lines of one mapping; the largest has 15
	maxNodes     = 200_000
)

// place is a position in a file, counted from 1 in characters.
type place struct {
	file      string
	line, col int
}

// document is a club file as plain values, with the place of each.
type document struct {
	file  string
	lines []string
	// root holds map[string]any, []any, string, [json.Number], bool and nil.
	root any
	// values and keys give the place of the value, and of the key before it,
	// at a path such as "squads[0].id".
	values   map[string]place
	keys     map[string]place
	anchors  map[string]ast.Node
	nodes    int
	problems Problems
}

// readDocument parses one YAML document. What it can't represent is in
// d.problems; root is nil when nothing could be read.
func readDocument(file string, content []byte) *document {
	d := &document{file: file, values: map[string]place{}, keys: map[string]place{}, anchors: map[string]ast.Node{}}
	if len(content) > maxFileBytes {
		d.fail(place{file: file}, "", fmt.Sprintf("is %d bytes long; a club file has at most %d", len(content), maxFileBytes),
			"Move the athletes to a CSV file and name it under athletes")
		return d
	}
	text, bad := plainText(content)
	d.lines = strings.Split(text, "\n")
	if bad != (place{}) {
		bad.file = file
		d.fail(bad, "", "holds bytes that are not UTF-8 text", "Save the file with the encoding UTF-8")
		return d
	}
	if !d.shallow(text) {
		return d
	}
	if body := d.parse(text); body != nil {
		d.values[""] = d.at(body)
		d.root = d.value(body, "")
	}
	return d
}

// plainText drops a byte-order mark, makes line ends uniform and returns the
// place of the first byte that is not UTF-8.
func plainText(content []byte) (string, place) {
	text := strings.TrimPrefix(string(content), "\ufeff")
	text = strings.ReplaceAll(strings.ReplaceAll(text, "\r\n", "\n"), "\r", "\n")
	if utf8.ValidString(text) {
		return text, place{}
	}
	line, col := 1, 1
	for i, r := range text {
		if r == utf8.RuneError {
			if _, n := utf8.DecodeRuneInString(text[i:]); n == 1 {
				break
			}
		}
		col++
		if r == '\n' {
			line, col = line+1, 1
		}
	}
	return text, place{line: line, col: col}
}

// shallow refuses nesting and crowding that no club file needs, before the
// parser goes into it.
func (d *document) shallow(text string) (ok bool) {
	defer d.caught(&ok)
	var c crowd
	for _, tk := range lexer.Tokenize(text) {
		if why, hint := c.add(tk); why != "" {
			d.fail(d.position(tk), "", why, hint)
			return false
		}
	}
	return true
}

// crowd counts what a file's tokens pile up.
type crowd struct {
	depth, line, tokens, dashes int
	// counted: the line's first token but for list marks has been seen.
	counted bool
	// keys counts lines that begin in a column since one began further left.
	keys map[int]int
}

func (c *crowd) add(tk *token.Token) (why, hint string) {
	if tk.Position.Line != c.line {
		c.line, c.tokens, c.dashes, c.counted = tk.Position.Line, 0, 0, false
	}
	switch tk.Type {
	case token.SequenceStartType, token.MappingStartType:
		c.depth++
	case token.SequenceEndType, token.MappingEndType:
		c.depth--
	case token.SequenceEntryType:
		c.dashes++
	case token.MappingKeyType:
		return "a key is written with ?", "Write key: value"
	case token.CommentType:
		return "", ""
	default:
	}
	if c.depth <= 0 {
		c.tokens++
		c.column(tk)
	}
	switch {
	case c.depth > maxFlowDepth || c.dashes > maxDashes:
		return "is nested too deeply", "A club file needs no more than a few levels"
	case c.tokens > maxLine:
		return "the line holds too much", "Write one key a line"
	case c.keys[tk.Position.Column] > maxKeys:
		return fmt.Sprintf("a mapping has more than %d keys", maxKeys), "Check the indentation: athletes, squads and protocols are lists, each entry beginning with -"
	}
	return "", ""
}

func (c *crowd) column(tk *token.Token) {
	if c.counted {
		return
	}
	col := tk.Position.Column
	maps.DeleteFunc(c.keys, func(k, _ int) bool { return k > col })
	if tk.Type == token.SequenceEntryType {
		return
	}
	if c.keys == nil {
		c.keys = map[int]int{}
	}
	c.counted = true
	c.keys[col]++
}

// caught turns a panic of the YAML library into a problem: its input is not
// ours to trust.
func (d *document) caught(ok *bool) {
	if r := recover(); r != nil {
		*ok = false
		d.fail(place{d.file, 1, 1}, "", "can't be read as YAML", "Check the file with an editor that knows YAML")
	}
}

func (d *document) parse(text string) (body ast.Node) {
	ok := true
	defer d.caught(&ok)
	f, err := parser.ParseBytes([]byte(text), 0, parser.AllowDuplicateMapKey())
	if err != nil {
		d.syntax(err)
		return nil
	}
	if len(f.Docs) > 1 {
		at := place{d.file, 1, 1}
		if f.Docs[1].Start != nil {
			at = d.position(f.Docs[1].Start)
		}
		d.fail(at, "", `has a second document after "---"`, `A club file is one document: take out this line, or what follows it`)
	}
	if len(f.Docs) == 0 || f.Docs[0].Body == nil || f.Docs[0].Body.Type() == ast.CommentType {
		d.fail(place{d.file, 1, 1}, "", "is empty", "Start from the example in deploy/club.yaml")
		return nil
	}
	return f.Docs[0].Body
}

func (d *document) syntax(err error) {
	at := place{d.file, 1, 1}
	text := err.Error()
	if ye, ok := errors.AsType[yaml.Error](err); ok {
		text = ye.GetMessage()
		if tk := ye.GetToken(); tk != nil {
			at = d.position(tk)
		}
	}
	hint := "Check the indentation and the quotes on this line and the one before"
	switch {
	case strings.Contains(text, `'	'`):
		text, hint = "a tab is used to indent", "YAML indents with spaces only"
	case strings.Contains(text, "mapping value is not allowed"):
		hint = "Keys of one level start in the same column; a value that holds a colon and a space needs quotes"
	case strings.Contains(text, "end character"):
		hint = "Close the quote"
	}
	d.fail(at, "", "is not valid YAML: "+text, hint)
}

func (d *document) fail(at place, path, text, hint string) {
	d.problems = append(d.problems, Problem{File: at.file, Line: at.line, Column: at.col, Path: path, Text: text, Hint: hint})
}

func (d *document) position(tk *token.Token) place {
	if tk == nil || tk.Position == nil {
		return place{d.file, 1, 1}
	}
	return place{d.file, max(tk.Position.Line, 1), max(tk.Position.Column, 1)}
}

// at returns where a node starts; the parser's own token of a block mapping is
// the colon after its first key.
func (d *document) at(n ast.Node) place {
	if m, ok := n.(*ast.MappingNode); ok && !m.IsFlowStyle && len(m.Values) > 0 {
		return d.position(m.Values[0].Key.GetToken())
	}
	return d.position(n.GetToken())
}

// value turns a node into a plain value and notes its places.
func (d *document) value(n ast.Node, path string) any {
	if d.nodes++; d.nodes == maxNodes {
		d.fail(d.at(n), path, "the file grows too large through its aliases", "Write the values out, or fewer of them")
	}
	if n == nil || d.nodes >= maxNodes {
		return nil
	}
	switch n := n.(type) {
	case *ast.MappingNode:
		return d.mapping(n.Values, path)
	case *ast.MappingValueNode:
		return d.mapping([]*ast.MappingValueNode{n}, path)
	case *ast.SequenceNode:
		out := make([]any, len(n.Values))
		for i, v := range n.Values {
			p := fmt.Sprintf("%s[%d]", path, i)
			d.values[p] = d.at(v)
			out[i] = d.value(v, p)
		}
		return out
	case *ast.AnchorNode:
		v := d.value(n.Value, path)
		d.anchors[n.Name.GetToken().Value] = n.Value
		return v
	case *ast.AliasNode:
		name := n.Value.GetToken().Value
		if target, ok := d.anchors[name]; ok {
			return d.value(target, path)
		}
		d.fail(d.at(n), path, fmt.Sprintf("the alias *%s has no anchor before it", name), "Write the value out, or mark it with &"+name)
		return nil
	case *ast.TagNode:
		d.fail(d.at(n), path, "a YAML tag is used", "Take out "+quote(n.Start.Value)+"; club files need none")
		return nil
	default:
		return scalar(n)
	}
}

// mapping reads merged mappings first, so that keys written out win.
func (d *document) mapping(entries []*ast.MappingValueNode, path string) any {
	out := map[string]any{}
	for _, e := range entries {
		if e.Key.Type() != ast.MergeKeyType {
			continue
		}
		if m, ok := d.value(e.Value, path).(map[string]any); ok {
			maps.Copy(out, m)
		} else {
			d.fail(d.at(e.Key), path, "<< needs one mapping to merge", "Write <<: *name of a mapping marked with &name")
		}
	}
	seen := map[string]place{}
	for _, e := range entries {
		if e.Key.Type() == ast.MergeKeyType {
			continue
		}
		key, at := e.Key.GetToken().Value, d.position(e.Key.GetToken())
		p := join(path, key)
		if first, twice := seen[key]; twice {
			d.fail(at, p, fmt.Sprintf("the key is there twice, first on line %d", first.line), "Keep one of them")
			continue
		}
		seen[key] = at
		d.keys[p], d.values[p] = at, d.at(e.Value)
		out[key] = d.value(e.Value, p)
	}
	return out
}

// jsonNumber is what may stand as a number as it is written. Other spellings
// (0123, 1_000, 0x1F) stay text: a serial number must keep its zeros.
var jsonNumber = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][-+]?[0-9]{1,2})?$`)

func scalar(n ast.Node) any {
	text := n.GetToken().Value
	switch n := n.(type) {
	case *ast.NullNode:
		return nil
	case *ast.BoolNode:
		return n.Value
	case *ast.LiteralNode:
		return n.Value.Value
	case *ast.StringNode:
		return n.Value
	case *ast.IntegerNode, *ast.FloatNode:
		if jsonNumber.MatchString(text) {
			return json.Number(text)
		}
		if f, ok := n.(*ast.FloatNode); ok && !math.IsInf(f.Value, 0) {
			return json.Number(strconv.FormatFloat(f.Value, 'g', -1, 64))
		}
	}
	return text
}

// join appends a key to a path.
func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

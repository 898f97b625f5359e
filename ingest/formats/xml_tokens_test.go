package formats

import (
	"encoding/xml"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
)

// tokensOf returns all tokens of a document and the error behind the last one,
// in words, with the lines of both; from the library alone, or with our reader
// before it.
func tokensOf(doc string, longest int, library bool) []string {
	var all []string
	s := newXMLTokens(doc, longest)
	for {
		if library {
			s.owed = true
		}
		t, err := s.read()
		if err != nil {
			if syntax, ok := errors.AsType[*xml.SyntaxError](err); ok { // its line counts from where the library began
				return append(all, fmt.Sprint(syntax.Msg, s.line()))
			}
			return append(all, fmt.Sprint(err, s.line()))
		}
		var said string
		switch t.kind {
		case xmlStart:
			said = fmt.Sprintf("<%s %q", t.name, t.attrs)
		case xmlEnd:
			said = "</" + t.name
		case xmlText, xmlDirective:
			said = fmt.Sprintf("%d %q", t.kind, t.text)
		case xmlSkipped:
			said = "skipped"
		}
		all = append(all, fmt.Sprintf("%s at line %d", said, s.line()))
	}
}

func checkTokens(t *testing.T, doc string, longest int) {
	t.Helper()
	got, want := tokensOf(doc, longest, false), tokensOf(doc, longest, true)
	if !slices.Equal(got, want) {
		i := 0
		for i < min(len(got), len(want)) && got[i] == want[i] {
			i++
		}
		t.Errorf("%q with tokens of at most %d bytes: token %d is\n%s, encoding/xml reads\n%s", doc, longest, i, got[min(i, len(got)):], want[min(i, len(want)):])
	}
}

// oddXML are documents with something that a plain reader could get wrong.
var oddXML = []string{
	"", "<", "<a", "<a>", "</a>", "</ a>", "<a/>", "<a / >", "<a/></a>", "<a></a >", "<a\n\tb = 'c'\r\n/>",
	"<a b=\"c\"d='e'/>", "<a b>", "<a b=c>", "<a b='<'>", "<a b='&lt;'>", "<a b=']]>'>", "<a b='\r\n\r\t'/>", "<a b='x", "<a b='\x01'>",
	"<x:a y:b='1'>", "<x:>", "<:a>", "<x:y:z>", "<x:1>", "<1a>", "<-a>", "<a:b></a:b>", "<é/>", "<aé>", "<a é='1'/>", "<a b='é'/>", "</aé>",
	"x", "x<a>y</a>z", "<a>]]></a>", "<a>]] ></a>", "<a>]</a>]", "<a>\r\n\r\r\n</a>", "<a>\xff</a>", "<a>\ufffe</a>", "<a>\u0085é</a>", "<a>\x00</a>",
	"<a>1&amp;2</a>3<b/>", "<a>&#49;<b>&nbsp;</b></a>", "<a>&", "<a>1<!-- -- --></a>", "<a>1<!-- - -->2</a>", "<a><![CDATA[<b>]]>c</a>", "<a><![CDATA[", "<![CDAT",
	"<?xml version='1.0' encoding='latin1'?><a>1</a>", "<?xml version='2.0'?><a/>", "<?p q?>", "<!DOCTYPE html><a/>", "<!DOCTYPE a [<!ENTITY b 'c'>]>",
	"<a>" + strings.Repeat("x", 40) + "</a>", "<a b='" + strings.Repeat("x", 40) + "'/>", "<" + strings.Repeat("a", 40) + ">", strings.Repeat("<a>", 9),
}

func TestTokensAreThoseOfTheLibrary(t *testing.T) {
	for _, doc := range oddXML {
		for longest := 1; longest < 60; longest++ {
			checkTokens(t, doc, longest)
		}
	}
}

// FuzzXMLTokens holds our reader of tokens to encoding/xml.
func FuzzXMLTokens(f *testing.F) {
	for _, doc := range oddXML {
		f.Add(doc, 20)
	}
	for _, folder := range []string{"good", "bad"} {
		for name, content := range corpus(f, folder, nil) {
			if strings.HasSuffix(name, ".tcx") || strings.HasSuffix(name, ".gpx") {
				f.Add(string(content[:min(len(content), 3000)]), 1<<20)
			}
		}
	}
	f.Fuzz(func(t *testing.T, doc string, longest int) {
		if longest < 1 {
			longest = 1 << 20
		}
		checkTokens(t, doc, longest)
	})
}

package formats

import (
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"unicode/utf8"
)

// Reading tokens one character at a time is most of what encoding/xml costs,
// so the tokens that training files are made of are read here: tags with or
// without attributes, and text. Whatever is unusual in a token (a reference, a
// comment, CDATA, a name beyond ASCII, the end of the file, any mistake) goes to
// encoding/xml, from that token's first byte. A fuzz test holds this reader to
// the very tokens and errors that encoding/xml gives for the whole file.

// xmlToken is one token. Its slices are good until the next one is read.
type xmlToken struct {
	kind  xmlKind
	name  string // of a tag, without its namespace prefix
	attrs []xmlAttr
	text  []byte // of text, or what stands in <!…>
}

type xmlKind uint8

const (
	xmlStart xmlKind = iota
	xmlEnd
	xmlText
	xmlDirective // a document type
	xmlSkipped   // comments and processing instructions
)

// xmlAttr is an attribute, its name without its namespace prefix.
type xmlAttr struct{ name, value string }

var errToken = errors.New("token too long")

// xmlTokens reads the tokens of a document. A tag or text longer than longest
// bytes is errToken, before it fills memory.
type xmlTokens struct {
	doc     string
	next    int // byte of doc
	longest int
	token   xmlToken // with the buffers that are used again
	// empty is set between the start and the end of an element like <a/>.
	empty bool

	// library reads what is unusual, up to byte stop; nil until needed.
	library *xml.Decoder
	stop    int
	// owed is set while the library must give the next token as well: it may
	// have read the first byte of it, have an end to tell, or have failed.
	owed bool
	// ahead is 1 after text: the library would have read the '<' behind it, and
	// counts a token's length from there.
	ahead int
}

func newXMLTokens(doc string, longest int) *xmlTokens {
	return &xmlTokens{doc: doc, longest: longest}
}

// line of the next byte, from 1; counted only when something must be said.
func (s *xmlTokens) line() int { return 1 + strings.Count(s.doc[:s.next], "\n") }

// read returns the next token.
func (s *xmlTokens) read() (*xmlToken, error) {
	if s.empty {
		s.empty = false
		s.token.kind = xmlEnd
		return &s.token, nil
	}
	if !s.owed && s.plain() {
		return &s.token, nil
	}
	return s.unusual()
}

// Kinds of bytes, as bits.
const (
	xmlSpaceByte = 1 << iota
	xmlNameStart // of a name, and of its part after a colon
	xmlNameByte
	xmlCareful // text with it must be looked at closely: beyond ASCII, CR, ]
	xmlRefused // text with it is the library's
)

var xmlBytes = func() (kinds [256]uint8) {
	for c := range kinds {
		b := byte(c)
		switch {
		case b >= 'a' && b <= 'z', b >= 'A' && b <= 'Z', b == '_':
			kinds[c] = xmlNameStart | xmlNameByte
		case b >= '0' && b <= '9', b == '-', b == '.':
			kinds[c] = xmlNameByte
		case b == ' ', b == '\t', b == '\n':
			kinds[c] = xmlSpaceByte
		case b == '\r':
			kinds[c] = xmlSpaceByte | xmlCareful
		case b >= utf8.RuneSelf, b == ']':
			kinds[c] = xmlCareful
		case b < ' ', b == '&', b == '<':
			kinds[c] = xmlRefused
		}
	}
	return kinds
}()

// plain reads the next token when there is nothing unusual in it, and leaves
// everything as it was otherwise.
func (s *xmlTokens) plain() bool {
	end := min(len(s.doc), s.next+s.longest+s.ahead)
	if s.next >= end {
		return false
	}
	if s.doc[s.next] != '<' {
		return s.plainText(end)
	}
	return s.plainTag(s.doc[:end])
}

// plainText reads text up to the next tag.
func (s *xmlTokens) plainText(end int) bool {
	i, seen := s.next, uint8(0)
	for i < end && s.doc[i] != '<' {
		seen |= xmlBytes[s.doc[i]]
		i++
	}
	if i >= end {
		return false
	}
	text, ok := s.characters(s.doc[s.next:i], seen)
	if !ok || strings.Contains(s.doc[s.next:i], "]]>") && seen&xmlCareful != 0 {
		return false
	}
	s.next, s.ahead = i, 1
	s.token.kind, s.token.text = xmlText, text
	return true
}

// characters returns text with the kinds of bytes seen in it as XML means it:
// every end of line is one LF.
func (s *xmlTokens) characters(text string, seen uint8) ([]byte, bool) {
	if seen&xmlRefused != 0 {
		return nil, false
	}
	to := append(s.token.text[:0], text...)
	s.token.text = to
	if seen&xmlCareful == 0 {
		return to, true
	}
	if !utf8.ValidString(text) || strings.Contains(text, "\ufffe") || strings.Contains(text, "\uffff") {
		return nil, false
	}
	to = to[:0]
	for i := range len(text) {
		switch c := text[i]; {
		case c == '\r':
			to = append(to, '\n')
		case c == '\n' && i > 0 && text[i-1] == '\r': // written with the CR
		default:
			to = append(to, c)
		}
	}
	return to, true
}

// plainTag reads a start or end tag that ends within doc.
func (s *xmlTokens) plainTag(doc string) bool {
	i := s.next + 1
	kind := xmlStart
	if i < len(doc) && doc[i] == '/' {
		kind = xmlEnd
		i++
	}
	name, i := plainName(doc, i)
	if name == "" {
		return false
	}
	attrs := s.token.attrs[:0]
	empty := false
	for {
		i = skipXMLSpace(doc, i)
		if i >= len(doc) {
			return false
		}
		if doc[i] == '>' {
			break
		}
		if kind == xmlEnd {
			return false
		}
		if doc[i] == '/' {
			if i++; i >= len(doc) || doc[i] != '>' {
				return false
			}
			empty = true
			break
		}
		var a xmlAttr
		if a, i = s.plainAttr(doc, i); a.name == "" {
			return false
		}
		attrs = append(attrs, a)
	}
	s.next, s.ahead, s.empty = i+1, 0, empty
	s.token.kind, s.token.name, s.token.attrs = kind, name, attrs
	return true
}

// plainAttr reads an attribute at byte i, and returns the byte behind it; the
// name is "" when there is anything unusual.
func (s *xmlTokens) plainAttr(doc string, i int) (xmlAttr, int) {
	name, i := plainName(doc, i)
	i = skipXMLSpace(doc, i)
	if name == "" || i >= len(doc) || doc[i] != '=' {
		return xmlAttr{}, i
	}
	i = skipXMLSpace(doc, i+1)
	if i >= len(doc) || doc[i] != '"' && doc[i] != '\'' {
		return xmlAttr{}, i
	}
	quote := doc[i]
	i++
	from, seen := i, uint8(0)
	for i < len(doc) && doc[i] != quote {
		seen |= xmlBytes[doc[i]]
		i++
	}
	if i >= len(doc) || seen&xmlRefused != 0 {
		return xmlAttr{}, i
	}
	value := doc[from:i]
	if seen&xmlCareful != 0 {
		text, ok := s.characters(value, seen)
		if !ok {
			return xmlAttr{}, i
		}
		value = string(text)
	}
	return xmlAttr{name, value}, i + 1
}

// plainName reads a name at byte i, and returns it without its prefix, and the
// byte behind it; "" when there is anything unusual. What may follow a name is
// for the caller to see.
func plainName(doc string, i int) (string, int) {
	from := i
	if i >= len(doc) || xmlBytes[doc[i]]&xmlNameStart == 0 {
		return "", i
	}
	for i < len(doc) && xmlBytes[doc[i]]&xmlNameByte != 0 {
		i++
	}
	if i >= len(doc) || doc[i] != ':' {
		return doc[from:i], i
	}
	i++
	from = i
	for i < len(doc) && xmlBytes[doc[i]]&xmlNameByte != 0 {
		i++
	}
	if i < len(doc) && doc[i] == ':' {
		return "", i
	}
	return doc[from:i], i
}

func skipXMLSpace(doc string, i int) int {
	for i < len(doc) && xmlBytes[doc[i]]&xmlSpaceByte != 0 {
		i++
	}
	return i
}

// unusual reads the next token by encoding/xml's raw tokens: namespaces are not
// needed.
func (s *xmlTokens) unusual() (*xmlToken, error) {
	if s.library == nil {
		s.library = xml.NewDecoder(xmlSource{s})
		// The text is UTF-8 by now, whatever the declaration says.
		s.library.CharsetReader = func(_ string, input io.Reader) (io.Reader, error) { return input, nil }
	}
	s.stop = min(len(s.doc), s.next+s.longest+s.ahead)
	s.ahead, s.owed = 0, false
	token, err := s.library.RawToken()
	if err != nil {
		s.owed = true
		return nil, err
	}
	switch t := token.(type) {
	case xml.StartElement:
		s.token.kind, s.token.name, s.token.attrs = xmlStart, t.Name.Local, s.token.attrs[:0]
		for _, a := range t.Attr {
			s.token.attrs = append(s.token.attrs, xmlAttr{a.Name.Local, a.Value})
		}
		s.owed = strings.HasSuffix(s.doc[:s.next], "/>")
	case xml.EndElement:
		s.token.kind, s.token.name = xmlEnd, t.Name.Local
	case xml.CharData:
		s.token.kind, s.token.text = xmlText, append(s.token.text[:0], t...)
		s.owed = true
	case xml.Directive:
		s.token.kind, s.token.text = xmlDirective, append(s.token.text[:0], t...)
	default:
		s.token.kind = xmlSkipped
	}
	return &s.token, nil
}

// xmlSource hands the library its bytes one by one, from where the tokens are.
type xmlSource struct{ s *xmlTokens }

// ReadByte implements io.ByteReader.
func (r xmlSource) ReadByte() (byte, error) {
	s := r.s
	if s.next >= s.stop {
		if s.next >= len(s.doc) {
			return 0, io.EOF
		}
		return 0, errToken
	}
	c := s.doc[s.next]
	s.next++
	return c, nil
}

// Read is there because the decoder asks for an io.Reader; it uses ReadByte.
func (r xmlSource) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	c, err := r.ReadByte()
	if err != nil {
		return 0, err
	}
	p[0] = c
	return 1, nil
}

package formats

import (
	"bytes"
	"strings"
	"unicode"
	"unicode/utf8"
	"unsafe"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/htmlindex"
	xunicode "golang.org/x/text/encoding/unicode"
	"golang.org/x/text/encoding/unicode/utf32"
)

// toUTF8 returns content as UTF-8 without a byte-order mark, and the name of
// the encoding when that was not UTF-8 already. XML in other encodings is
// converted by its own declaration. Content with NUL bytes is no text.
func toUTF8(content []byte) ([]byte, string, *Error) {
	switch {
	case bytes.HasPrefix(content, []byte{0xef, 0xbb, 0xbf}):
		content = content[3:]
	case bytes.HasPrefix(content, []byte{0xff, 0xfe, 0, 0}):
		return convert(content, utf32.UTF32(utf32.LittleEndian, utf32.UseBOM), "UTF-32")
	case bytes.HasPrefix(content, []byte{0xff, 0xfe}):
		return convert(content, xunicode.UTF16(xunicode.LittleEndian, xunicode.UseBOM), "UTF-16")
	case bytes.HasPrefix(content, []byte{0xfe, 0xff}):
		return convert(content, xunicode.UTF16(xunicode.BigEndian, xunicode.UseBOM), "UTF-16")
	}
	if bytes.IndexByte(content, 0) >= 0 {
		return nil, "", unknown(content)
	}
	if name := declaredEncoding(content); name != "" {
		enc, err := htmlindex.Get(name)
		if err != nil {
			return nil, "", problem(ErrUnknownFormat, atLine(1), "the encoding "+quoted(name)+" is not known", "Save the file as UTF-8")
		}
		return convert(content, enc, name)
	}
	return content, "", nil
}

func convert(content []byte, enc encoding.Encoding, name string) ([]byte, string, *Error) {
	text, err := enc.NewDecoder().Bytes(content)
	if err != nil {
		return nil, "", problem(ErrDamaged, "", "the text is not valid "+name, "Save the file as UTF-8")
	}
	if bytes.IndexByte(text, 0) >= 0 {
		return nil, "", unknown(content)
	}
	return text, name, nil
}

// declaredEncoding returns the encoding that an XML declaration names, ""
// when that is UTF-8 or nothing.
func declaredEncoding(content []byte) string {
	head := content[:min(len(content), 200)]
	if !bytes.HasPrefix(head, []byte("<?xml")) {
		return ""
	}
	declaration, _, ok := bytes.Cut(head, []byte("?>"))
	if !ok {
		return ""
	}
	_, after, ok := strings.Cut(string(declaration), "encoding")
	if !ok {
		return ""
	}
	after = strings.TrimLeft(after, " \t\r\n=")
	if after == "" {
		return ""
	}
	name, _, _ := strings.Cut(after[1:], after[:1])
	switch strings.ToLower(name) {
	case "utf-8", "utf8", "utf-16", "us-ascii", "ascii", "":
		return ""
	}
	return name
}

// fromWindows1252 converts text that is not UTF-8 as spreadsheets on European
// machines save it; every byte means something there.
func fromWindows1252(text []byte) []byte {
	out, err := charmap.Windows1252.NewDecoder().Bytes(text)
	if err != nil {
		return bytes.ToValidUTF8(text, []byte("\uFFFD"))
	}
	return out
}

// viewOf is text as a string without a copy of it, which is a tenth of reading a
// large file. What is kept of it must be cloned, as cleanText does: text belongs to
// the caller, who may use its memory again.
func viewOf(text []byte) string {
	return unsafe.String(unsafe.SliceData(text), len(text)) //nolint:gosec // nobody writes to text while it is read
}

// cleanText makes one line of printable text, of at most 200 bytes, of
// whatever a file calls a name.
func cleanText(s string) string {
	if isClean(s) {
		return strings.Clone(s)
	}
	s = strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return ' '
		}
		if r == utf8.RuneError || !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, s)
	s = strings.Join(strings.Fields(s), " ")
	if len(s) > 200 {
		s = strings.ToValidUTF8(s[:200], "")
	}
	return strings.Clone(s)
}

// isClean reports whether a name is plainly what cleanText would make of it.
func isClean(s string) bool {
	for i := range len(s) {
		// A space at either end, or beside another, goes.
		if c := s[i]; c < ' ' || c > '~' || c == ' ' && (i == 0 || i == len(s)-1 || s[i-1] == ' ') {
			return false
		}
	}
	return len(s) <= 200
}

// quoted shows a piece of a file in an error, short and harmless.
func quoted(s string) string {
	c := cleanText(s)
	if len(c) > 40 {
		c = strings.ToValidUTF8(c[:40], "") + "…"
	}
	return "'" + c + "'"
}

package history

import (
	"fmt"
	"slices"
	"strings"
)

// reading are the words a statement may begin with, by engine. The engines
// refuse writes themselves; this gives an error that says what is allowed, and
// keeps out what an engine does not count as a write.
var reading = map[string][]string{
	"sqlite":     {"SELECT", "WITH", "VALUES", "EXPLAIN"},
	"clickhouse": {"SELECT", "WITH", "EXPLAIN", "SHOW", "DESCRIBE", "DESC", "EXISTS"},
}

// checkReading returns the statement without a closing semicolon, or an error
// that wraps [ErrReadOnly] when it is none, several, or no reading one.
func checkReading(engine, sql string) (string, error) {
	l := lexer{text: sql, backslash: engine == "clickhouse"}
	first, end := "", -1
	for {
		start, kind := l.next()
		switch {
		case kind == tokenEnd:
			if first == "" {
				return "", fmt.Errorf("%w: the statement is empty", ErrReadOnly)
			}
			if end >= 0 {
				sql = sql[:end]
			}
			return strings.TrimSpace(sql), nil
		case kind == tokenSemicolon:
			if end < 0 {
				end = start
			}
		case end >= 0:
			return "", fmt.Errorf("%w: there is text after the semicolon; run one statement at a time", ErrReadOnly)
		case first == "" && kind == tokenWord:
			first = strings.ToUpper(sql[start:l.at])
			if !slices.Contains(reading[engine], first) {
				return "", fmt.Errorf("%w: %s is not one; begin with %s", ErrReadOnly, first, strings.Join(reading[engine], ", "))
			}
		case first == "" && sql[start] != '(':
			return "", fmt.Errorf("%w: begin with %s", ErrReadOnly, strings.Join(reading[engine], ", "))
		}
	}
}

type token int

const (
	tokenEnd token = iota
	tokenWord
	tokenSemicolon
	tokenOther
)

// lexer walks over SQL as far as it takes to tell a semicolon between
// statements from one inside a text, a name or a comment.
type lexer struct {
	text      string
	at        int
	backslash bool // a backslash escapes the next character of a quoted text
}

// next returns where the next token starts and its kind, and moves behind it.
func (l *lexer) next() (int, token) {
	for l.at < len(l.text) {
		start, rest := l.at, l.text[l.at:]
		switch c := rest[0]; {
		case strings.HasPrefix(rest, "--"):
			l.skipTo(2, "\n")
		case strings.HasPrefix(rest, "/*"):
			l.skipTo(2, "*/")
		case c == ' ' || c == '\t' || c == '\n' || c == '\r' || c == '\f' || c == '\v':
			l.at++
		case c == ';':
			l.at++
			return start, tokenSemicolon
		case c == '\'' || c == '"' || c == '`':
			l.quoted(c)
			return start, tokenOther
		case c == '[' && !l.backslash: // a name, as SQLite has them
			l.skipTo(1, "]")
			return start, tokenOther
		case wordByte(c):
			for l.at < len(l.text) && wordByte(l.text[l.at]) {
				l.at++
			}
			return start, tokenWord
		default:
			l.at++
			return start, tokenOther
		}
	}
	return l.at, tokenEnd
}

func wordByte(c byte) bool {
	return c == '_' || c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c >= 0x80
}

// skipTo moves behind the next closing text, to the end when there is none.
func (l *lexer) skipTo(opening int, closing string) {
	l.at += opening
	if i := strings.Index(l.text[l.at:], closing); i >= 0 {
		l.at += i + len(closing)
	} else {
		l.at = len(l.text)
	}
}

// quoted moves behind a quoted text. A doubled quote inside it reads as two
// texts, which is as good here.
func (l *lexer) quoted(quote byte) {
	for l.at++; l.at < len(l.text); l.at++ {
		switch c := l.text[l.at]; {
		case c == '\\' && l.backslash:
			l.at++
		case c == quote:
			l.at++
			return
		}
	}
	l.at = min(l.at, len(l.text))
}

package formats

import (
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// FuzzCSVLines holds the lines cut without encoding/csv to those that it reads.
func FuzzCSVLines(f *testing.F) {
	for _, text := range []string{"", "\n", "a", "a,b\n1,2\n", "a,b\r\n\r\n1,2\r\n", "a\r\r\nb\r", "\r", "\r\n", "a\n\n\nb", "a,,b,\n,\n", ";\t|;\n", "a\rb\n", "é;ü\n"} {
		f.Add(text, uint8(0))
		f.Add(text, uint8(1))
	}
	f.Fuzz(func(t *testing.T, text string, which uint8) {
		text = strings.ReplaceAll(strings.ToValidUTF8(text, ""), `"`, "")
		comma := delimiters[int(which)%len(delimiters)]
		lines := newCSVLines([]byte(text), comma)
		if lines.quoted != nil {
			t.Fatal("read by encoding/csv itself")
		}
		want := csv.NewReader(strings.NewReader(text))
		want.Comma, want.FieldsPerRecord = rune(comma), -1
		for {
			cells, line, err := lines.read()
			wanted, wantErr := want.Read()
			if errors.Is(err, io.EOF) != errors.Is(wantErr, io.EOF) || !slices.Equal(cells, wanted) {
				t.Fatalf("%q: %q, %v; encoding/csv reads %q, %v", text, cells, err, wanted, wantErr)
			}
			if err != nil {
				return
			}
			if n, _ := want.FieldPos(0); line != n {
				t.Fatalf("%q: line %d, encoding/csv says %d", text, line, n)
			}
		}
	})
}

func FuzzPlainNumber(f *testing.F) {
	for _, s := range []string{"0", "12.5", "0.1", "007.250", "123456789012345", "1234567890.12345", "1.", ".5", "-1", "1e3", "1_0", "12.5.1", "9007199254740993"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, ok := plainNumber(s, '.')
		if want, err := strconv.ParseFloat(s, 64); ok && (err != nil || got != want) {
			t.Errorf("%q: %v, strconv reads %v, %v", s, got, want, err)
		}
	})
}

func TestPlainNumbersAreReadHere(t *testing.T) {
	for _, s := range []string{"0", "61", "12.50", "999999999999999", "3.600000000"} {
		if _, ok := plainNumber(s, '.'); !ok {
			t.Errorf("%s is left to strconv", s)
		}
	}
	for _, s := range []string{"", ".", "1.", ".1", "-1", "1,5", "1.5.2", "1e9", "1234567890123456"} {
		if v, ok := plainNumber(s, '.'); ok {
			t.Errorf("%q is read as %v", s, v)
		}
	}
}

func TestCleanNamesStayAsTheyAre(t *testing.T) {
	for _, s := range []string{"", "Ada King", "a  b", " a", "a ", "a\tb", "\u00e9", "~ #", "a\x7f", strings.Repeat("x", 201)} {
		runes := strings.Join(strings.Fields(s), " ")
		clean := runes == s && len(s) <= 200 && !strings.ContainsAny(s, "\x7f\u00e9")
		if got := isClean(s); got != clean {
			t.Errorf("%q: %v", s, got)
		}
	}
}

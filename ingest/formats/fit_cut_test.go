package formats

import (
	"bytes"
	"errors"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/muktihari/fit/decoder"

	"canter.example/schemas"
)

// TestMessagesAreCutAsTheLibraryDoes holds our cutting of a sequence to the
// library's reader of messages, on whole files and on damaged ones: the same
// messages, the same reason to stop, at the same byte.
func TestMessagesAreCutAsTheLibraryDoes(t *testing.T) {
	names, err := filepath.Glob("../../testdata/formats/good/*.fit")
	if err != nil || len(names) < 3 {
		t.Fatalf("%d good FIT inputs: %v", len(names), err)
	}
	stopped := map[string]int{}
	for n, name := range names {
		content, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		h, ok := readFITHeader(content)
		if !ok {
			t.Fatalf("%s has no header", name)
		}
		content = content[:min(int64(len(content)), int64(h.size)+h.data+2)]
		r := rand.New(rand.NewPCG(uint64(n), 1))
		for k := range 2000 {
			b := bytes.Clone(content)
			damage(r, k, &b, h.size)
			stopped[sameAsLibrary(t, name, b)]++
		}
	}
	if len(stopped) < 4 {
		t.Errorf("only %v as reasons to stop: the damage does not reach all of them", stopped)
	}
}

// damage leaves every eighth file whole, and cuts, alters or grows the others.
func damage(r *rand.Rand, k int, b *[]byte, header int) {
	body := (*b)[header:]
	switch {
	case k%8 == 0:
	case k%8 < 3:
		*b = (*b)[:header+r.IntN(len(body))]
	case k%8 < 6:
		for range 1 + r.IntN(3) {
			body[r.IntN(len(body))] ^= byte(1 << r.IntN(8))
		}
	default: // where definitions are
		body[r.IntN(min(len(body), 300))] = byte(r.IntN(256))
	}
}

// sameAsLibrary compares on one sequence and returns why both stopped.
func sameAsLibrary(t *testing.T, name string, content []byte) string {
	t.Helper()
	collect := func(read func(m *fitMessages, c *fitCollector) (int64, error)) (schemas.Trace, int64, error) {
		var m fitMessages
		var c fitCollector
		c.reset(newBudget(Limits{}), len(content))
		m.begin(&c)
		at, err := read(&m, &c)
		return c.trace, at, err
	}
	h, _ := readFITHeader(content)
	size := int64(h.size)
	got, at, err := collect(func(m *fitMessages, _ *fitCollector) (int64, error) {
		at, err := m.cut(content[size:], h.data)
		return size + int64(at), err
	})
	behind := 0
	want, wantAt, wantErr := collect(func(m *fitMessages, _ *fitCollector) (int64, error) {
		return decoder.NewRaw().Decode(bytes.NewReader(content), func(kind decoder.RawFlag, b []byte) error {
			switch kind {
			case decoder.RawFlagMesgDef:
				d, ok := cutFITDefinition(b)
				if !ok || d.end != len(b) {
					t.Fatalf("%s: a definition of %d bytes is cut at %+v", name, len(b), d)
				}
				if !m.define(b[:d.fields], b[d.developer:]) {
					behind = len(b) - d.fields
					return errFITBaseType
				}
			case decoder.RawFlagMesgData:
				m.message(b)
			case decoder.RawFlagFileHeader, decoder.RawFlagCRC:
			}
			return nil
		})
	})
	if diff := cmp.Diff(want, got); diff != "" {
		t.Fatalf("%s, %d bytes: -library +cut\n%s", name, len(content), diff)
	}
	why := "the end"
	switch {
	case errors.Is(wantErr, io.EOF) || errors.Is(wantErr, io.ErrUnexpectedEOF):
		wantErr, why = io.ErrUnexpectedEOF, "no more bytes"
		wantAt = at // the library counts what it could not use
	case errors.Is(wantErr, decoder.ErrMesgDefMissing):
		wantErr, why = errFITDefinition, "no definition"
	case errors.Is(wantErr, errFITBaseType):
		wantAt, why = wantAt-int64(behind), "no such type"
	case wantErr == nil:
		wantAt -= 2 // the checksum
	}
	if !errors.Is(err, wantErr) || at != wantAt {
		t.Fatalf("%s, %d bytes: stopped at %d (%v), the library at %d (%v)", name, len(content), at, err, wantAt, wantErr)
	}
	return why
}

// TestADefinitionCutAnywhereIsNone: every part of it is needed.
func TestADefinitionCutAnywhereIsNone(t *testing.T) {
	whole := []byte{0x60, 0, 0, 20, 0, 2, 253, 4, 0x86, 3, 1, 2, 1, 0, 2, 0}
	want := fitCut{fields: 12, developer: 13, end: 16, message: 1 + 4 + 1 + 2}
	if c, ok := cutFITDefinition(append(whole, 1, 2, 3)); !ok || c != want {
		t.Errorf("cut as %+v, want %+v", c, want)
	}
	for n := range whole {
		if c, ok := cutFITDefinition(whole[:n:n]); ok {
			t.Errorf("%d bytes of %d are cut as %+v", n, len(whole), c)
		}
	}
}

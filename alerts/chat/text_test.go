package chat

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestPagesKeepTheLimitsAndTheText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		piece := rapid.OneOf(
			rapid.StringMatching(`[a-z&<>]{1,40}`),
			rapid.SampledFrom([]string{"\n", " ", "\n\n", "é", "🏃", "&amp;", "*b*", strings.Repeat("<", 4000), strings.Repeat("word ", 900)}),
		)
		text := strings.Join(rapid.SliceOfN(piece, 0, 60).Draw(t, "pieces"), "")
		pages := paginate(Part{Text: text})
		if want := strings.TrimSpace(text) != ""; (len(pages) > 0) != want {
			t.Fatalf("%d pages", len(pages))
		}
		var back strings.Builder
		for _, p := range pages {
			sum := length(p.fallback)
			if len(p.sections) == 0 || len(p.sections) > 50 {
				t.Fatalf("%d sections", len(p.sections))
			}
			for _, sec := range p.sections {
				s := sec.text
				if n := length(s); n == 0 || n > maxSection {
					t.Fatalf("a section of %d", n)
				}
				sum += length(s)
				back.WriteString(s)
			}
			if sum > maxPage {
				t.Fatalf("a page of %d", sum)
			}
		}
		// Nothing but white space is lost, and no entity is cut in two.
		squeeze := strings.NewReplacer(" ", "", "\n", "").Replace
		if got, want := back.String(), squeeze(text); squeeze(plain(got)) != want && squeeze(plain(unbold(got))) != want {
			t.Fatal("text changed")
		}
	})
}

func plain(sent string) string {
	return strings.NewReplacer("&lt;", "<", "&gt;", ">", "&amp;", "&").Replace(sent)
}

// unbold takes the two asterisks of a bold headline away.
func unbold(text string) string {
	head, rest, _ := strings.Cut(strings.TrimPrefix(text, "*"), "*")
	return head + rest
}

func TestChopCutsAtLines(t *testing.T) {
	got := chop("first line\nsecond line\nthird", 24)
	if len(got) != 2 || got[0] != "first line\nsecond line" || got[1] != "third" {
		t.Errorf("got %q", got)
	}
	if got := chop("<<<<", 9); strings.Join(got, "|") != "<<|<<" {
		t.Errorf("escaped length is not counted: %q", got)
	}
}

func TestPrintableDropsWhatMovesTheReadersEyes(t *testing.T) {
	if got := printable("a\tb\r\n\x1b[2Jc\u202Ed\u2066e\xff\u0085"); got != "a b\n[2Jcde\uFFFD" {
		t.Errorf("got %q", got)
	}
}

func FuzzPaginate(f *testing.F) {
	f.Add("A: HRex higher\n<!channel> & more")
	f.Add(strings.Repeat("&", 30000))
	f.Add("\xff\n\n*")
	f.Fuzz(func(t *testing.T, text string) {
		for _, p := range paginate(Part{Text: text}) {
			for _, sec := range p.sections {
				s := sec.text
				if length(s) > maxSection || strings.ContainsAny(s, "<>") {
					t.Fatalf("section %q", s)
				}
			}
		}
	})
}

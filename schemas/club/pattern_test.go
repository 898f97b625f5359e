package club_test

import (
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"canter.example/schemas/club"
)

func TestPathsSayWhatTheirPatternNames(t *testing.T) {
	type parts = club.Parts
	for _, tc := range []struct {
		name, pattern, path string
		want                parts
		ok                  bool
	}{
		{"all three parts", "{squad}/{date}/{athlete}.*", "first/2026-03-09/q01.fit", parts{"first", "q01", "2026-03-09"}, true},
		{"a date without marks", "{date}/{athlete}.*", "20260309/q01.fit", parts{"", "q01", "2026-03-09"}, true},
		{"a date with underscores", "{date}_{athlete}.*", "2026_03_09_q01.fit", parts{"", "q01", "2026-03-09"}, true},
		{"a date with dots, year first", "{date} {athlete}.*", "2026.03.09 q01.fit", parts{"", "q01", "2026-03-09"}, true},
		{"a date with dots, day first", "{date}/{athlete}.*", "9.3.2026/q01.fit", parts{"", "q01", "2026-03-09"}, true},
		{"a date nobody can tell the month of", "{date}/{athlete}.*", "09-03-2026/q01.fit", parts{}, false},
		{"a date in no calendar", "{date}/{athlete}.*", "2026-02-30/q01.fit", parts{}, false},
		{"a name with spaces, dots and an accent", "{athlete}.*", "J. Søndervig Roe.tcx", parts{"", "J. Søndervig Roe", ""}, true},
		{"a dot inside a name is no extension", "{athlete}.*", "tamsin.o.tcx", parts{"", "tamsin.o", ""}, true},
		{"a compressed file", "{athlete}.*", "q01.tcx.gz", parts{"", "q01", ""}, true},
		{"a decomposed name, as macOS writes it", "{athlete}.*", "Zoe\u0308 Marl.fit", parts{"", "Zoë Marl", ""}, true},
		{"upper case in the path", "Raw/{athlete}.fit", "RAW/Q01.FIT", parts{"", "Q01", ""}, true},
		{"text around the parts", "{date}-{any}_{athlete}.fit", "2026-03-09-session 3_q01.fit", parts{"", "q01", "2026-03-09"}, true},
		{"any may be nothing", "{athlete}_{any}.fit", "q01_.fit", parts{"", "q01", ""}, true},
		{"a star stays within a folder", "*/{athlete}.*", "a/b/q01.fit", parts{}, false},
		{"two stars pass through folders", "**/{athlete}.*", "a/b/q01.fit", parts{"", "q01", ""}, true},
		{"two stars may be no folder", "**/{athlete}.*", "q01.fit", parts{"", "q01", ""}, true},
		{"a part stays within a folder", "{athlete}.*", "a/q01.fit", parts{}, false},
		{"signs of regular expressions are plain text", "a+b(1)/{athlete}.*", "a+b(1)/q01.fit", parts{"", "q01", ""}, true},
		{"a file without extension", "{athlete}.*", "q01", parts{}, false},
		{"an athlete's folder", "{athlete}/**", "q01/2026/a.fit", parts{"", "q01", ""}, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			p, err := club.CompilePattern(tc.pattern)
			if err != nil {
				t.Fatal(err)
			}
			got, ok := p.Match(tc.path)
			if got != tc.want || ok != tc.ok {
				t.Errorf("%s on %s: %+v, %v, want %+v, %v", tc.pattern, tc.path, got, ok, tc.want, tc.ok)
			}
		})
	}
}

func TestBadPatternsAreRefused(t *testing.T) {
	for _, p := range []string{
		"", "*.fit", "/{athlete}.fit", "{athlete}/", "../{athlete}.fit", "a//{athlete}", `a\{athlete}`, "{athlete", "athlete}",
		"{player}.fit", "{athlete}{squad}.fit", "{athlete}{any}.fit", "{athlete}*", "*{athlete}.fit", "{any}**", "{athlete}/{athlete}.fit", "{}",
	} {
		if c, err := club.CompilePattern(p); !errors.Is(err, club.ErrWord) {
			t.Errorf("%q: %v, %v", p, c, err)
		}
	}
}

func TestAPathMadeFromAPatternIsReadBack(t *testing.T) {
	p, err := club.CompilePattern("{squad}/{date}/{any}_{athlete}.*")
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[a-zà-öA-Z0-9]([a-z .'-]{0,8}[a-z])?`)
		want := club.Parts{Squad: word.Draw(t, "squad"), Athlete: word.Draw(t, "athlete"), Date: "2026-03-09"}
		path := want.Squad + "/20260309/x_" + want.Athlete + rapid.SampledFrom([]string{".fit", ".TCX", ".csv.gz"}).Draw(t, "ext")
		if got, ok := p.Match(path); !ok || got != want {
			t.Fatalf("%q: %+v, %v, want %+v", path, got, ok, want)
		}
	})
}

func TestNamesThatPeopleTakeForTheSameFoldTogether(t *testing.T) {
	for _, same := range [][]string{
		{"Ines Halvorsen", "ines_halvorsen", "INES.HALVORSEN", "  Ines - Halvorsen "},
		{"Zoë", "Zoe\u0308", "ZOË"},
		{"Straße", "STRASSE"},
		{"Marl, Ötte", "marl ötte", "Marl,O\u0308TTE"},
	} {
		for _, s := range same[1:] {
			if club.Fold(s) != club.Fold(same[0]) {
				t.Errorf("%q folds to %q, %q to %q", s, club.Fold(s), same[0], club.Fold(same[0]))
			}
		}
	}
	if club.Fold("Zoë") == club.Fold("Zoe") {
		t.Error("an accent is folded away")
	}
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.String().Draw(t, "name")
		if once := club.Fold(s); club.Fold(once) != once || strings.HasPrefix(once, " ") {
			t.Fatalf("%q folds to %q, then to %q", s, once, club.Fold(once))
		}
	})
}

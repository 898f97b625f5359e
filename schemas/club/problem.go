package club

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// Problem is one thing that is wrong in a club file, or in the athletes' CSV
// it names.
type Problem struct {
	// File is where the problem is; Line and Column count from 1, in
	// characters. Both are 0 when the file could not be read at all.
	File   string
	Line   int
	Column int
	// Path is the place within the file: "squads[0].folders[1].path", or
	// "row 4.hrmax" in a CSV; "" for the file as a whole.
	Path string
	// Text says what is wrong, Hint what to do.
	Text string
	Hint string
}

// String returns the problem on one line: where, what, and what to do.
func (p Problem) String() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", p.Line, p.Column)
	}
	if p.Path != "" {
		fmt.Fprintf(&b, ": %s", p.Path)
	}
	fmt.Fprintf(&b, ": %s", p.Text)
	if p.Hint != "" {
		fmt.Fprintf(&b, ". %s", p.Hint)
	}
	return b.String()
}

// Problems is the error of [Load] and [Parse]: all that is wrong, in the order
// of the file.
type Problems []Problem

// Error returns the problems, one a line.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}

// sort puts problems in reading order and drops repeats, which come from a
// YAML alias that is used twice.
func (ps Problems) sort(main string) Problems {
	slices.SortStableFunc(ps, func(a, b Problem) int {
		switch {
		case a.File == b.File:
			return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column), cmp.Compare(a.Path, b.Path))
		case a.File == main:
			return -1
		case b.File == main:
			return 1
		default:
			return cmp.Compare(a.File, b.File)
		}
	})
	return slices.CompactFunc(ps, func(a, b Problem) bool {
		return a.File == b.File && a.Line == b.Line && a.Column == b.Column && a.Text == b.Text
	})
}

// quote puts a value from the file into a message, shortened.
func quote(s string) string {
	const most = 40
	if utf8.RuneCountInString(s) > most {
		s = string([]rune(s)[:most]) + "…"
	}
	return fmt.Sprintf("%q", s)
}

// list joins words as people do: "a", "a and b", "a, b and c".
func list(words []string, last string) string {
	switch len(words) {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		n := len(words) - 1
		return strings.Join(words[:n], ", ") + " " + last + " " + words[n]
	}
}

// Nearest returns the candidate that a mistyped word most likely means, "" when
// none is near: at most two slips, and fewer than half of the word.
func Nearest(word string, candidates []string) string {
	best, least := "", min(2, utf8.RuneCountInString(word)/2)
	folded := foldKey(word)
	for _, c := range candidates {
		if foldKey(c) == folded {
			return c
		}
		if d := slips([]rune(strings.ToLower(word)), []rune(strings.ToLower(c))); d <= least && d > 0 {
			if best == "" || d < least {
				best, least = c, d
			}
		}
	}
	return best
}

// foldKey makes "HR max", "hr-max" and "hr_max" the same word.
func foldKey(s string) string {
	return strings.ToLower(strings.NewReplacer(" ", "", "_", "", "-", "").Replace(s))
}

// slips counts the insertions, deletions, substitutions and swaps of
// neighbours that turn a into b (optimal string alignment distance).
func slips(a, b []rune) int {
	prev2 := make([]int, len(b)+1)
	prev := make([]int, len(b)+1)
	row := make([]int, len(b)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(prev[j]+1, row[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], prev2[j-2]+1)
			}
		}
		prev2, prev, row = prev, row, prev2
	}
	return prev[len(b)]
}

// didYouMean returns the hint for a mistyped word, or otherwise.
func didYouMean(word string, candidates []string, otherwise string) string {
	if n := Nearest(word, candidates); n != "" {
		return fmt.Sprintf("Did you mean %q?", n)
	}
	return otherwise
}

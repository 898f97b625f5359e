package club

import (
	"slices"
	"strings"
	"time"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"canter.example/schemas"
)

// names finds athletes by what people call them. Each map leads to indices of
// Club.Athletes.
type names struct {
	// folded: id, aliases, name and initials through [Fold]. bare: the same
	// without accents. words: the same with the words in alphabetical order.
	folded, bare, words map[string][]int
	sensors             map[string][]int
}

func newNames(athletes []schemas.Athlete) *names {
	n := &names{folded: map[string][]int{}, bare: map[string][]int{}, words: map[string][]int{}, sensors: map[string][]int{}}
	add := func(m map[string][]int, key string, i int) {
		if key != "" && !slices.Contains(m[key], i) {
			m[key] = append(m[key], i)
		}
	}
	for i := range athletes {
		a := &athletes[i]
		for _, word := range append([]string{a.ID, a.Name, a.Initials}, a.Aliases...) {
			f := Fold(word)
			add(n.folded, f, i)
			for _, b := range bareForms(f) {
				add(n.bare, b, i)
				add(n.words, inOrder(b), i)
			}
		}
		for _, s := range a.Sensors {
			add(n.sensors, SerialKey(s.Serial), i)
		}
	}
	return n
}

// bareForms returns a folded name without accents, and as it is written where
// a keyboard has none: ü as u and as ue, ø as o and as oe.
func bareForms(folded string) []string {
	plain := stripMarks(plainLetters.Replace(folded))
	spelt := stripMarks(plainLetters.Replace(speltLetters.Replace(folded)))
	if plain == spelt {
		return []string{plain}
	}
	return []string{plain, spelt}
}

var (
	plainLetters = strings.NewReplacer("ø", "o", "æ", "ae", "œ", "oe", "å", "a", "ł", "l", "đ", "d", "ð", "d", "þ", "th", "ı", "i", "'", "", "’", "")
	speltLetters = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "ø", "oe", "å", "aa")
)

func stripMarks(s string) string {
	return norm.NFC.String(strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Mn, r) {
			return -1
		}
		return r
	}, norm.NFD.String(s)))
}

// inOrder sorts the words of a name: exports write the family name first.
func inOrder(s string) string {
	w := strings.Fields(s)
	slices.Sort(w)
	return strings.Join(w, " ")
}

// index returns the club's names; those of a club that was not loaded but
// built by hand are collected anew each time.
func (c *Club) index() *names {
	if c.names != nil {
		return c.names
	}
	return newNames(c.Athletes)
}

// Named returns the athletes whose id, alias, name or initials a word is: as
// [Fold] sees it; if there are none, without accents; if there are none, with
// the words in any order. Several means that the word is ambiguous.
func (c *Club) Named(word string) []*schemas.Athlete {
	n, f := c.index(), Fold(word)
	if found := n.folded[f]; len(found) > 0 {
		return c.pick(found)
	}
	for _, m := range []struct {
		by  map[string][]int
		key func(string) string
	}{{n.bare, strings.Clone}, {n.words, inOrder}} {
		var found []int
		for _, b := range bareForms(f) {
			for _, i := range m.by[m.key(b)] {
				if !slices.Contains(found, i) {
					found = append(found, i)
				}
			}
		}
		if len(found) > 0 {
			return c.pick(found)
		}
	}
	return nil
}

// WithSensor returns the athletes who had a sensor at t.
func (c *Club) WithSensor(serial string, t time.Time) []*schemas.Athlete {
	key := SerialKey(serial)
	if key == "" {
		return nil
	}
	var out []*schemas.Athlete
	for _, a := range c.pick(c.index().sensors[key]) {
		for _, s := range a.Sensors {
			if SerialKey(s.Serial) == key && s.Contains(t) {
				out = append(out, a)
				break
			}
		}
	}
	return out
}

func (c *Club) pick(indices []int) []*schemas.Athlete {
	var out []*schemas.Athlete
	for _, i := range indices {
		out = append(out, &c.Athletes[i])
	}
	return out
}

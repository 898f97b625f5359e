package identify

import (
	"fmt"
	"path"
	"slices"
	"strings"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

// clue is one thing that may name an athlete.
type clue struct {
	// says introduces the word in a sentence: "the path says".
	says, word string
	// firm clues must name somebody of the club.
	firm bool
	// missing is what to do when a firm clue names nobody.
	missing string
	found   []*schemas.Athlete
}

func (k clue) String() string { return k.says + " " + k.word }

// cluesOf collects what path, label and serial numbers say, in this order.
func cluesOf(c *club.Club, q Question, parts club.Parts) []clue {
	tr := q.Trace
	// A trace that has a part of its own shares its file with others, or
	// could: then the file's path can't be firm about one athlete. Parts "#2"
	// are later sessions of the same athlete.
	shared := tr.Part != "" && !strings.HasPrefix(tr.Part, "#")
	inZIP := shared && dataFile(tr.Part)
	var out []clue
	add := func(k clue) {
		k.found = c.Named(k.word)
		out = append(out, k)
	}
	if parts.Athlete != "" && (!shared || len(c.Named(parts.Athlete)) > 0) {
		add(clue{
			says: "the path says", word: parts.Athlete, firm: !shared,
			missing: "Add the athlete, or this spelling as an alias, to the club file, or rename the file",
		})
	}
	if inZIP {
		inside, _, _ := strings.Cut(tr.Part, "#")
		if p, _ := partsOf(c, within(q.Origin, inside)); p.Athlete != "" {
			add(clue{says: "the name in the ZIP says", word: p.Athlete})
		}
	}
	if label := strings.TrimSpace(tr.Label); label != "" {
		says := "the file itself says"
		if inZIP && label == stem(tr.Part) {
			says = "the name in the ZIP says"
		}
		known := slices.ContainsFunc(out, func(k clue) bool { return club.Fold(k.word) == club.Fold(label) })
		if !known {
			add(clue{
				says: says, word: label, firm: shared && !inZIP,
				missing: "Add the athlete, or this spelling as an alias, to the club file",
			})
		}
	}
	for _, s := range tr.Device.Serials {
		if found := c.WithSensor(s, tr.Start); len(found) > 0 {
			out = append(out, clue{says: "the sensor is", word: s, found: found})
		}
	}
	return out
}

// within is where a file in a ZIP would lie if the ZIP were its folder.
func within(o schemas.Origin, name string) schemas.Origin {
	o.Path = path.Join(path.Dir(o.Path), name)
	return o
}

// stem is the name of a file without folder, extension and session number.
func stem(part string) string {
	part, _, _ = strings.Cut(part, "#")
	return strings.TrimSuffix(path.Base(part), path.Ext(part))
}

// agree returns the one athlete that the clues allow.
func agree(c *club.Club, clues []clue, squad string, t time.Time) (a *schemas.Athlete, how string, notes []schemas.Reason, err error) {
	var left []*schemas.Athlete // whom all clues so far allow
	var first *clue
	for i := range clues {
		k := &clues[i]
		switch {
		case len(k.found) == 0 && k.firm:
			return nil, "", nil, refuse(fmt.Sprintf("%s %q, whom the club file does not know", k.says, k.word), k.missing, similar(c, k.word)...)
		case len(k.found) == 0:
			note(&notes, "%s %q, whom the club file does not know", k.says, k.word)
		case first == nil:
			first, left = k, k.found
		default:
			both := common(left, k.found)
			if len(both) == 0 {
				return nil, "", nil, contradiction(*first, *k)
			}
			left = both
		}
	}
	if first == nil {
		return nil, "", nil, nobody(clues)
	}
	if len(left) > 1 {
		left = narrowed(left, squad, t)
	}
	if len(left) > 1 {
		return nil, "", nil, refuse(fmt.Sprintf("%s %q, which could be %s", first.says, first.word, strings.Join(ids(left), " or ")),
			"Use the id, or give each of them an alias of their own in the club file", ids(left)...)
	}
	return left[0], first.String(), notes, nil
}

// narrowed keeps those who were in the squad, or in any, at the time. Nobody
// left means that this does not help.
func narrowed(who []*schemas.Athlete, squad string, t time.Time) []*schemas.Athlete {
	var out []*schemas.Athlete
	for _, a := range who {
		if squad != "" && a.In(squad, t) || squad == "" && a.SquadAt(t) != "" {
			out = append(out, a)
		}
	}
	if len(out) == 0 {
		return who
	}
	return out
}

func common(a, b []*schemas.Athlete) []*schemas.Athlete {
	var out []*schemas.Athlete
	for _, x := range a {
		if slices.Contains(b, x) {
			out = append(out, x)
		}
	}
	return out
}

func ids(who []*schemas.Athlete) []string {
	out := make([]string, len(who))
	for i, a := range who {
		out[i] = a.ID
	}
	return out
}

func contradiction(one, other clue) error {
	hint := "Rename the file or correct the club file, or say whose it is by hand"
	if other.says == "the sensor is" {
		hint = "If the sensor was lent or changed hands, give it from and to in the club file. If not, rename the file, or say whose it is by hand"
	}
	return refuse(fmt.Sprintf("%s %q, which is %s, but %s %q, which is %s", one.says, one.word, strings.Join(ids(one.found), " or "),
		other.says, other.word, strings.Join(ids(other.found), " or ")), hint, append(ids(one.found), ids(other.found)...)...)
}

// nobody says that no clue named anybody.
func nobody(clues []clue) error {
	const hint = "Put {athlete} into the folder's pattern, add the sensor's serial number or the spelling as an alias to the club file, or say whose it is by hand"
	if len(clues) == 0 {
		return refuse("neither path nor file nor sensor says whose it is", hint)
	}
	said := make([]string, len(clues))
	for i, k := range clues {
		said[i] = fmt.Sprintf("%s %q", k.says, k.word)
	}
	return refuse(strings.Join(said, " and ")+", whom the club file does not know", hint)
}

// similar returns the ids of athletes whose names are a slip away from a word.
func similar(c *club.Club, word string) []string {
	var out []string
	for i := range c.Athletes {
		a := &c.Athletes[i]
		if club.Nearest(word, append([]string{a.ID, a.Name}, a.Aliases...)) != "" {
			out = append(out, a.ID)
		}
	}
	return out
}

package identify

import (
	"fmt"
	"strings"
	"time"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

// Owner is whose a daily value is: an athlete's, or with Athlete "" a whole
// squad's, or with neither the club's.
type Owner struct {
	Athlete string
	Squad   string
}

// Sheet is what folder and path say of all values of one file.
type Sheet struct {
	club  *club.Club
	squad string
	err   error
}

// SheetAt returns what is said of a file by where it was found.
func SheetAt(c *club.Club, o schemas.Origin) Sheet {
	s := Sheet{club: c}
	parts, _ := partsOf(c, o)
	s.squad, s.err = squadOf(c, o, parts)
	return s
}

// Whose returns the owner of a daily value by what its file says. An athlete is
// found by id, name or alias, and must have been in a squad on that day; a
// value without an athlete belongs to the squad that the line names, else to
// that of path and folder, else to the whole club. The error is an
// [*Unidentified].
func (s Sheet) Whose(row *schemas.SeriesRow) (Owner, error) {
	if s.err != nil {
		return Owner{}, s.err
	}
	c, squad := s.club, s.squad
	if row.Squad != "" {
		named := squadNamed(c, row.Squad)
		if named == "" {
			return Owner{}, refuse(fmt.Sprintf("the file itself says the squad %q, which the club file does not have", row.Squad),
				"Write the id of a squad, or add the squad to the club file")
		}
		squad = named
	}
	if row.Athlete == "" {
		return Owner{Squad: squad}, nil
	}
	day, err := time.ParseInLocation(time.DateOnly, row.Date, c.Zone)
	if err != nil {
		return Owner{}, refuse(fmt.Sprintf("%q is no date", row.Date), "Write dates as 2006-01-02")
	}
	noon := day.Add(12 * time.Hour)
	found := c.Named(row.Athlete)
	if len(found) == 0 {
		return Owner{}, refuse(fmt.Sprintf("the file itself says %q, whom the club file does not know", row.Athlete),
			"Add the athlete, or this spelling as an alias, to the club file", similar(c, row.Athlete)...)
	}
	if len(found) > 1 {
		found = narrowed(found, squad, noon)
	}
	if len(found) > 1 {
		return Owner{}, refuse(fmt.Sprintf("the file itself says %q, which could be %s", row.Athlete, strings.Join(ids(found), " or ")),
			"Use the id, or give each of them an alias of their own in the club file", ids(found)...)
	}
	a := found[0]
	if squad == "" || !a.In(squad, noon) {
		squad = a.SquadAt(noon) // a sheet is often shared: the athlete's own squad counts
	}
	if squad == "" {
		return Owner{}, refuse(fmt.Sprintf("the athlete %s was in no squad on %s", a.ID, row.Date),
			"Correct from and to of the athlete in the club file, or the date", a.ID)
	}
	return Owner{Athlete: a.ID, Squad: squad}, nil
}

// squadNamed returns the id of the squad with this id or name, "" when there is none.
func squadNamed(c *club.Club, word string) string {
	for i := range c.Squads {
		if s := &c.Squads[i]; club.Fold(s.ID) == club.Fold(word) || club.Fold(s.Name) == club.Fold(word) {
			return s.ID
		}
	}
	return ""
}

package identify_test

import (
	"strings"
	"testing"

	"canter.example/schemas"
	"canter.example/scorer/identify"
)

func TestWhoseADailyValueIs(t *testing.T) {
	c := rovers(t)
	for name, g := range map[string]struct {
		folder, path   string
		athlete, squad string
		date           string
		want           identify.Owner
		err            string
	}{
		"by id":                               {folder: "first", athlete: "q01", want: identify.Owner{Athlete: "q01", Squad: "first"}},
		"by name, spelt without accents":      {folder: "first", athlete: "maura sondervig", want: identify.Owner{Athlete: "q02", Squad: "first"}},
		"by alias":                            {folder: "dump", athlete: "Castellaw B", want: identify.Owner{Athlete: "q01", Squad: "first"}},
		"the folder's squad tells two apart":  {folder: "u21", athlete: "Kim Ashgrove", want: identify.Owner{Athlete: "q04", Squad: "u21"}},
		"the line's squad tells two apart":    {folder: "dump", athlete: "Kim Ashgrove", squad: "First squad", want: identify.Owner{Athlete: "q03", Squad: "first"}},
		"two of one name":                     {folder: "dump", athlete: "Kim Ashgrove", err: "q03 or q04"},
		"two of one name in one squad":        {folder: "first", athlete: "Kai Ashgrove", err: "q07 or q08"},
		"a sheet in another squad's folder":   {folder: "first", athlete: "q04", want: identify.Owner{Athlete: "q04", Squad: "u21"}},
		"in two squads, the folder's":         {folder: "first", athlete: "q06", want: identify.Owner{Athlete: "q06", Squad: "first"}},
		"in two squads, the first":            {folder: "dump", athlete: "q06", want: identify.Owner{Athlete: "q06", Squad: "u21"}},
		"a day before the second membership":  {folder: "first", athlete: "q06", date: "2026-01-31", want: identify.Owner{Athlete: "q06", Squad: "u21"}},
		"after the athlete left":              {folder: "u21", athlete: "q05", err: "in no squad on 2026-03-09"},
		"the last day of the membership":      {folder: "u21", athlete: "q05", date: "2026-01-31", want: identify.Owner{Athlete: "q05", Squad: "u21"}},
		"a stranger":                          {folder: "first", athlete: "Nobody", err: `"Nobody", whom the club file does not know`},
		"a slip of the pen":                   {folder: "first", athlete: "Bryn Castelaw", err: "perhaps q01"},
		"the squad's, by the folder":          {folder: "u21", want: identify.Owner{Squad: "u21"}},
		"the squad's, by the path":            {folder: "shared", path: "first/2026-03-09/x.csv", want: identify.Owner{Squad: "first"}},
		"the squad's, by the line":            {folder: "first", squad: "u21", want: identify.Owner{Squad: "u21"}},
		"the club's":                          {folder: "dump", want: identify.Owner{}},
		"a squad that the club does not have": {folder: "first", squad: "third", err: `the squad "third"`},
		"a path that contradicts its folder":  {folder: "u21", path: "first/x.csv", err: "the folder is u21's"},
	} {
		row := schemas.SeriesRow{Athlete: g.athlete, Squad: g.squad, Date: g.date, Series: "sleep", Value: 7}
		if row.Date == "" {
			row.Date = "2026-03-09"
		}
		o := given{folder: g.folder, path: g.path}.question(c).Origin
		got, err := identify.SheetAt(c, o).Whose(&row)
		switch {
		case g.err != "":
			if err == nil || !strings.Contains(err.Error(), g.err) {
				t.Errorf("%s: %+v, %v, want an error with %q", name, got, err, g.err)
			}
		case err != nil || got != g.want:
			t.Errorf("%s: %+v, %v, want %+v", name, got, err, g.want)
		}
	}
}

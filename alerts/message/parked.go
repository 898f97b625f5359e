package message

import (
	"fmt"
	"path"
	"regexp"
	"strings"

	"canter.example/schemas"
	"canter.example/schemas/club"
)

// maxParked is how many files one message names.
const maxParked = 10

// Parked is the message of files that could not be handled: one or several.
//
// A file's path and the reason it was parked for may hold an athlete's name,
// known to the club or not. Where the club calls athletes by initials or ids
// in chat, the path and whatever a reason quotes are left out; the file's id
// leads to both in the history.
func Parked(c *club.Club, files ...schemas.File) string {
	if len(files) == 0 {
		return ""
	}
	lines := []string{fmt.Sprintf("%s set aside (parked)", count(len(files), "heart-rate file"))}
	for i, f := range files {
		if i == maxParked {
			lines = append(lines, fmt.Sprintf("- and %d more", len(files)-i))
			break
		}
		lines = append(lines, "- "+fileWords(c, &f))
	}
	return strings.Join(append(lines, "Nothing is lost: the files are kept and can be put through again once the cause is mended."), "\n")
}

func fileWords(c *club.Club, f *schemas.File) string {
	name, reason := line(f.Origin.Path), line(f.Reason)
	if c.Privacy.ChatNames != club.ShowName {
		name, reason = "a "+kind(f), said(c, reason)
	}
	if reason == "" {
		reason = "no reason was kept"
	}
	where := ""
	if f.Origin.Squad != "" {
		where = " of " + squadName(c, f.Origin.Squad)
	}
	return ended(fmt.Sprintf("%s%s, seen %s (file %s): %s", name, where, moment(c, f.Origin.Seen), f.ID.Short(), strings.TrimSuffix(reason, ".")))
}

// kind is what a file's name tells without a name in it.
func kind(f *schemas.File) string {
	if f.Format != "" {
		return strings.ToUpper(f.Format) + " file"
	}
	if ext := strings.TrimPrefix(path.Ext(f.Origin.Path), "."); extension.MatchString(ext) {
		return strings.ToUpper(ext) + " file"
	}
	return "file"
}

var extension = regexp.MustCompile(`^[A-Za-z0-9]{2,4}$`)

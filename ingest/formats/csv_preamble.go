package formats

import "strings"

// about is what the lines before the heading line say of the recording.
type about struct {
	athlete string
	serial  string
	date    string
	start   string
}

// readPreamble reads lines such as "Name;Ada" or "# Start: 10:00", and the
// two-line form with headings above values.
func readPreamble(lines [][]string) about {
	var a about
	for i, cells := range lines {
		for j, cell := range cells {
			key, value := cell, ""
			if before, after, ok := strings.Cut(cell, ":"); ok && preambleKind(cell) == unnamedColumn {
				key, value = before, after
			}
			kind := preambleKind(key)
			if kind == unnamedColumn {
				continue
			}
			if value == "" && j+1 < len(cells) && preambleKind(cells[j+1]) == unnamedColumn {
				value = cells[j+1]
			}
			if strings.TrimSpace(value) == "" && i+1 < len(lines) && j < len(lines[i+1]) {
				value = lines[i+1][j]
			}
			a.set(kind, cleanText(strings.Trim(value, " \t\"'")))
		}
	}
	return a
}

func preambleKind(cell string) columnKind {
	return headingWords[foldWords(strings.TrimLeft(cell, "#/% \t"))]
}

func (a *about) set(kind columnKind, value string) {
	if value == "" {
		return
	}
	keep := func(to *string) {
		if *to == "" {
			*to = value
		}
	}
	switch kind {
	case athleteColumn:
		keep(&a.athlete)
	case serialColumn:
		keep(&a.serial)
	case dateColumn:
		keep(&a.date)
	case startColumn, stampColumn, clockColumn:
		keep(&a.start)
	default:
	}
}

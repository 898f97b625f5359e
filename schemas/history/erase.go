package history

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"canter.example/schemas"
)

// ErasedText stands where words about an erased athlete stood, in rows that are
// not theirs alone.
const ErasedText = "(removed: these words named an athlete who was erased)"

// Erasure says whom to erase.
type Erasure struct {
	// Athlete is the club's id.
	Athlete string
	// Names are the words that mean this athlete in free text and file names:
	// name, initials, other spellings. The id is one of them by itself.
	Names []string
	// Files are those that hold nobody else's recordings; their rows go. Rows
	// of other files stay, without words that name the athlete.
	Files []schemas.FileID
}

// Mentions reports whether a text names the athlete: the id or one of the names
// as a word of its own.
func (e *Erasure) Mentions(text string) bool {
	return hasWord(text, e.Athlete) || slices.ContainsFunc(e.Names, func(n string) bool { return hasWord(text, n) })
}

// hasWord reports whether word stands in text with neither letter nor digit
// next to it. Case counts in words of one or two letters: initials may spell
// "it" or "as".
func hasWord(text, word string) bool {
	if word = strings.TrimSpace(word); word == "" {
		return false
	}
	if utf8.RuneCountInString(word) > 2 {
		text, word = strings.ToLower(text), strings.ToLower(word)
	}
	for from := 0; ; {
		i := strings.Index(text[from:], word)
		if i < 0 {
			return false
		}
		start, end := from+i, from+i+len(word)
		before, _ := utf8.DecodeLastRuneInString(text[:start])
		after, _ := utf8.DecodeRuneInString(text[end:])
		if !wordRune(before) && !wordRune(after) {
			return true
		}
		from = start + 1
		for from < len(text) && !utf8.RuneStart(text[from]) {
			from++
		}
	}
}

func wordRune(r rune) bool {
	return r != utf8.RuneError && (unicode.IsLetter(r) || unicode.IsDigit(r) || unicode.IsMark(r))
}

// Erased counts what an erasure did, by stored table.
type Erased struct {
	// Removed rows, and Blanked ones: rows of others whose words named the
	// athlete and no longer do.
	Removed, Blanked map[string]int
	// Left are places, as table.column, where the athlete is still found.
	Left []string
	// Tests and Messages are the ids of the tests and chat messages that were
	// removed.
	Tests, Messages []string
}

// freeText are the columns in which people or canter write sentences, and in
// which file names stand: where somebody may be named in a row of another.
var freeText = []string{"text", "why", "reason", "path", "file_part"}

// textKeys name a row of the tables that have free text: the first that a table
// has is its own.
var textKeys = []string{"message_id", "note_id", "correction_id", "alert_id", "file_id"}

// longName is how many letters make a name that can't be another word.
const longName = 4

// eraser is what an engine gives for an erasure.
type eraser interface {
	// textColumns returns the stored tables with their text columns.
	textColumns(ctx context.Context) (map[string][]string, error)
	// texts hands over columns of the rows that meet the condition.
	texts(ctx context.Context, table string, columns []string, where string, args []any, row func([]string)) error
	// remove takes rows away and returns how many there were.
	remove(ctx context.Context, table, where string, args []any) (int, error)
	// blank sets a text column of the rows that meet the condition.
	blank(ctx context.Context, table, column, text, where string, args []any) error
	// wait returns when what was removed and blanked so far is done.
	wait(ctx context.Context) error
	// settle makes what was removed go from the disk, as far as the engine can.
	settle(ctx context.Context) error
}

func erase(ctx context.Context, e eraser, who Erasure) (*Erased, error) {
	if strings.TrimSpace(who.Athlete) == "" {
		return nil, fmt.Errorf("history: erase: %w: no athlete is named", ErrInvalid)
	}
	r := eraseRun{eraser: e, who: who, done: &Erased{Removed: map[string]int{}, Blanked: map[string]int{}}}
	var err error
	if r.columns, err = e.textColumns(ctx); err != nil {
		return nil, fmt.Errorf("history: erase: %w", err)
	}
	r.tables = slices.Sorted(maps.Keys(r.columns))
	for _, step := range []func(context.Context) error{r.find, r.removeRows, r.blankWords, e.settle, r.search} {
		if err := step(ctx); err != nil {
			return r.done, fmt.Errorf("history: erase: %w", err)
		}
	}
	return r.done, nil
}

// eraseRun is one erasure under way.
type eraseRun struct {
	eraser
	who           Erasure
	columns       map[string][]string
	tables        []string
	tests, alerts []string // ids of the athlete's
	done          *Erased
}

func (r *eraseRun) has(table, column string) bool { return slices.Contains(r.columns[table], column) }

// ids returns the distinct values of a column.
func (r *eraseRun) ids(ctx context.Context, table, column, where string, args []any) ([]string, error) {
	seen := map[string]bool{}
	err := r.texts(ctx, table, []string{column}, where, args, func(row []string) { seen[row[0]] = row[0] != "" })
	return slices.Sorted(maps.Keys(seen)), err
}

// find gathers the ids by which rows without the athlete's id are theirs.
func (r *eraseRun) find(ctx context.Context) error {
	for _, table := range r.tables {
		for column, into := range map[string]*[]string{"test_id": &r.tests, "alert_id": &r.alerts} {
			if !r.has(table, "athlete") || !r.has(table, column) {
				continue
			}
			ids, err := r.ids(ctx, table, column, "athlete = ?", []any{r.who.Athlete})
			if err != nil {
				return err
			}
			*into = append(*into, ids...)
		}
	}
	for _, list := range []*[]string{&r.tests, &r.alerts} {
		slices.Sort(*list)
		*list = slices.DeleteFunc(slices.Compact(*list), func(id string) bool { return id == "" })
	}
	r.done.Tests = r.tests
	return nil
}

// removeRows takes away the rows of the athlete's tests, alerts and files, and
// last those that say whose they are: what died in between can be done again.
func (r *eraseRun) removeRows(ctx context.Context) error {
	files := make([]string, len(r.who.Files))
	for i, f := range r.who.Files {
		files[i] = string(f)
	}
	for _, table := range r.tables {
		if r.has(table, "message_id") && r.has(table, "alert_id") {
			for part := range slices.Chunk(r.alerts, eraseChunk) {
				ids, err := r.ids(ctx, table, "message_id", "alert_id IN ("+marks(len(part))+")", anys(part))
				if err != nil {
					return err
				}
				r.done.Messages = append(r.done.Messages, ids...)
			}
		}
	}
	for _, owned := range []bool{false, true} {
		for _, table := range r.tables {
			if r.has(table, "athlete") != owned {
				continue
			}
			for _, by := range []struct {
				column string
				values []string
			}{{"test_id", r.tests}, {"alert_id", r.alerts}, {"file_id", files}, {"athlete", []string{r.who.Athlete}}, {"given_athlete", []string{r.who.Athlete}}} {
				if err := r.removeBy(ctx, table, by.column, by.values); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// eraseChunk keeps statements well below the engines' limits.
const eraseChunk = 500

func (r *eraseRun) removeBy(ctx context.Context, table, column string, values []string) error {
	if !r.has(table, column) {
		return nil
	}
	for part := range slices.Chunk(values, eraseChunk) {
		n, err := r.remove(ctx, table, column+" IN ("+marks(len(part))+")", anys(part))
		if err != nil {
			return err
		}
		if n > 0 {
			r.done.Removed[table] += n
		}
	}
	return nil
}

func anys(list []string) []any {
	out := make([]any, len(list))
	for i, v := range list {
		out[i] = v
	}
	return out
}

// blankWords replaces free text that names the athlete in rows of others, such
// as a message about the whole squad.
func (r *eraseRun) blankWords(ctx context.Context) error {
	for _, table := range r.tables {
		own := slices.IndexFunc(textKeys, func(k string) bool { return r.has(table, k) })
		for _, column := range r.columns[table] {
			if own < 0 || !slices.Contains(freeText, column) {
				continue
			}
			var keys []string
			err := r.texts(ctx, table, []string{textKeys[own], column}, "1 = 1", nil, func(row []string) {
				if r.who.Mentions(row[1]) {
					keys = append(keys, row[0])
				}
			})
			if err != nil {
				return err
			}
			for part := range slices.Chunk(keys, eraseChunk) {
				if err := r.blank(ctx, table, column, ErasedText, textKeys[own]+" IN ("+marks(len(part))+")", anys(part)); err != nil {
					return err
				}
				r.done.Blanked[table] += len(part)
			}
		}
	}
	return nil
}

// search proves it: it reads every text of every table for the athlete.
func (r *eraseRun) search(ctx context.Context) error {
	for _, table := range r.tables {
		columns := r.columns[table]
		found := make([]bool, len(columns))
		err := r.texts(ctx, table, columns, "1 = 1", nil, func(row []string) {
			for j, text := range row {
				found[j] = found[j] || r.isLeft(columns[j], text)
			}
		})
		if err != nil {
			return err
		}
		for j, left := range found {
			if left {
				r.done.Left = append(r.done.Left, table+"."+columns[j])
			}
		}
	}
	return nil
}

// isLeft reports whether a text still holds the athlete. An id or initials may
// be other words elsewhere, so there only longer names count.
func (r *eraseRun) isLeft(column, text string) bool {
	switch {
	case column == "athlete" || column == "given_athlete":
		return text == r.who.Athlete
	case slices.Contains(freeText, column):
		return r.who.Mentions(text)
	default:
		return slices.ContainsFunc(r.who.Names, func(n string) bool {
			return utf8.RuneCountInString(n) >= longName && hasWord(text, n)
		})
	}
}

package club

import (
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

const century = 100 * 365 * 24 * time.Hour

func (b *builder) build(w *clubWritten) {
	dir, err := filepath.Abs(filepath.Dir(b.doc.file))
	if err != nil {
		b.fail("", "the folder of the club file is unknown: "+err.Error(), "Name the file by its absolute path")
		return
	}
	b.dir = dir
	c := b.club
	c.Name = strings.TrimSpace(string(w.Club))
	c.Zone = b.zone("time_zone", w.TimeZone, time.UTC)
	b.squads(w)
	seen := map[string]string{}
	for i, p := range w.Protocols {
		at := fmt.Sprintf("protocols[%d]", i)
		if p != nil && p.ID != "" && !b.twice(seen, at+".id", p.ID, "protocol") {
			b.protocol(at, p)
		}
	}
	b.squadProtocols(w)
	b.athletes(&w.Athletes)
	b.checkAthletes()
	c.names = newNames(c.Athletes)
	for i, p := range w.Planned {
		if p != nil {
			b.planned(fmt.Sprintf("planned[%d]", i), p)
		}
	}
	b.thresholds(w.Thresholds)
	b.rules(w.Rules)
	b.privacy(w.Privacy)
	b.chat(w.Chat)
	b.digest(w.Digest)
	b.files(w.Files)
	b.page(w.Page)
}

// twice reports an id that was used before, whatever its case: file names and
// people don't tell "First" from "first".
func (b *builder) twice(seen map[string]string, at string, id text, what string) bool {
	key := Fold(string(id))
	if first, ok := seen[key]; ok {
		p := b.placeOf(first)
		where := fmt.Sprintf("line %d", p.line)
		if p.file != b.placeOf(at).file {
			where += " of " + p.file
		}
		b.fail(at, fmt.Sprintf("the id %s is used twice, first on %s", quote(string(id)), where), "Give each "+what+" its own id")
		return true
	}
	seen[key] = at
	return false
}

func (b *builder) squads(w *clubWritten) {
	seen := map[string]string{}
	watched := []watchedAt{}
	for i, s := range w.Squads {
		if s == nil {
			continue
		}
		at := fmt.Sprintf("squads[%d]", i)
		if s.ID != "" && b.twice(seen, at+".id", s.ID, "squad") {
			continue
		}
		squad := Squad{ID: string(s.ID), Name: strings.TrimSpace(string(s.Name)), Channel: string(s.Channel)}
		if squad.Name == "" {
			squad.Name = squad.ID
		}
		squad.Folders, watched = b.folders(at+".folders", s.Folders, watched)
		b.club.Squads = append(b.club.Squads, squad)
	}
	b.club.Folders, _ = b.folders("folders", w.Folders, watched)
	written := len(w.Folders)
	for _, s := range w.Squads {
		if s != nil {
			written += len(s.Folders)
		}
	}
	if written == 0 && !b.doubted("squads") && !b.doubted("folders") {
		b.fail("squads", "no squad has a folder", `Name where heart-rate files appear: folders: [data/first]`)
	}
}

// watchedAt is a folder with the place it was written at.
type watchedAt struct{ path, at string }

func (b *builder) folders(at string, list []*folderWritten, watched []watchedAt) ([]Folder, []watchedAt) {
	var out []Folder
	for i, f := range list {
		if f == nil || f.Path == "" {
			continue
		}
		at := fmt.Sprintf("%s[%d]", at, i)
		pathAt := at
		if !f.short {
			pathAt += ".path"
		}
		if strings.HasPrefix(string(f.Path), "~") {
			b.fail(pathAt, "~ has no meaning in a club file", "Write the whole path")
			continue
		}
		folder := Folder{Path: b.absolute(f.Path), Name: strings.TrimSpace(string(f.Path)), Pattern: string(f.Pattern)}
		folder.CSVZone = b.zone(at+".csv_zone", f.CSVZone, b.club.Zone)
		if folder.Pattern != "" {
			p, err := CompilePattern(folder.Pattern)
			if err != nil {
				b.word(at+".pattern", err)
			}
			folder.pattern = p
		}
		for _, w := range watched {
			if text := nested(folder.Path, w.path); text != "" {
				b.fail(pathAt, fmt.Sprintf("the folder %s %s, written on line %d", quote(folder.Name), text, b.placeOf(w.at).line),
					"Watch each folder once; squads that share one have it under the top-level key folders, with {squad} in its pattern")
				break
			}
		}
		watched = append(watched, watchedAt{folder.Path, pathAt})
		out = append(out, folder)
	}
	return out, watched
}

// nested says how a folder lies to another, "" when they are apart.
func nested(path, other string) string {
	inside := func(in, out string) bool {
		rel, err := filepath.Rel(out, in)
		return err == nil && rel != "." && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
	}
	switch {
	case path == other:
		return "is watched already"
	case inside(path, other):
		return "lies inside another"
	case inside(other, path):
		return "holds another"
	default:
		return ""
	}
}

// squadProtocols fills in which protocols each squad's files are searched for.
func (b *builder) squadProtocols(w *clubWritten) {
	for i, s := range w.Squads {
		if s == nil {
			continue
		}
		squad := b.club.Squad(string(s.ID))
		if squad == nil || squad.Protocols != nil {
			continue
		}
		for j, id := range s.Protocols {
			if b.known(fmt.Sprintf("squads[%d].protocols[%d]", i, j), id, "protocol") {
				squad.Protocols = append(squad.Protocols, string(id))
			}
		}
		if len(s.Protocols) == 0 {
			squad.Protocols = b.ids("protocol")
		}
	}
}

// ids returns the ids of all squads or protocols.
func (b *builder) ids(what string) []string {
	var out []string
	if what == "squad" {
		for _, s := range b.club.Squads {
			out = append(out, s.ID)
		}
	} else {
		for _, p := range b.club.Protocols {
			out = append(out, p.ID)
		}
	}
	return out
}

// known checks a reference to a squad or protocol.
func (b *builder) known(at string, id text, what string) bool {
	if id == "" {
		return false
	}
	ids := b.ids(what)
	if slices.Contains(ids, string(id)) {
		return true
	}
	if !b.doubted(what + "s") {
		b.fail(at, fmt.Sprintf("there is no %s %s", what, quote(string(id))),
			didYouMean(string(id), ids, "The club has "+list(ids, "and")))
	}
	return false
}

// number reads a number that the schema has checked, def when not written.
func number(s text, def float64) float64 {
	if v, err := strconv.ParseFloat(string(s), 64); err == nil {
		return v
	}
	return def
}

func (b *builder) thresholds(w *thresholdsWritten) {
	t := DefaultThresholds()
	if w != nil {
		t.HRexRisePoints = number(w.HRexRisePoints, t.HRexRisePoints)
		t.HRexRiseBPM = number(w.HRexRiseBPM, t.HRexRiseBPM)
		t.HRRFallBPM = number(w.HRRFallBPM, t.HRRFallBPM)
		t.Z = number(w.Z, t.Z)
		t.MinBaseline = int(number(w.MinBaseline, float64(t.MinBaseline)))
		t.BaselineTests = int(number(w.BaselineTests, max(float64(t.BaselineTests), float64(t.MinBaseline))))
		t.BaselineAge = b.length("thresholds.baseline_age", w.BaselineAge, t.BaselineAge, 24*time.Hour, century)
		t.HRexTE = number(w.HRexTE, t.HRexTE)
		t.HRRTE = number(w.HRRTE, t.HRRTE)
		t.TellWithin = b.length("thresholds.tell_within", w.TellWithin, t.TellWithin, time.Hour, century)
		if t.BaselineTests < t.MinBaseline {
			b.fail("thresholds.baseline_tests", fmt.Sprintf("a baseline of %d tests never reaches the least of %d", t.BaselineTests, t.MinBaseline),
				"Raise baseline_tests or lower min_baseline")
		}
		t.SquadPoints = number(w.SquadPoints, t.SquadPoints)
		t.SquadHRR = number(w.SquadHRRBPM, t.SquadHRR)
		t.DriftShift = number(w.DriftShift, t.DriftShift)
		t.DriftRunLength = number(w.DriftTests, t.DriftRunLength)
		t.Again = int(number(w.Again, float64(t.Again)))
		b.reference(w, &t)
	}
	b.club.Thresholds = t
}

func (b *builder) privacy(w *privacyWritten) {
	p := Privacy{ChatNames: ShowInitials, HistoryNames: ShowName}
	if w != nil {
		if w.ChatNames != "" {
			p.ChatNames = NameStyle(w.ChatNames)
		}
		p.PageNames = NameStyle(w.PageNames)
		if w.HistoryNames != "" {
			p.HistoryNames = NameStyle(w.HistoryNames)
		}
		if w.KeepFiles != "forever" {
			p.KeepFiles = b.length("privacy.keep_files", w.KeepFiles, 0, 24*time.Hour, century)
		}
		if w.KeepHistory != "forever" {
			p.KeepHistory = b.length("privacy.keep_history", w.KeepHistory, 0, 24*time.Hour, century)
		}
		if t := &b.club.Thresholds; p.KeepHistory > 0 && p.KeepHistory < t.BaselineAge {
			b.fail("privacy.keep_history", fmt.Sprintf("%s is less than baselines look back, %s", FormatDuration(p.KeepHistory), FormatDuration(t.BaselineAge)),
				"Keep the history longer, or lower thresholds.baseline_age: a test without its past gets another verdict")
		}
	}
	if p.PageNames == "" {
		p.PageNames = p.ChatNames
	}
	b.club.Privacy = p
}

func (b *builder) files(w *filesWritten) {
	f := Files{Settle: DefaultSettle, Rescan: DefaultRescan, MaxSize: DefaultMaxSize}
	if w != nil {
		f.Settle = b.length("files.settle", w.Settle, f.Settle, 100*time.Millisecond, time.Hour)
		f.Rescan = b.length("files.rescan", w.Rescan, f.Rescan, time.Second, 24*time.Hour)
		if w.MaxSize != "" {
			n, err := ParseSize(string(w.MaxSize))
			switch {
			case err != nil:
				b.word("files.max_size", err)
			case n < 1000 || n > 1<<30:
				b.fail("files.max_size", quote(string(w.MaxSize))+" is out of range", "Choose between 1kB and 1GiB")
			default:
				f.MaxSize = n
			}
		}
	}
	b.club.Files = f
}

package formats

import (
	"bytes"
	"slices"
	"strings"

	"canter.example/schemas"
)

// Series that are known by more than one heading and treated apart.
const (
	rpeSeries     = "rpe"
	minutesSeries = schemas.SessionMinutes
)

// seriesWords are headings with the name of their series; other headings name
// themselves. To teach canter another, add it here.
var seriesWords = func() map[string]string {
	m := make(map[string]string)
	for name, list := range map[string]string{
		rpeSeries: "rpe,srpe,session rpe,perceived exertion,rating of perceived exertion,exertion,anstrengung,belastungsempfinden",
		minutesSeries: "minutes,minute,min,mins,duration,session duration,training minutes,duration minutes,training time,session minutes," +
			"minuten,dauer,duree,duracion,durata,minutos,minuti",
		schemas.SessionRPE: "session rpe load,srpe load,rpe load,session load,rpe x minutes,rpe x min,rpe minutes,srpe minutes,session rpe minutes,rpe x duration",
		"sleep":            "sleep,sleep hours,hours of sleep,hours slept,sleep duration,sleep time,schlaf,schlafdauer,schlafstunden,sommeil,sueno,sonno,sono,slaap",
		"sleep-quality":    "sleep quality,quality of sleep,schlafqualitat,qualite du sommeil,calidad del sueno",
		"wellness":         "wellness,wellness score,wellbeing,well being,wellness total,wohlbefinden",
		"temperature":      "temperature,temp,air temperature,temperatur,temperatura,lufttemperatur",
		"humidity":         "humidity,relative humidity,luftfeuchtigkeit,humidite,humedad,umidita",
		"fatigue":          "fatigue,tiredness,mudigkeit,fatiga,fatica,cansancio",
		"soreness":         "soreness,muscle soreness,muskelkater,courbatures,agujetas",
		"stress":           "stress,stress level,estres",
		"mood":             "mood,stimmung,humeur,animo,umore",
		"readiness":        "readiness,readiness to train",
		"body-mass":        "body mass,mass,weight,body weight,gewicht,korpergewicht,poids,peso",
		"resting-hr":       "resting hr,resting heart rate,rest hr,hr rest,morning hr,morning heart rate,ruhepuls",
	} {
		for w := range strings.SplitSeq(list, ",") {
			m[foldWords(w)] = name
		}
	}
	return m
}()

// squadWords head a column of squads; wholeSquad, in the athlete's cell, means
// that the value is the squad's.
var (
	squadWords = phrases("squad,team,group,mannschaft,equipe,equipo,squadra,time do clube,elftal,lag")
	wholeSquad = phrases("squad,team,all,whole squad,whole team,mannschaft,alle,equipe,equipo,todos,tutti")
	// notSeries head columns that describe the line or the athlete, or belong
	// to a recording.
	notSeries = phrases("session,drill,period,phase,activity,event,marker,notes,note,comment,comments,sport,type,version,device,product,id,no,nr," +
		"index,idx,row,sex,age,birth year,height,position,lat,latitude,lon,long,lng,longitude,x,y,z,day,week,weekday,microcycle day,md")
)

func phrases(list string) map[string]bool {
	m := make(map[string]bool)
	for w := range strings.SplitSeq(list, ",") {
		m[foldWords(w)] = true
	}
	return m
}

// seriesHeading is a column's heading in a file of daily values.
type seriesHeading struct {
	heading
	// series is the name of the column's series, unit as in its brackets.
	series, unit string
	// word is whether the heading is one of seriesWords.
	word bool
	// minutes is what one of the column's unit of time has of them.
	minutes float64
}

// seriesLayout is where a file of daily values keeps what.
type seriesLayout struct {
	comma    byte
	line     int // of the heading line, from 1
	offset   int // of its first byte
	headings []seriesHeading
	// Columns, -1 when there are none.
	date, athlete, first, last, squad int
	series                            []int
	// twice is a second column of one series, 0 when there is none: nobody
	// can say which counts.
	twice int
	// known is whether a heading is a known series', timed whether the lines
	// have a time of day, so that they may be samples.
	known, timed bool
}

// findSeriesLayout finds the heading line of a file of daily values, nil when
// it is none, or when a heading line of samples with heart rates follows: then
// it was about the recording.
func findSeriesLayout(text []byte) *seriesLayout {
	var found *seriesLayout
	offset, head := 0, text[:min(len(text), headBytes)]
	for line := 1; line <= headLines && offset < len(head); line++ {
		rest := head[offset:]
		length := bytes.IndexByte(rest, '\n')
		if length < 0 {
			length = len(rest)
		}
		raw := strings.TrimRight(string(rest[:length]), "\r")
		for _, comma := range delimiters {
			if s := readLayout(raw, comma, line, offset); s != nil && len(s.of(hrColumn)) > 0 &&
				len(s.of(stampColumn, clockColumn, timeColumn, elapsedColumn)) > 0 {
				return nil
			}
			if found != nil && found.line < line {
				continue
			}
			l := readSeriesLayout(raw, comma)
			if l != nil && (found == nil || len(l.headings) > len(found.headings)) {
				l.line, l.offset = line, offset
				found = l
			}
		}
		offset += length + 1
	}
	return found
}

// readSeriesLayout understands a line as the heading line of daily values.
func readSeriesLayout(raw string, comma byte) *seriesLayout {
	if strings.IndexByte(raw, comma) < 0 {
		return nil
	}
	cells := splitLine(raw, comma)
	if len(cells) > maxColumns {
		return nil
	}
	l := &seriesLayout{comma: comma, date: -1, athlete: -1, first: -1, last: -1, squad: -1}
	stamp, id := -1, -1
	set := func(to *int, i int) {
		if *to < 0 {
			*to = i
		}
	}
	for i, c := range cells {
		h := readSeriesHeading(c)
		l.headings = append(l.headings, h)
		folded := foldWords(h.text)
		switch {
		case squadWords[folded]:
			set(&l.squad, i)
		case h.series != "":
			if slices.ContainsFunc(l.series, func(k int) bool { return l.headings[k].series == h.series }) {
				l.twice = i
			}
			l.series = append(l.series, i)
			l.known = l.known || h.word && h.series != minutesSeries
		case h.kind == hrColumn || h.kind == speedColumn || h.kind == cadenceColumn || h.kind == elapsedColumn:
			return nil
		case h.kind == dateColumn:
			set(&l.date, i)
		case h.kind == stampColumn:
			set(&stamp, i)
		case h.kind == clockColumn || h.kind == timeColumn:
			l.timed = true
		case h.kind == athleteColumn:
			set(&l.athlete, i)
		case h.kind == athleteIDColumn:
			set(&id, i)
		case h.kind == firstNameColumn:
			set(&l.first, i)
		case h.kind == lastNameColumn:
			set(&l.last, i)
		}
	}
	if l.athlete < 0 && l.first < 0 && l.last < 0 {
		l.athlete = id
	}
	if l.date < 0 {
		l.date, l.timed = stamp, true
	}
	whose := l.named() || l.squad >= 0
	if l.date < 0 || len(l.series) == 0 || !l.known && (l.timed || !whose) {
		return nil
	}
	return l
}

func (l *seriesLayout) named() bool { return l.athlete >= 0 || l.first >= 0 || l.last >= 0 }

// readSeriesHeading understands one heading; series is "" when the column is
// none.
func readSeriesHeading(cell string) seriesHeading {
	h := seriesHeading{heading: readHeading(cell), minutes: 1}
	words := foldWords(bare(h.text))
	if notSeries[words] || squadWords[words] || words == "" {
		return h
	}
	h.unit = seriesUnit(h.text)
	if name := seriesWords[words]; name != "" {
		h.series, h.word = name, true
		if name == minutesSeries {
			switch h.unit {
			case "h":
				h.minutes = 60
			case "s":
				h.minutes = 1.0 / 60
			}
			h.unit = "min"
		}
		return h
	}
	switch h.kind {
	case unnamedColumn, otherColumn:
		h.series = strings.ReplaceAll(words, " ", "-")
		if len(h.series) > 60 {
			h.series = strings.ToValidUTF8(h.series[:60], "")
		}
	default:
	}
	return h
}

// bare is a heading without the unit in brackets.
func bare(text string) string {
	if i := strings.IndexAny(text, "(["); i > 0 {
		return text[:i]
	}
	return text
}

// seriesUnit is what stands in a heading's brackets, short and harmless.
func seriesUnit(text string) string {
	i := strings.IndexAny(text, "([")
	if i < 0 {
		return ""
	}
	inside, _, _ := strings.Cut(text[i+1:], map[byte]string{'(': ")", '[': "]"}[text[i]])
	inside = strings.TrimLeft(cleanText(inside), "=+-@ ")
	if len(inside) > 24 {
		return ""
	}
	switch foldWords(inside) {
	case "h", "hour", "hours", "hrs", "std", "stunden", "heures", "horas", "ore":
		return "h"
	case "min", "mins", "minutes", "minuten":
		return "min"
	case "s", "sec", "seconds":
		return "s"
	case "c", "degc", "deg c", "celsius":
		return "°C"
	}
	return inside
}

package formats

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"canter.example/schemas"
)

// xmlReader makes samples of one kind of XML file. Names come without their
// namespace prefix, which every program chooses for itself.
type xmlReader interface {
	// start of an element inside the one named parent. Slices are the caller's, and
	// strings to be cloned where they are kept.
	start(name, parent string, attrs []xmlAttr)
	// end of an element, with its own text, trimmed. False stops at a limit.
	end(name, parent string, text []byte) bool
	// result is asked for once, when all was read or nothing more can be.
	result(damage schemas.Damage) (schemas.Trace, *Error)
}

// decodeXML reads a TCX or GPX file, told by its root element.
func decodeXML(text []byte, b *budget) ([]schemas.Trace, string, *Error) {
	w := xmlWalk{src: newXMLTokens(viewOf(text), b.Token), b: b}
	// References such as &amp; cost the decoder as much as an element.
	if b.elements -= bytes.Count(text, []byte{'&'}); b.elements < 0 {
		return nil, "", w.elementsError()
	}
	damage, err := w.run()
	if err != nil {
		return nil, w.format, err
	}
	if w.reader == nil {
		return nil, "", problem(ErrUnknownFormat, atLine(1), "this XML is neither TCX nor GPX: "+damage.What, "Export the session as TCX or GPX")
	}
	t, err := w.reader.result(damage)
	return finish(w.format, []schemas.Trace{t}, err, b)
}

// xmlWalk goes through a document token by token.
type xmlWalk struct {
	src    *xmlTokens
	b      *budget
	reader xmlReader
	format string
	names  []string // of the open elements
	text   []byte   // of the innermost one
}

// run walks the document. It returns what is wrong with it when it can't be
// read to its end, or an error when it must not be.
func (w *xmlWalk) run() (damage schemas.Damage, err *Error) {
	for {
		t, tokenErr := w.src.read()
		if tokenErr != nil {
			return w.ended(tokenErr)
		}
		switch t.kind {
		case xmlStart:
			if err := w.open(t); err != nil {
				return schemas.Damage{}, err
			}
		case xmlEnd:
			if len(w.names) == 0 || w.names[len(w.names)-1] != t.name {
				return altered("line %d closes <%s>, which is not open", w.src.line(), cleanText(t.name)), nil
			}
			if err := w.close(t.name); err != nil {
				return schemas.Damage{}, err
			}
		case xmlText:
			if len(w.text)+len(t.text) > w.b.Token {
				return schemas.Damage{}, w.tokenError()
			}
			w.text = append(w.text, t.text...)
		case xmlDirective:
			if w.reader == nil && len(t.text) >= 12 && strings.EqualFold(string(t.text[:12]), "doctype html") {
				return schemas.Damage{}, problem(ErrUnknownFormat, atLine(w.src.line()), "a web page, perhaps a sign-in page saved in place of the export",
					"Sign in and export the session again")
			}
			return schemas.Damage{}, problem(ErrEntities, atLine(w.src.line()), "the file declares a document type, and may hide entities in it",
				"Remove the <!DOCTYPE …> part, or export the session again")
		case xmlSkipped:
		}
	}
}

// ended judges why there are no more tokens.
func (w *xmlWalk) ended(err error) (schemas.Damage, *Error) {
	var syntax *xml.SyntaxError
	switch {
	case errors.Is(err, errToken):
		return schemas.Damage{}, w.tokenError()
	case errors.Is(err, io.EOF) && len(w.names) == 0:
		if w.reader == nil {
			return altered("there is no element"), nil
		}
		return schemas.Damage{}, nil
	case errors.Is(err, io.EOF):
		return endsEarly("the file ends early, at line %d, inside <%s>", w.src.line(), w.names[len(w.names)-1]), nil
	case errors.As(err, &syntax) && syntax.Msg == "unexpected EOF":
		return endsEarly("the file ends early, at line %d, inside a tag", w.src.line()), nil
	case errors.As(err, &syntax):
		return altered("line %d: %s", w.src.line(), cleanText(syntax.Msg)), nil
	}
	return altered("line %d: %s", w.src.line(), cleanText(err.Error())), nil
}

func (w *xmlWalk) tokenError() *Error {
	return problem(ErrTooLarge, atLine(w.src.line()), fmt.Sprintf("one tag or text of more than %d bytes", w.b.Token),
		"Export the session again")
}

func (w *xmlWalk) elementsError() *Error {
	return problem(ErrTooMany, atLine(w.src.line()), fmt.Sprintf("more than %d XML elements", w.b.Elements),
		"Split the recording into one file a session")
}

func (w *xmlWalk) open(t *xmlToken) *Error {
	name := t.name
	if w.b.elements--; w.b.elements < 0 {
		return w.elementsError()
	}
	if len(w.names) >= w.b.Depth {
		return problem(ErrTooDeep, atLine(w.src.line()), fmt.Sprintf("XML elements nested more than %d deep", w.b.Depth),
			"Export the session again")
	}
	if w.reader == nil {
		switch name {
		case "TrainingCenterDatabase":
			w.reader, w.format = newTCX(w.b, w.src), TCX
		case "gpx":
			w.reader, w.format = newGPX(w.b, w.src), GPX
		default:
			return problem(ErrUnknownFormat, atLine(w.src.line()), "this XML is neither TCX nor GPX: its root is <"+cleanText(name)+">",
				"Export the session as TCX or GPX")
		}
	}
	w.reader.start(name, w.parent(), t.attrs)
	w.names = append(w.names, name)
	w.text = w.text[:0]
	return nil
}

func (w *xmlWalk) close(name string) *Error {
	w.names = w.names[:len(w.names)-1]
	ok := w.reader.end(name, w.parent(), bytes.TrimSpace(w.text))
	w.text = w.text[:0]
	if !ok {
		return w.b.samplesError(atLine(w.src.line()))
	}
	return nil
}

func (w *xmlWalk) parent() string {
	if len(w.names) == 0 {
		return ""
	}
	return w.names[len(w.names)-1]
}

// trackPoint is the point that TCX and GPX are made of, while it is open.
type trackPoint struct {
	sample schemas.Sample
	at     int64
	timed  bool
	absurd bool
}

// track is what the readers of TCX and GPX share.
type track struct {
	recorder
	src    *xmlTokens
	point  trackPoint
	points int
	noZone tally
}

func newTrack(b *budget, src *xmlTokens) track {
	t := track{recorder: recorder{b: b}, src: src}
	// A point with a heart rate takes some 200 bytes or more.
	t.trace.Samples = roomForSamples(min(len(src.doc)/300, b.samples) + 16)
	return t
}

func (t *track) place() string { return atLine(t.src.line()) }

// time sets the open point's time; an empty one is as good as none.
func (t *track) time(text []byte) {
	if len(text) == 0 {
		return
	}
	at, zoned, ok := parseXMLTime(text)
	if !ok {
		t.point.timed = false
		return
	}
	if !zoned {
		t.noZone.add(t.place)
	}
	t.point.timed = plausibleTime(at)
	t.point.absurd = !t.point.timed
	t.point.at = at.UnixNano()
}

// number returns the value of an element; text that is none is counted.
func (t *track) number(text []byte) (float64, bool) {
	if len(text) == 0 {
		return 0, false
	}
	v, err := parseXMLNumber(text)
	if err != nil || v != v || v > 1e9 || v < -1e9 {
		t.notNumber.add(t.place)
		return 0, false
	}
	return v, true
}

func parseXMLNumber(text []byte) (float64, error) {
	if v, ok := plainNumber(text, '.'); ok {
		return v, nil
	}
	return strconv.ParseFloat(string(text), 64)
}

func (t *track) heartRate(text []byte) {
	if v, ok := t.number(text); ok {
		t.point.sample.HR = reading(v)
	}
}

func (t *track) speed(text []byte) {
	if v, ok := t.number(text); ok && v >= 0 {
		t.point.sample.Speed = float32(v)
		t.point.sample.Have |= schemas.HasSpeed
	}
}

// strides takes a cadence counted on one foot.
func (t *track) strides(text []byte) {
	if v, ok := t.number(text); ok && v >= 0 && v < 254 {
		t.point.sample.Cadence = float32(2 * v)
		t.point.sample.Have |= schemas.HasCadence
	}
}

// endPoint keeps the open point; false at the limit.
func (t *track) endPoint() bool {
	p := t.point
	t.point = trackPoint{}
	t.points++
	switch {
	case p.absurd:
		t.absurd.add(t.place)
	case !p.timed:
		t.noTime.add(t.place)
	default:
		return t.add(p.at, p.sample)
	}
	return true
}

// finishTrack returns the trace.
func (t *track) finishTrack(damage schemas.Damage, empty string) (schemas.Trace, *Error) {
	if len(t.trace.Samples) == 0 {
		if damage.Kind != schemas.Sound {
			return schemas.Trace{}, problem(ErrDamaged, "", damage.What+"; no sample is left", "Export the session again")
		}
		return schemas.Trace{}, t.emptyError(empty)
	}
	t.noteTallies()
	if t.noZone.n > 0 {
		noteClock(&t.trace, "%s without a zone read as UTC, the first at %s", count(t.noZone.n, "time"), t.noZone.first)
	}
	t.damage(damage)
	return t.trace, nil
}

// digits returns the number that b spells, -1 when it is not all digits.
func digits[T string | []byte](b T) int {
	n := 0
	for i := range len(b) {
		c := b[i]
		if c < '0' || c > '9' {
			return -1
		}
		n = n*10 + int(c-'0')
	}
	return n
}

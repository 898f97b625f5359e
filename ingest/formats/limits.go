package formats

import (
	"fmt"
	"time"
)

// Limits bound what one file may cost. A zero field means its default; the
// defaults together keep any input below 2 s and 256 MiB on one core of a
// small machine.
type Limits struct {
	// Bytes of one document, after unpacking. 32 MiB is 14 h of indented TCX
	// at 1 Hz, and weeks of FIT.
	Bytes int64
	// Unpacked bytes of all entries of an archive together.
	Unpacked int64
	// Ratio of unpacked to packed bytes of one entry larger than 1 MiB.
	Ratio int64
	// Entries of an archive, inner archives counted in.
	Entries int
	// Nesting of archives: 1 is a file in a ZIP, 2 a file in a ZIP in a ZIP.
	Nesting int
	// Depth of XML elements.
	Depth int
	// Elements of XML documents together.
	Elements int
	// Token is the most bytes of one XML tag or text, or of one CSV line.
	Token int
	// Samples, and RR intervals, of all traces together.
	Samples int
	// Traces in one file.
	Traces int
}

// DefaultLimits returns the limits that a zero [Limits] stands for.
func DefaultLimits() Limits {
	return Limits{
		Bytes:    32 << 20,
		Unpacked: 64 << 20,
		Ratio:    250,
		Entries:  2000,
		Nesting:  2,
		Depth:    64,
		Elements: 2_500_000,
		Token:    1 << 20,
		Samples:  2_000_000,
		Traces:   500,
	}
}

func orDefault[T int | int64](v *T, d T) {
	if *v <= 0 {
		*v = d
	}
}

// filled returns l with the defaults in place of zeros.
func (l Limits) filled() Limits {
	d := DefaultLimits()
	orDefault(&l.Bytes, d.Bytes)
	orDefault(&l.Unpacked, d.Unpacked)
	orDefault(&l.Ratio, d.Ratio)
	orDefault(&l.Entries, d.Entries)
	orDefault(&l.Nesting, d.Nesting)
	orDefault(&l.Depth, d.Depth)
	orDefault(&l.Elements, d.Elements)
	orDefault(&l.Token, d.Token)
	orDefault(&l.Samples, d.Samples)
	orDefault(&l.Traces, d.Traces)
	return l
}

// budget is what is left of the limits while one file is read, shared by all
// entries of an archive.
type budget struct {
	Limits
	unpacked int64
	entries  int
	elements int
	samples  int
}

func newBudget(l Limits) *budget {
	l = l.filled()
	return &budget{Limits: l, unpacked: l.Unpacked, entries: l.Entries, elements: l.Elements, samples: l.Samples}
}

// takeSample counts one sample, or one RR interval, and says whether it may be kept.
func (b *budget) takeSample() bool {
	b.samples--
	return b.samples >= 0
}

// exhausted reports whether something that all entries of an archive share is used up.
func (b *budget) exhausted() bool {
	return b.samples < 0 || b.elements < 0 || b.unpacked < 0
}

func (b *budget) samplesError(place string) *Error {
	return problem(ErrTooMany, place,
		fmt.Sprintf("more than %d samples", b.Samples),
		"Split the recording into one file a session")
}

func (b *budget) bytesError(size int64) *Error {
	return problem(ErrTooLarge, "",
		fmt.Sprintf("%d bytes, at most %d are read", size, b.Bytes),
		"Export one session a file")
}

// Times outside these years are a device whose clock was never set, or a
// damaged byte: no session was recorded then.
var (
	minTime = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	maxTime = time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)
)

var minUnix, maxUnix = minTime.Unix(), maxTime.Unix()

func plausibleTime(t time.Time) bool {
	u := t.Unix()
	return u >= minUnix && u < maxUnix
}

// reading returns a heart rate as a sample holds it: 0, no reading, for what
// devices write when the strap gave nothing: 0 and less, 254, 255 and more,
// not a number.
func reading(bpm float64) float32 {
	if bpm > 0 && bpm < 254 { // false for NaN
		return float32(bpm)
	}
	return 0
}

package schemas

import "time"

// Sample is one reading of a trace. Absent values are 0: no living athlete
// has a heart rate of 0 (PITFALLS: 0 means no reading), and Have tells
// whether speed and cadence were measured.
type Sample struct {
	// At is the time since the trace's Start.
	At time.Duration
	// HR in bpm; 0 when the device gave no reading.
	HR float32
	// Speed in m/s, valid when Have has HasSpeed.
	Speed float32
	// Cadence in steps a minute (both feet), valid when Have has HasCadence.
	Cadence float32
	Have    Channels
}

// Channels is a set of the optional channels of a sample.
type Channels uint8

// Optional channels.
const (
	HasSpeed Channels = 1 << iota
	HasCadence
)

// Trace is one athlete's samples out of one file, as the device recorded
// them: in file order, not cleaned, not resampled. Readers make traces; only
// the scorer's cleaning decides what in them is valid.
type Trace struct {
	// Part tells the traces of one file apart: the heading of a column, the
	// athlete cell of a team export, the name inside a ZIP. Empty in a file
	// of one athlete.
	Part string
	// Label is what the file itself says of whose trace it is, "" when nothing.
	Label string
	// Start is the instant of At == 0.
	Start   time.Time
	Samples []Sample
	Laps    []Lap
	// RR holds beat-to-beat intervals in order, when the device stored them.
	RR []RR
	// Device is what recorded the trace.
	Device Device
	// Damage is what is wrong with the file, when anything is: then the samples
	// are all that could be read.
	Damage Damage
	// Clock is what the reader had to decide about the device's clock, in words
	// for people: it moves the trace. "" for nothing.
	Clock string
	// Notes are things the reader had to decide, in words for people; damage
	// and clock are among them.
	Notes []string
}

// Damage is what a reader found wrong with a file.
type Damage struct {
	Kind DamageKind
	// What in words for people, with the place; "" when nothing is wrong.
	What string
}

// DamageKind is how far a damaged file can be trusted.
type DamageKind uint8

// Kinds of damage.
const (
	// Sound: nothing is wrong with the file.
	Sound DamageKind = iota
	// EndsEarly: the file was cut short; what was read is as recorded.
	EndsEarly
	// Altered: bytes were changed or can't be read; any value may be wrong.
	Altered
)

// Lap is a mark set on the device.
type Lap struct {
	// Start and End since the trace's Start.
	Start time.Duration
	End   time.Duration
	// Manual is true when somebody pressed the button, false for automatic
	// laps by distance or time and for the last lap of a file.
	Manual bool
}

// RR is one interval between beats. At is the time of the closing beat since
// the trace's Start.
type RR struct {
	At       time.Duration
	Interval time.Duration
}

// Device describes the recorder and the straps paired to it.
type Device struct {
	Manufacturer string
	Product      string
	// Serials of the recorder and of each heart-rate sensor the file names.
	Serials []string
}

// End returns the time of the last sample since Start, 0 for an empty trace.
func (t *Trace) End() time.Duration {
	var end time.Duration
	for i := range t.Samples {
		end = max(end, t.Samples[i].At)
	}
	return end
}

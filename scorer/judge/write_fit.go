package judge

import (
	"bytes"
	"fmt"
	"slices"
	"time"

	"github.com/muktihari/fit/encoder"
	"github.com/muktihari/fit/profile/mesgdef"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/proto"
)

// mark makes laps of presses: one ends where the next begins, and the last one
// is ended by the device. Presses less than 3 s apart count once.
func (rec *Recording) mark(presses []int, begin, end time.Time) {
	slices.Sort(presses)
	from, last := begin, -3
	for _, m := range presses {
		at := begin.Add(time.Duration(m) * time.Second)
		if m-last < 3 || !at.Before(end) {
			continue
		}
		rec.Laps = append(rec.Laps, Lap{Start: from, End: at, Manual: true})
		from, last = at, m
	}
	rec.Laps = append(rec.Laps, Lap{Start: from, End: end})
}

// fit encodes the recording with the muktihari/fit library, messages in the
// order a watch stores them, times as they are.
func (rec *Recording) fit() ([]byte, error) {
	file := &proto.FIT{}
	add := func(m proto.Message) { file.Messages = append(file.Messages, m) }
	first := rec.Samples[0].At
	id := mesgdef.NewFileId(nil).SetType(typedef.FileActivity).SetTimeCreated(first).
		SetManufacturer(typedef.ManufacturerDevelopment).SetSerialNumber(77001)
	add(id.ToMesg(nil))
	beat := 0
	for _, s := range rec.Samples {
		m := mesgdef.NewRecord(nil).SetTimestamp(s.At)
		if s.HR >= 0 {
			m.SetHeartRate(uint8(s.HR))
		}
		if s.HasSpeed {
			m.SetEnhancedSpeedScaled(s.Speed)
		}
		if s.HasCadence {
			m.SetCadence(uint8(s.Cadence / 2))
		}
		add(m.ToMesg(nil))
		var rr []float64
		for ; beat < len(rec.Beats) && rec.Beats[beat].At <= s.At.Sub(rec.Begin).Seconds(); beat++ {
			rr = append(rr, rec.Beats[beat].RR)
		}
		for part := range slices.Chunk(rr, 5) {
			add(mesgdef.NewHrv(nil).SetTimeScaled(part).ToMesg(nil))
		}
	}
	for _, l := range rec.Laps {
		m := mesgdef.NewLap(nil).SetTimestamp(l.End).SetStartTime(l.Start).
			SetTotalElapsedTimeScaled(l.End.Sub(l.Start).Seconds()).SetLapTrigger(typedef.LapTriggerSessionEnd)
		if l.Manual {
			m.SetLapTrigger(typedef.LapTriggerManual)
		}
		add(m.ToMesg(nil))
	}
	last := rec.Samples[len(rec.Samples)-1].At
	add(mesgdef.NewSession(nil).SetTimestamp(last).SetStartTime(first).SetSport(typedef.SportRunning).
		SetTotalElapsedTimeScaled(max(last.Sub(first).Seconds(), 0)).ToMesg(nil))
	add(mesgdef.NewActivity(nil).SetTimestamp(last).SetNumSessions(1).ToMesg(nil))
	var b bytes.Buffer
	if err := encoder.New(&b).Encode(file); err != nil {
		return nil, fmt.Errorf("encode FIT: %w", err)
	}
	return b.Bytes(), nil
}

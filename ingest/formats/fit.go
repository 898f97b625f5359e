package formats

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"sync"

	"canter.example/schemas"
)

// fitHeader is the part of a FIT header that frames its data.
type fitHeader struct {
	size int
	data int64
	// repaired is why the header in the file could not be used as it is.
	repaired string
	// altered is set when the header's own checksum does not fit; the data has
	// one of its own, and may be sound.
	altered bool
}

// readFITHeader reads the header at the start of b. Devices that lose power
// leave a data size of zero: then the data reaches to the end.
func readFITHeader(b []byte) (fitHeader, bool) {
	if len(b) < 12 || string(b[8:12]) != ".FIT" {
		return fitHeader{}, false
	}
	h := fitHeader{size: int(b[0]), data: int64(binary.LittleEndian.Uint32(b[4:8]))}
	if h.size != 12 && h.size != 14 {
		h.repaired = fmt.Sprintf("header size %d is none that exists", h.size)
		h.size = 14
	}
	if len(b) < h.size {
		return fitHeader{}, false
	}
	if sum := binary.LittleEndian.Uint16(b[h.size-2:]); h.size == 14 && sum != 0 {
		h.altered = fitChecksum(b[:12]) != sum
	}
	if h.data == 0 && len(b) > h.size {
		h.repaired = "the device did not finish the file: its header gives no size"
		h.data = int64(len(b) - h.size)
	}
	return h, true
}

// fitDecoder reads FIT sequences into one trace. It is kept for reuse.
type fitDecoder struct {
	messages fitMessages
	fit      fitCollector
}

var fitDecoders = sync.Pool{New: func() any { return new(fitDecoder) }}

// decodeFIT reads all sequences of a FIT file into one trace: parts of a chained
// file come from one device, and later parts may hold only heart rates.
func decodeFIT(content []byte, b *budget) ([]schemas.Trace, *Error) {
	d, _ := fitDecoders.Get().(*fitDecoder)
	d.fit.reset(b, len(content))
	var damage schemas.Damage
	for offset, sequence := 0, 0; offset < len(content); sequence++ {
		h, ok := readFITHeader(content[offset:])
		if !ok {
			damage = d.afterEnd(content, offset, sequence)
			break
		}
		end := min(int64(len(content)), int64(offset)+int64(h.size)+h.data+2)
		d.fit.base = int64(offset)
		found := d.sequence(h, content[offset:end])
		if d.fit.stopped != nil {
			return nil, d.fit.stopped
		}
		if found.Kind == schemas.Sound && h.repaired != "" {
			found = altered("%s", h.repaired)
		}
		if h.altered && found.Kind == schemas.Sound {
			d.fit.note("the checksum of the header at byte %d does not fit; that of the data does", offset)
		}
		if damage.Kind == schemas.Sound {
			damage = found
		}
		offset = int(end)
	}
	trace, err := d.fit.finish(damage)
	// Only now, and not after a panic, is the decoder fit for reuse.
	d.fit = fitCollector{}
	fitDecoders.Put(d)
	if err != nil {
		return nil, err
	}
	return []schemas.Trace{trace}, nil
}

// afterEnd judges bytes where a header should be: damage when no sequence
// came before, else a remark.
func (d *fitDecoder) afterEnd(content []byte, offset, sequence int) schemas.Damage {
	if sequence == 0 {
		return endsEarly("the file ends inside its header, at byte %d", len(content))
	}
	d.fit.note("the last %d bytes, from byte %d, are no FIT data and were left out", len(content)-offset, offset)
	return schemas.Damage{}
}

// sequence decodes one FIT sequence into the collector and returns what is
// wrong with it.
func (d *fitDecoder) sequence(h fitHeader, content []byte) schemas.Damage {
	d.messages.begin(&d.fit)
	n, err := d.messages.cut(content[h.size:], h.data)
	end := d.fit.base + int64(len(content))
	switch {
	case err == nil:
		// All messages were read, and two bytes behind them: the checksum.
		sum := len(content) - 2
		if fitChecksum(content[h.size:sum]) != binary.LittleEndian.Uint16(content[sum:]) {
			return altered("the checksum at byte %d does not fit: bytes were changed after recording, and any value may be wrong", end-2)
		}
		return schemas.Damage{}
	case errors.Is(err, io.ErrUnexpectedEOF):
		return endsEarly("the file ends early, at byte %d", end)
	}
	return altered("unreadable from byte %d on: %v", d.fit.base+int64(h.size+n), err)
}

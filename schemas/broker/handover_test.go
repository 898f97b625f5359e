package broker

import (
	"bytes"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"canter.example/schemas"
	"github.com/klauspost/compress/zstd"
)

// TestAFITFileIsPackedAsItIs: what is put together by hand is read by the library,
// at each size where the number of blocks changes.
func TestAFITFileIsPackedAsItIs(t *testing.T) {
	zip, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	unzip, err := zstd.NewReader(nil)
	if err != nil {
		t.Fatal(err)
	}
	defer unzip.Close()
	b := &Broker{zip: zip, unzip: unzip}
	for _, size := range []int{13, 14, 255, 256, zipBlock - 1, zipBlock, zipBlock + 1, 3*zipBlock + 7} {
		for _, name := range []string{".FIT", "text"} {
			content := bytes.Repeat([]byte{1, 2, 3, 4, 5, 6, 7}, size/7+1)[:size]
			copy(content[8:], name)
			packed := b.pack(content, nil)
			if small := len(packed) < size/2; size > 255 && small == (name == ".FIT") {
				t.Errorf("%d bytes of %s are packed into %d", size, name, len(packed))
			}
			got, err := b.unpack(packed, int64(size), nil)
			if err != nil || !bytes.Equal(got, content) {
				t.Errorf("%d bytes of %s come back as %d, equal %v: %v", size, name, len(got), bytes.Equal(got, content), err)
			}
		}
	}
}

func content(n int) (schemas.FileID, []byte) {
	b := bytes.Repeat([]byte{byte(n)}, handoverMost/8)
	return schemas.FileID(fmt.Sprint("file", n)), b
}

func TestAFileIsHandedOverOnce(t *testing.T) {
	h := newHandover()
	id, want := content(1)
	h.give(t.Context(), id, want)
	h.give(t.Context(), id, want)
	if got := h.take(id); got == nil || !bytes.Equal(*got, want) {
		t.Error("the file is not what was given")
	}
	if h.take(id) != nil {
		t.Error("the file is handed over twice")
	}
	h.give(t.Context(), id, want)
	h.drop(id)
	if h.take(id) != nil || h.bytes != 0 {
		t.Errorf("a file that was dropped is there, or its %d bytes are", h.bytes)
	}
	big := make([]byte, roomMost+1)
	if h.give(t.Context(), "big", big); h.take("big") != nil {
		t.Error("a file that is too large is kept")
	}
}

// waits runs f on a clock of its own, with a full handover and what tells how long
// file n waits there until it is kept or goes on without.
func waits(t *testing.T, f func(h *handover, waits func(n int) time.Duration)) {
	synctest.Test(t, func(t *testing.T) {
		h := newHandover()
		waits := func(n int) time.Duration {
			begin := time.Now()
			id, c := content(n)
			h.give(t.Context(), id, c)
			return time.Since(begin)
		}
		for n := range 8 {
			if got := waits(n); got != 0 {
				t.Errorf("a file with room waits for %v", got)
			}
		}
		f(h, waits)
	})
}

// TestFindingWaitsForScoringWhileItGoesOn: with no room left the next file waits
// for a file to be taken. When none is for a while, nobody waits for some time.
func TestFindingWaitsForScoringWhileItGoesOn(t *testing.T) {
	waits(t, func(h *handover, waits func(n int) time.Duration) {
		wait := func(what string, n int, want time.Duration) {
			t.Helper()
			if got := waits(n); got != want {
				t.Errorf("%s waits for %v, want %v", what, got, want)
			}
		}
		time.AfterFunc(50*time.Millisecond, func() { h.take("file0") })
		wait("a file while others are scored", 8, 50*time.Millisecond)
		wait("a file while none is scored", 9, handoverWait)
		wait("the next one", 10, 0)
		if h.take("file9") != nil || h.take("file10") != nil {
			t.Error("a file for which there was no room is kept")
		}
		wait("a file after somebody came for another", 11, 0)
		if h.take("file1") == nil {
			t.Error("a file that was kept is gone")
		}
		wait("a file with room again", 12, 0)
		wait("a file without, so soon after one waited in vain", 13, 0)
		time.Sleep(handoverOld)
		wait("a file when the others are old", 14, 0)
		if h.take("file2") != nil || h.take("file14") == nil {
			t.Error("old files stay, or the new one does not")
		}
		for n := 20; n < 28; n++ {
			wait("a file with room after that", n, 0)
		}
		time.AfterFunc(50*time.Millisecond, func() { h.take("file20") })
		wait("a file long after one waited in vain", 28, 50*time.Millisecond)
	})
}

// TestFilesThatOthersScoreHoldNobodyUp: further scorers on this broker take files
// that are kept here for nothing, while this process scores the others.
func TestFilesThatOthersScoreHoldNobodyUp(t *testing.T) {
	waits(t, func(h *handover, waits func(n int) time.Duration) {
		var all time.Duration
		for n := 8; n < 100; n++ {
			all += waits(n)
			h.take(schemas.FileID(fmt.Sprint("file", n))) // it comes here, kept or not
		}
		if all > handoverWait {
			t.Errorf("92 files wait for %v together", all)
		}
	})
}

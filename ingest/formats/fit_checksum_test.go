package formats

import (
	"testing"

	"github.com/muktihari/fit/kit/hash/crc16"
	"pgregory.net/rapid"
)

// TestChecksumIsThatOfTheLibrary: eight bytes at a time give what the FIT
// protocol's routine gives, as the library has it.
func TestChecksumIsThatOfTheLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.SliceOfN(rapid.Byte(), 0, 100).Draw(t, "bytes")
		want := crc16.New()
		_, _ = want.Write(b)
		if got := fitChecksum(b); got != want.Sum16() {
			t.Errorf("%#x, the library says %#x", got, want.Sum16())
		}
	})
}

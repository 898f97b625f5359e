package formats

// fitPolynomial of FIT's checksum: CRC-16 with reflected bits, begun at 0 (the
// FIT protocol's own routine, four bits at a time, gives the same).
const fitPolynomial = 0xA001

// fitSums[k][b] is what byte b adds to the checksum k bytes further on.
var fitSums = func() (t [8][256]uint16) {
	for b := range t[0] {
		sum := uint16(b)
		for range 8 {
			if sum&1 != 0 {
				sum = sum>>1 ^ fitPolynomial
			} else {
				sum >>= 1
			}
		}
		t[0][b] = sum
	}
	for k := 1; k < len(t); k++ {
		for b, sum := range t[k-1] {
			t[k][b] = sum>>8 ^ t[0][byte(sum)]
		}
	}
	return t
}()

// fitChecksum returns the checksum of b. It takes eight bytes at a time: each
// alone must wait for the one before.
func fitChecksum(b []byte) uint16 {
	sum := uint16(0)
	for ; len(b) >= 8; b = b[8:] {
		sum = fitSums[7][b[0]^byte(sum)] ^ fitSums[6][b[1]^byte(sum>>8)] ^
			fitSums[5][b[2]] ^ fitSums[4][b[3]] ^ fitSums[3][b[4]] ^ fitSums[2][b[5]] ^ fitSums[1][b[6]] ^ fitSums[0][b[7]]
	}
	for _, c := range b {
		sum = sum>>8 ^ fitSums[0][byte(sum)^c]
	}
	return sum
}

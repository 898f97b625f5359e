package page

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/crypto/argon2"
)

// Cost of a password's hash: argon2id with the second choice of RFC 9106
// (section 4), for machines with little memory: 64 MiB, 3 passes, 4 lanes.
const (
	hashPasses = 3
	hashMemory = 64 << 10 // KiB
	hashLanes  = 4
	hashBytes  = 32
	saltBytes  = 16
)

// Lengths of a password in bytes. The least is that of NIST SP 800-63B for a
// password that stands alone; the most keeps hashing short.
const (
	shortestPassword = 15
	longestPassword  = 256
)

// ErrPassword is returned for a password that is too short or too long.
var ErrPassword = fmt.Errorf("a password needs %d to %d characters: a few words that do not belong together do", shortestPassword, longestPassword)

// HashPassword returns the hash of a password in the usual notation,
// $argon2id$v=19$m=65536,t=3,p=4$salt$hash. Errors: [ErrPassword].
func HashPassword(password string) (string, error) {
	if len([]rune(password)) < shortestPassword || len(password) > longestPassword {
		return "", ErrPassword
	}
	salt := make([]byte, saltBytes)
	if _, err := rand.Read(salt); err != nil {
		return "", err
	}
	return hashed{hashMemory, hashPasses, hashLanes, salt, nil}.of(password).String(), nil
}

// hashed is a password's hash with what it was made with.
type hashed struct {
	memory, passes uint32
	lanes          uint8
	salt, sum      []byte
}

func (h hashed) of(password string) hashed {
	n := len(h.sum)
	if n == 0 {
		n = hashBytes
	}
	h.sum = argon2.IDKey([]byte(password), h.salt, h.passes, h.memory, h.lanes, uint32(n))
	return h
}

func (h hashed) is(password string) bool {
	return len(password) <= longestPassword && subtle.ConstantTimeCompare(h.of(password).sum, h.sum) == 1
}

// String writes a hash as [parseHash] reads it.
func (h hashed) String() string {
	b64 := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, h.memory, h.passes, h.lanes, b64.EncodeToString(h.salt), b64.EncodeToString(h.sum))
}

var errHash = errors.New("is no hash that canter page password makes")

func parseHash(s string) (h hashed, err error) {
	parts := strings.Split(s, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" || parts[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return h, errHash
	}
	if n, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &h.memory, &h.passes, &h.lanes); err != nil || n != 3 {
		return h, errHash
	}
	b64 := base64.RawStdEncoding
	if h.salt, err = b64.DecodeString(parts[4]); err != nil {
		return h, errHash
	}
	if h.sum, err = b64.DecodeString(parts[5]); err != nil {
		return h, errHash
	}
	// Bounds, as a hash could ask for all of the machine's memory.
	if h.memory < 8<<10 || h.memory > 1<<20 || h.passes < 1 || h.passes > 10 || h.lanes < 1 || h.lanes > 16 ||
		len(h.salt) < 8 || len(h.salt) > 64 || len(h.sum) < 16 || len(h.sum) > 64 {
		return h, errHash
	}
	return h, nil
}

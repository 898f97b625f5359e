package broker

import (
	"errors"
	"time"
)

var (
	// ErrTooLarge is returned by [Broker.PublishFile] when the compressed file
	// is larger than the broker's maximum payload.
	ErrTooLarge = errors.New("file is larger than the broker takes in one message")

	// ErrNoFile is returned by [Broker.File] and [Broker.FileOf] when the archive
	// does not hold the file's content: it never did, its time there is over, or a
	// power loss took it.
	ErrNoFile = errors.New("file is not in the broker's archive")

	// ErrInUse is returned by [Open] when another process runs the embedded
	// broker on the same folder.
	ErrInUse = errors.New("data folder is in use by another canter process")

	// ErrMessage wraps what is wrong with a file message that can't be read.
	ErrMessage = errors.New("file message can't be read")
)

// After marks err as one that is worth a retry no sooner than d from now.
func After(d time.Duration, err error) error { return after{err, d} }

type after struct {
	err error
	d   time.Duration
}

func (a after) Error() string { return a.err.Error() }
func (a after) Unwrap() error { return a.err }

// Hold asks for the same delivery again after d, as part of the plan: nothing
// went wrong. Whoever holds a delivery tells the second coming by
// [Delivery.Tries].
func Hold(d time.Duration) error { return held{d} }

type held struct{ d time.Duration }

func (h held) Error() string { return "held back for " + h.d.String() }

// permanent marks an error that no retry mends.
type permanent struct{ err error }

func (p permanent) Error() string { return p.err.Error() }
func (p permanent) Unwrap() error { return p.err }

// Permanent marks err as one that no retry mends: the delivery is ended, not
// given back. Handlers use it only after the reason is on record.
func Permanent(err error) error { return permanent{err} }

// IsPermanent reports whether err was marked by [Permanent].
func IsPermanent(err error) bool {
	var p permanent
	return errors.As(err, &p)
}

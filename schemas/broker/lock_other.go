//go:build !unix

package broker

import (
	"errors"
	"os"
	"path/filepath"
)

// lockDir takes the data folder for this process by a file that only one can
// make. A process that was killed leaves it behind; it must then be removed
// by hand, which the error says.
func lockDir(dir string) (unlock func(), err error) {
	name := filepath.Join(dir, "lock")
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if errors.Is(err, os.ErrExist) {
		return nil, ErrInUse
	}
	if err != nil {
		return nil, err
	}
	return func() { _ = f.Close(); _ = os.Remove(name) }, nil
}

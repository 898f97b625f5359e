//go:build unix

package broker

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
)

// lockDir takes the data folder for this process. The kernel gives the lock
// back when the process ends, however it ends.
func lockDir(dir string) (unlock func(), err error) {
	f, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		_ = f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, ErrInUse
		}
		return nil, err
	}
	return func() { _ = f.Close() }, nil
}

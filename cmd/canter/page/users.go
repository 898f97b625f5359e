package page

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"time"
	"unicode"
)

// Rights are what a user may do.
type Rights string

// Rights of users.
const (
	MayLook    Rights = "look"
	MayCorrect Rights = "correct"
)

// UserLine returns the line of the file of users for somebody. Errors are
// [ErrPassword] and names or rights that are none.
func UserLine(name string, may Rights, password string) (string, error) {
	if err := checkUser(name, may); err != nil {
		return "", err
	}
	hash, err := HashPassword(password)
	if err != nil {
		return "", err
	}
	return name + ":" + string(may) + ":" + hash, nil
}

func checkUser(name string, may Rights) error {
	if name == "" || len(name) > 60 || name != strings.TrimSpace(name) || strings.ContainsFunc(name, func(r rune) bool { return r == ':' || r == '#' || !unicode.IsPrint(r) }) {
		return fmt.Errorf("%q can't be a user's name: 1 to 60 characters without : and #", name)
	}
	if may != MayLook && may != MayCorrect {
		return fmt.Errorf("%q is no right: write %s or %s", may, MayLook, MayCorrect)
	}
	return nil
}

// user may sign in.
type user struct {
	name string
	may  Rights
	hash hashed
}

// users is the file of users, read anew when it has changed.
type users struct {
	file string

	mu    sync.Mutex
	stamp stamp
	list  map[string]user
}

type stamp struct {
	size     int64
	modified time.Time
}

const maxUsersFile = 256 << 10

// load returns the users by name.
func (u *users) load() (map[string]user, error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	info, err := os.Stat(u.file)
	if err != nil {
		return nil, fmt.Errorf("page.users_file: %w", err)
	}
	now := stamp{info.Size(), info.ModTime()}
	if u.list != nil && now == u.stamp {
		return u.list, nil
	}
	switch {
	case !info.Mode().IsRegular() || info.Size() > maxUsersFile:
		return nil, fmt.Errorf("page.users_file: %s is no short regular file", u.file)
	case info.Mode().Perm()&0o007 != 0:
		return nil, fmt.Errorf("page.users_file: everybody on this machine can read or change %s: chmod o= %s", u.file, u.file)
	}
	content, err := os.ReadFile(u.file)
	if err != nil {
		return nil, fmt.Errorf("page.users_file: %w", err)
	}
	list, err := parseUsers(content)
	if err != nil {
		return nil, fmt.Errorf("page.users_file: %s: %w", u.file, err)
	}
	u.list, u.stamp = list, now
	return list, nil
}

// parseUsers reads a line a user, name:rights:hash; empty lines and those that
// begin with # say nothing. No error repeats a hash.
func parseUsers(content []byte) (map[string]user, error) {
	list := map[string]user{}
	n := 0
	for line := range bytes.Lines(content) {
		n++
		text := strings.TrimSpace(string(line))
		if text == "" || text[0] == '#' {
			continue
		}
		parts := strings.SplitN(text, ":", 3)
		if len(parts) != 3 {
			return nil, fmt.Errorf("line %d is not name:rights:hash, as canter page password makes it", n)
		}
		u := user{name: parts[0], may: Rights(parts[1])}
		if err := checkUser(u.name, u.may); err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		var err error
		if u.hash, err = parseHash(parts[2]); err != nil {
			return nil, fmt.Errorf("line %d: the third part %w", n, err)
		}
		if _, twice := list[u.name]; twice {
			return nil, fmt.Errorf("line %d: %s is there already", n, u.name)
		}
		list[u.name] = u
	}
	if len(list) == 0 {
		return nil, errors.New("nobody is in it: add a line made by canter page password")
	}
	return list, nil
}

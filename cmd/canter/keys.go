package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/nats-io/nkeys"
)

type keysCmd struct {
	Dir string `arg:"" help:"Folder to write to; made if need be." type:"path"`
	telling
}

// Help is shown below the options.
func (keysCmd) Help() string {
	return `Makes a NATS key pair for each role and for staff's commands: ROLE.nk holds the
secret seed that a role signs with (--nats-key), keys.conf the public keys that
deploy/nats-roles.conf includes on the server. Seeds that are there are kept, so
keys.conf can be made again.

As JSON a line each: role, public_key, seed_file.

Example:
  canter keys /etc/canter/keys`
}

// keyHolders are those who get a key, and the name that nats-roles.conf has
// for it.
var keyHolders = []string{string(roleIngest), string(roleScorer), string(roleAlerts), string(rolePage), staffRole}

// Run writes seeds and public keys.
func (c *keysCmd) Run(std streams) error {
	if err := os.MkdirAll(c.Dir, 0o700); err != nil {
		return err
	}
	var conf strings.Builder
	var made []keyMade
	for _, who := range keyHolders {
		public, err := c.key(who)
		if err != nil {
			return err
		}
		made = append(made, keyMade{who, public, c.seedFile(who)})
		_, _ = fmt.Fprintf(&conf, "%s_KEY: %s\n", strings.ToUpper(who), public)
	}
	name := filepath.Join(c.Dir, "keys.conf")
	if err := os.WriteFile(name, []byte(conf.String()), 0o644); err != nil { //nolint:gosec // public keys, for the server's user
		return err
	}
	if c.json() {
		return jsonLines(std.out, made...)
	}
	_, err := fmt.Fprintf(std.out, "%s: public keys, for the server\n%s: seeds, each for its role alone\n", name, filepath.Join(c.Dir, "*.nk"))
	return err
}

// keyMade is the JSON form of a key pair; the seed itself is in its file alone.
type keyMade struct {
	Role      string `json:"role"`
	PublicKey string `json:"public_key"`
	SeedFile  string `json:"seed_file"`
}

func (c *keysCmd) seedFile(who string) string { return filepath.Join(c.Dir, who+".nk") }

// key returns the public key of a seed file, making the seed if need be.
func (c *keysCmd) key(who string) (string, error) {
	name := c.seedFile(who)
	seed, err := os.ReadFile(name) //nolint:gosec // the user names the folder
	switch {
	case err == nil:
		pair, err := nkeys.ParseDecoratedUserNKey(seed)
		if err != nil {
			return "", fmt.Errorf("%s: %w: it holds no seed of a NATS user; remove it to have one made", name, err)
		}
		return pair.PublicKey()
	case !errors.Is(err, os.ErrNotExist):
		return "", err
	}
	pair, err := nkeys.CreateUser()
	if err != nil {
		return "", err
	}
	if seed, err = pair.Seed(); err != nil {
		return "", err
	}
	if err := os.WriteFile(name, append(seed, '\n'), 0o600); err != nil {
		return "", err
	}
	return pair.PublicKey()
}

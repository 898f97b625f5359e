package main

import (
	"strings"
	"testing"

	"canter.example/cmd/canter/season"
)

// TestSecretsAreNotSaid: an address that is wrong is shown without its user and
// password.
func TestSecretsAreNotSaid(t *testing.T) {
	_, clubFile := clubDir(t, someSeason(t))
	const secret = "Sw0rdfish"
	for _, c := range []struct{ nats, history string }{
		{"nats://" + secret + "@127.0.0.1:1", "clickhouse://u:" + secret + "@127.0.0.1:1/d"},
		{"nats://u:" + secret + "@127.0.0.1:1", "clickhouse://u:" + secret + "%zz@127.0.0.1:1/d"},
		{"tls://u:" + secret + "@127.0.0.1:1", "postgres://u:" + secret + "@127.0.0.1:1/d"},
		{"nats://u:" + secret + "@no such host", "clickhouse://u:" + secret + "@:x:y"},
	} {
		for _, args := range [][]string{
			{"check", "--club", clubFile, "--nats", c.nats, "--history", c.history},
			{"serve", "--club", clubFile, "--http", "off", "--nats", c.nats, "--history", c.history},
			{"tests", "list", "--history", c.history},
			{"prepare", "--club", clubFile, "--nats", c.nats, "--history", c.history},
		} {
			code, out, complaint := typed(t, args...)
			if code == 0 {
				t.Errorf("%v: exit 0", args)
			}
			if strings.Contains(out+complaint, secret) {
				t.Errorf("%v says the secret:\n%s%s", args[0], out, complaint)
			}
		}
	}
}

func someSeason(t *testing.T) *season.Season {
	t.Helper()
	s, err := season.New(season.Options{Weeks: 1})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/nats-io/nats-server/v2/server"
)

// TestDeploymentFilesSayWhatTheProgramsUnderstand: the broker's configuration
// is read by the broker, commands by the program's own parser.
func TestDeploymentFilesSayWhatTheProgramsUnderstand(t *testing.T) {
	deploy := filepath.Join("..", "..", "deploy")
	t.Run("nats.conf", func(t *testing.T) {
		t.Setenv("CANTER_NATS_TOKEN", "secret")
		o, err := server.ProcessConfigFile(filepath.Join(deploy, "nats.conf"))
		if err != nil {
			t.Fatal(err)
		}
		if o.MaxPayload != 8<<20 || !o.JetStream || o.Authorization != "secret" {
			t.Errorf("max_payload %d, jetstream %v, token %q", o.MaxPayload, o.JetStream, o.Authorization)
		}
	})
	t.Run("compose.yaml", func(t *testing.T) {
		content, err := os.ReadFile(filepath.Join(deploy, "compose.yaml"))
		if err != nil {
			t.Fatal(err)
		}
		var file struct {
			Services map[string]struct {
				Command     []string          `yaml:"command"`
				Image       string            `yaml:"image"`
				Environment map[string]string `yaml:"environment"`
			} `yaml:"services"`
		}
		if err := yaml.Unmarshal(content, &file); err != nil {
			t.Fatal(err)
		}
		roles := map[role]bool{}
		for name, s := range file.Services {
			if s.Image != "canter" {
				continue
			}
			if s.Environment["CANTER_NATS"] == "" || s.Environment["CANTER_HISTORY"] == "" {
				t.Errorf("%s: no broker or history in its environment", name)
			}
			got, err := parseRoles(s.Command[2])
			if err != nil || s.Command[0] != "serve" || s.Command[1] != "--roles" {
				t.Errorf("%s: command %v: %v", name, s.Command, err)
			}
			for r := range got {
				roles[r] = true
			}
		}
		if len(roles) != 3 {
			t.Errorf("the services run the roles %v, want all three", roles)
		}
	})
	t.Run("canter.service", func(t *testing.T) {
		content, err := os.ReadFile(filepath.Join(deploy, "canter.service"))
		if err != nil {
			t.Fatal(err)
		}
		_, command, found := strings.Cut(string(content), "ExecStart=/usr/local/bin/canter ")
		if !found {
			t.Fatal("no ExecStart")
		}
		command, _, _ = strings.Cut(command, "\n")
		var out, log lockedBuffer
		// The paths are the installed machine's: the parser must take them, and
		// the command then miss its club file.
		if code := run(t.Context(), strings.Fields(command), streams{out: &out, err: &log}); code != exitFailed || !strings.Contains(log.String(), "/etc/canter/club.yaml") {
			t.Errorf("exit %d: %s", code, log.String())
		}
	})
}

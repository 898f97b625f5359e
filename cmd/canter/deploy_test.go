package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/nats-io/nats-server/v2/server"
)

// deployed is a file of deploy/.
func deployed(name string) string { return filepath.Join("..", "..", "deploy", name) }

// TestTheBrokerReadsItsConfiguration, by the broker's own reader.
func TestTheBrokerReadsItsConfiguration(t *testing.T) {
	t.Setenv("CANTER_NATS_TOKEN", "secret")
	o, err := server.ProcessConfigFile(deployed("nats.conf"))
	if err != nil {
		t.Fatal(err)
	}
	if o.MaxPayload != 8<<20 || !o.JetStream || o.Authorization != "secret" {
		t.Errorf("max_payload %d, jetstream %v, token %q", o.MaxPayload, o.JetStream, o.Authorization)
	}
}

// TestComposeRunsEveryRole, by commands that the program's own parser takes.
func TestComposeRunsEveryRole(t *testing.T) {
	content, err := os.ReadFile(deployed("compose.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Services map[string]struct {
			Command     []string          `yaml:"command"`
			Image       string            `yaml:"image"`
			Environment map[string]string `yaml:"environment"`
			Health      *struct {
				Test []string `yaml:"test"`
			} `yaml:"healthcheck"`
			Memory string `yaml:"mem_limit"`
		} `yaml:"services"`
	}
	if err := yaml.Unmarshal(content, &file); err != nil {
		t.Fatal(err)
	}
	roles := map[role]bool{}
	for name, s := range file.Services {
		if s.Health == nil || s.Memory == "" {
			t.Errorf("%s: no health check, or no limit on memory", name)
		}
		if s.Image != "canter" {
			continue
		}
		if s.Environment["CANTER_NATS"] == "" || s.Environment["CANTER_HISTORY"] == "" {
			t.Errorf("%s: no broker or history in its environment", name)
		}
		if h := s.Health.Test; len(h) != 3 || h[1] != "/canter" {
			t.Errorf("%s: health check %v", name, h)
		} else {
			notRunning(t, h[2:])
		}
		got, err := parseRoles(s.Command[2])
		if err != nil || s.Command[0] != "serve" || s.Command[1] != "--roles" {
			t.Errorf("%s: command %v: %v", name, s.Command, err)
		}
		for r := range got {
			roles[r] = true
		}
	}
	if len(roles) != 4 {
		t.Errorf("the services run the roles %v, want all four", roles)
	}
}

// TestKubernetesRunsEveryRole, in the same way.
func TestKubernetesRunsEveryRole(t *testing.T) {
	content, err := os.ReadFile(deployed("kubernetes.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for doc := range strings.SplitSeq(string(content), "\n---\n") {
		if !strings.Contains(doc, "kind: Deployment") {
			continue
		}
		n++
		t.Setenv("CANTER_NATS", "tls://127.0.0.1:1")
		missesItsClub(t, kubernetesArgs(t, doc), "/club/club.yaml")
	}
	if n != 4 {
		t.Errorf("%d deployments, want one a role", n)
	}
}

// TestUnitsRunTheProgram, in the same way.
func TestUnitsRunTheProgram(t *testing.T) {
	for _, unit := range []string{"canter.service", "canter@.service"} {
		t.Run(unit, func(t *testing.T) {
			content, err := os.ReadFile(deployed(unit))
			if err != nil {
				t.Fatal(err)
			}
			_, command, found := strings.Cut(string(content), "ExecStart=/usr/local/bin/canter ")
			if !found {
				t.Fatal("no ExecStart")
			}
			command, _, _ = strings.Cut(command, "\n")
			t.Setenv("CANTER_NATS", "tls://127.0.0.1:1") // of the unit's environment file
			missesItsClub(t, strings.Fields(strings.ReplaceAll(command, "%i", "scorer")), "/etc/canter/club.yaml")
		})
	}
}

// missesItsClub: the paths are the installed machine's, so the parser must take
// the command and the command then miss its club file.
func missesItsClub(t *testing.T, args []string, club string) {
	t.Helper()
	if code, _, complaint := typed(t, args...); code != exitFailed || !strings.Contains(complaint, club) {
		t.Errorf("%v: exit %d: %s", args, code, complaint)
	}
}

// notRunning: the command is understood, and finds no service.
func notRunning(t *testing.T, args []string) {
	t.Helper()
	t.Setenv("CANTER_HTTP", "127.0.0.1:1")
	if code, _, complaint := typed(t, args...); code != exitFailed || !strings.Contains(complaint, "nobody answers") {
		t.Errorf("%v: exit %d: %s", args, code, complaint)
	}
}

func kubernetesArgs(t *testing.T, doc string) []string {
	t.Helper()
	var d struct {
		Spec struct {
			Template struct {
				Spec struct {
					Containers []struct {
						Args      []string `yaml:"args"`
						Readiness any      `yaml:"readinessProbe"`
						Resources struct {
							Limits map[string]string `yaml:"limits"`
						} `yaml:"resources"`
					} `yaml:"containers"`
				} `yaml:"spec"`
			} `yaml:"template"`
		} `yaml:"spec"`
	}
	if err := yaml.Unmarshal([]byte(doc), &d); err != nil {
		t.Fatal(err)
	}
	c := d.Spec.Template.Spec.Containers
	if len(c) != 1 || c[0].Readiness == nil || c[0].Resources.Limits["memory"] == "" {
		t.Fatalf("want one container with a readiness probe and a limit on memory:\n%s", doc)
	}
	return c[0].Args
}

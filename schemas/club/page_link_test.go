package club_test

import (
	"testing"

	"canter.example/schemas/club"
)

func TestWhereASessionIsOnThePage(t *testing.T) {
	const session = "first/run 12/2026-09-01"
	for want, p := range map[string]club.Page{
		"": {Listen: "127.0.0.1:7466"},
		"https://canter.club.example/session?id=first%2Frun+12%2F2026-09-01":      {Listen: "0.0.0.0:7466", Hosts: []string{"canter.club.example"}, BehindProxy: true},
		"https://canter.club.example:7466/session?id=first%2Frun+12%2F2026-09-01": {Listen: "0.0.0.0:7466", Hosts: []string{"canter.club.example"}, CertFile: "x"},
		"http://canter.club.example:7466/session?id=first%2Frun+12%2F2026-09-01":  {Listen: ":7466", Hosts: []string{"canter.club.example"}},
	} {
		if got := p.SessionURL(session); got != want {
			t.Errorf("%+v: %q, want %q", p, got, want)
		}
	}
}

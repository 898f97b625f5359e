package judge

// Form is one of the tests that are run, and how the program is told of it.
type Form struct {
	ID     string
	Load   []Piece
	Peak   bool // HRex is the highest mean of Window, else the last
	Window int  // seconds
	Args   []string
	Within string // of a planned time
}

// Piece is one part of a form's load.
type Piece struct {
	Seconds       int
	Effort, Speed float64 // Speed in m/s
}

// Seconds returns the length of the form.
func (f *Form) Seconds() int {
	n := 0
	for _, s := range f.Load {
		n += s.Seconds
	}
	return n
}

// speedAt returns the speed in m/s of an effort: walking pace and below at 0.2.
func (f *Form) speedAt(effort float64) float64 {
	if effort < 0.05 {
		return 0
	}
	return 1 + effort*(f.Load[len(f.Load)-1].Speed-1)
}

// kmh makes m/s of km/h.
func kmh(v float64) float64 { return v / 3.6 }

// forms are drawn by weight.
var forms = []struct {
	weight float64
	Form
}{
	{0.42, Form{ID: "run4", Load: []Piece{{240, 1, kmh(12)}}, Window: 60,
		Args: []string{"--duration", "4m", "--hrex", "final-mean:60s"}, Within: "10m"}},
	{0.12, Form{ID: "run3", Load: []Piece{{180, 1, kmh(13)}}, Window: 30,
		Args: []string{"--duration", "3m", "--hrex", "final-mean:30s"}, Within: "5m"}},
	{0.12, Form{ID: "run5", Load: []Piece{{300, 1, kmh(12)}}, Window: 60, Peak: true,
		Args: []string{"--duration", "5m", "--hrex", "peak-mean:60s"}, Within: "10m"}},
	{0.12, Form{ID: "run6", Load: []Piece{{360, 1, kmh(11)}}, Window: 60,
		Args: []string{"--duration", "6m", "--hrex", "final-mean:60s"}, Within: "5m"}},
	{0.11, Form{ID: "steps", Load: []Piece{{120, 0.58, kmh(9)}, {120, 0.8, kmh(11)}, {120, 1, kmh(13)}}, Window: 30,
		Args: []string{"--protocol", "steps"}, Within: "10m"}},
	{0.11, Form{ID: "shuttle", Load: bouts(12), Window: 60, Peak: true,
		Args: []string{"--protocol", "shuttle"}, Within: "10m"}},
}

// bouts are n runs of 15 s with 15 s of standing between them, and none after the last.
func bouts(n int) []Piece {
	var out []Piece
	for i := range n {
		if i > 0 {
			out = append(out, Piece{15, 0.25, 0.2})
		}
		out = append(out, Piece{15, 1.45, kmh(16)})
	}
	return out
}

// clubFile names the forms that options alone can't.
const clubFile = `club: Fernlow Harriers
time_zone: Etc/UTC
athletes:
  - {id: h1, name: Orla Quenby, squad: first}
squads:
  - {id: first, name: First, channel: "#first", folders: [in], protocols: [steps, shuttle]}
protocols:
  - id: steps
    name: Three steps
    regimen: continuous
    progression: incremental
    stages:
      - {duration: 2m, speed_kmh: 9}
      - {duration: 2m, speed_kmh: 11}
      - {duration: 2m, speed_kmh: 13}
    hrex: final-mean:30s
    recovery: [60s]
  - id: shuttle
    name: Shuttles
    regimen: intermittent
    progression: fixed
    stages:
      - repeat: 11
        bouts: [{duration: 15s, speed_kmh: 16}, {duration: 15s, rest: true}]
      - {duration: 15s, speed_kmh: 16}
    hrex: peak-mean:60s
    recovery: [60s]
`

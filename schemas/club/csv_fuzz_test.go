package club

import "testing"

// FuzzAthletesCSV holds the CSV reader to rows or problems, each with its place.
func FuzzAthletesCSV(f *testing.F) {
	f.Add([]byte("id,name,squad\nq01,Bryn Castellaw,first\n"))
	f.Add([]byte("\ufeffid;name;from\r\nq01;\"Castellaw; B\";01.07.2025\r\n"))
	f.Add([]byte("\xff\xfei\x00d\x00\n\x00q\x00"))
	f.Add([]byte("id\tname\nq01\t\"open\n"))
	f.Fuzz(func(t *testing.T, content []byte) {
		tab := &table{file: "athletes.csv"}
		tab.read(content)
		for _, p := range tab.problems {
			if p.Text == "" || p.Hint == "" || p.Line < 1 || p.Column < 1 {
				t.Fatalf("%#v", p)
			}
		}
		for _, r := range tab.rows {
			if p := r.places[r.at]; p.line < 2 {
				t.Fatalf("a row on line %d", p.line)
			}
			_, faults := theGrammar().validate(theGrammar().athlete, r.tree, r.at)
			for _, fault := range faults {
				if fault.text == "" {
					t.Fatalf("%#v", fault)
				}
			}
		}
	})
}

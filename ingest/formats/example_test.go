package formats_test

import (
	"fmt"
	"time"

	"canter.example/ingest/formats"
)

func ExampleDecode() {
	content := "Zeit;Ada (bpm);Bo (bpm)\n10:00:00;120;131\n10:00:01;121;132\n"
	traces, format, err := formats.Decode("warm-up.csv", []byte(content), formats.Options{
		Zone: time.FixedZone("club", 2*3600),
		Date: time.Date(2025, 9, 2, 0, 0, 0, 0, time.UTC),
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, t := range traces {
		fmt.Println(format, t.Label, t.Start.Format(time.RFC3339), t.Samples[1].At, t.Samples[1].HR)
	}
	// Output:
	// csv Ada 2025-09-02T08:00:00Z 1s 121
	// csv Bo 2025-09-02T08:00:00Z 1s 132
}

func ExampleDecode_refused() {
	_, _, err := formats.Decode("ada.csv", []byte("time,hr\n2025-09-02T08:00:00Z,fast\n"), formats.Options{})
	fmt.Println(err)
	// Output:
	// ada.csv: line 2, column 2: 'fast' in the column 'hr' is no heart rate. Put a number in beats a minute there, or leave the cell empty
}

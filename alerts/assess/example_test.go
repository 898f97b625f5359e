package assess_test

import (
	"fmt"

	"canter.example/alerts/assess"
	"canter.example/schemas"
)

// An athlete whose HRex was about 80 % of HRmax runs the same test at 85 %.
func ExampleTest() {
	earlier := weeks(158, 160, 162, 160) // bpm, HRmax 200
	a := assess.Test(test(4, "a", 170), earlier, assess.Context{}, settings)

	c := a.Comparison(schemas.MeasureHRex, 0)
	fmt.Printf("%s %s, %s from the mean of %d tests: %s\n", c.Value.Text(1), c.Unit, c.Change.Signed(1), c.N, c.State)
	fmt.Printf("z %s with an SD of %s (own %s); %s to %s expected\n",
		c.Z.Signed(1), c.SDUsed.Text(2), c.SD.Text(2), c.PredLow.Text(1), c.PredHigh.Text(1))
	// Output:
	// 85.0 % points of HRmax, +5.0 from the mean of 4 tests: higher
	// z +4.7 with an SD of 1.05 (own 0.82); 77.2 to 82.8 expected
}

// Two athletes' levels and three sessions, the last of them hot.
func ExampleMedianPolish() {
	p, err := assess.MedianPolish([][]float64{
		{80, 81, 84},
		{75, 76, 79},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("sessions:", p.Columns)
	// Output:
	// sessions: [-1 0 3]
}

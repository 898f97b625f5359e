package trial

import (
	"fmt"
	"os"
	"strconv"
	"testing"
)

func TestTable(t *testing.T) {
	n := 900
	if v, err := strconv.Atoi(os.Getenv("TRIALS")); err == nil {
		n = v
	}
	tab := Run(n, 1)
	fmt.Println(tab.Text())
	if os.Getenv("WORST") != "" {
		for i := range tab.Rows {
			for _, w := range tab.Rows[i].Worst {
				fmt.Println(w)
			}
		}
	}
}

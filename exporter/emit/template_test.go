package emit

import "testing"

// Every name of ours gets that of the job, also behind the compiler option that defines it; guarded
// text and parts of other words stay.
func TestRename(t *testing.T) {
	for text, want := range map[string]string{
		"net_step, NET_N_UNITS, \"net.h\"":   "leakair_step, LEAKAIR_N_UNITS, \"leakair.h\"",
		"compile net.c with -DNET_BOARD_DWT": "compile leakair.c with -DLEAKAIR_BOARD_DWT",
		"planet_x, ne" + guard + "t_x":       "planet_x, net_x",
	} {
		if got := rename(text, "leakair"); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

package dataset

import (
	"strings"
	"testing"
)

// A panic in a worker reaches the caller, with the place where it happened.
func TestPanicOfAWorkerReachesTheCaller(t *testing.T) {
	defer func() {
		text, _ := recover().(string)
		if !strings.HasPrefix(text, "no good") || !strings.Contains(text, "brokenWork") {
			t.Errorf("recovered %q", text)
		}
	}()
	InParallel(100, brokenWork)
}

func brokenWork(int) { panic("no good") }

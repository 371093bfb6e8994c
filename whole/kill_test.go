package whole

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
	"time"
)

// writerVariable names the folder that the test binary, run again, writes to without end.
const writerVariable = "KERF_TEST_WRITES_TO"

func TestMain(m *testing.M) {
	if dir := os.Getenv(writerVariable); dir != "" {
		for i := 0; ; i++ {
			if err := Folder(dir, content(fmt.Sprintf("writer%d-%d", os.Getpid(), i)),
				anything); err != nil {
				fmt.Println(err)
				os.Exit(1)
			}
		}
	}
	os.Exit(m.Run())
}

// A program that does nothing but replace a folder is killed 200 times, at any moment: the folder
// is whole each time.
func TestKilledWriters(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("elsewhere two renames leave a moment without a folder, see TestRepair")
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "out")
	if err := Folder(dir, content("first"), anything); err != nil {
		t.Fatal(err)
	}
	seed := uint64(time.Now().UnixNano())
	random := rand.New(rand.NewPCG(seed, 0))
	words := map[string]bool{}
	for i := range 200 {
		writer := exec.Command(self)
		writer.Env = append(os.Environ(), writerVariable+"="+dir)
		if err := writer.Start(); err != nil {
			t.Fatal(err)
		}
		if i%4 != 0 { // else the writer may not even have begun
			waitForWrite(dir)
		}
		time.Sleep(time.Duration(random.Int64N(int64(20 * time.Millisecond))))
		writer.Process.Kill()
		writer.Wait()
		if code := writer.ProcessState.ExitCode(); code >= 0 {
			t.Fatalf("seed %d, kill %d: the writer ended by itself with %d", seed, i, code)
		}
		word, err := wordIn(dir)
		if err != nil {
			t.Fatalf("seed %d, kill %d: %v", seed, i, err)
		}
		words[word] = true
	}
	if len(words) < 2 {
		t.Error("nothing was ever written")
	}
	t.Logf("200 kills: the folder was whole after each; %d different writes were seen", len(words))
	if err := Folder(dir, content("last"), anything); err != nil {
		t.Fatal(err)
	}
	if got := names(t, filepath.Dir(dir)); got != "out" {
		t.Errorf("beside the folder stands %s", got)
	}
}

// waitForWrite waits until the folder has been replaced, five seconds at most.
func waitForWrite(dir string) {
	before, _ := os.Stat(dir)
	for began := time.Now(); time.Since(began) < 5*time.Second; time.Sleep(time.Millisecond) {
		if now, err := os.Stat(dir); err == nil && !os.SameFile(before, now) {
			return
		}
	}
}

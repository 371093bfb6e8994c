// Command release builds kerf for every platform, twice and in different places, and refuses a
// result whose bytes differ. Beside each binary it writes a bill of materials (SPDX 2.3), and for
// all of them the licence texts of the linked modules and SHA256SUMS.
//
//	go run ./.ci/release -out release
//
// Files, in the order in which to read them: main.go (builds and writes), spdx.go (bills of
// materials), licences.go. The command builds a commit, never a working tree with changes, and its
// output follows from the commit alone.
package main

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
)

// platform is one operating system and processor, by their names in Go.
type platform struct{ os, arch string }

// platforms are those that a release has binaries for.
var platforms = []platform{
	{"linux", "amd64"}, {"linux", "arm64"}, {"darwin", "amd64"}, {"darwin", "arm64"},
	{"windows", "amd64"}, {"windows", "arm64"},
}

func main() {
	out := flag.String("out", "release", "folder for the files; it must not exist")
	flag.Parse()
	if err := release(*out); err != nil {
		fmt.Fprintln(os.Stderr, "release:", err)
		os.Exit(1)
	}
}

// release builds everything and writes it to the folder out, which must not exist.
func release(out string) error {
	if _, err := os.Stat(out); err == nil {
		return fmt.Errorf("%s is there already: move it away, or give another folder with -out",
			out)
	}
	if changed, err := git("status", "--porcelain"); err != nil || changed != "" {
		return errors.Join(err, fmt.Errorf("the working tree has changes, so that its commit "+
			"does not say what is built:\n%s", changed))
	}
	work, err := os.MkdirTemp("", "kerf-release-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	// Two clones in folders with names of different lengths, the second without anything from the
	// build cache.
	places := []builder{{dir: filepath.Join(work, "first")},
		{dir: filepath.Join(work, "the-second-one"), cache: filepath.Join(work, "cache")}}
	root, err := git("rev-parse", "--show-toplevel")
	if err != nil {
		return err
	}
	for _, b := range places {
		if _, err := git("clone", "--quiet", "--no-hardlinks", root, b.dir); err != nil {
			return err
		}
	}
	version, err := versionOf(places[0].dir)
	if err != nil {
		return err
	}
	files := map[string][]byte{}
	var linked modules
	for _, p := range platforms {
		name := fmt.Sprintf("kerf_%s_%s_%s", version, p.os, p.arch)
		if p.os == "windows" {
			name += ".exe"
		}
		var built [2][]byte
		for i, b := range places {
			if built[i], err = b.build(p, filepath.Join(work, name)); err != nil {
				return err
			}
		}
		if !bytes.Equal(built[0], built[1]) {
			return fmt.Errorf("%s: two builds of the same commit differ", name)
		}
		fmt.Printf("%s: two builds are byte-identical, %.1f MiB\n", name,
			float64(len(built[0]))/(1<<20))
		bill, used, err := billOfMaterials(filepath.Join(work, name), name, version)
		if err != nil {
			return err
		}
		linked.add(used)
		files[name], files[strings.TrimSuffix(name, ".exe")+".spdx.json"] = built[0], bill
	}
	if files["third-party-licences.txt"], err = linked.licences(); err != nil {
		return err
	}
	if files["LICENSE"], err = os.ReadFile(filepath.Join(places[0].dir, "LICENSE")); err != nil {
		return err
	}
	return write(out, files)
}

// builder is a clone of the repository to build in.
type builder struct {
	dir   string
	cache string // folder of the build cache; empty: the user's
}

// build compiles the command into a file and returns its bytes.
func (b builder) build(p platform, file string) ([]byte, error) {
	cmd := exec.Command("go", "build", "-trimpath", "-buildvcs=true", "-ldflags=-s -w", "-o", file,
		"./cmd/kerf")
	cmd.Dir = b.dir
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS="+p.os, "GOARCH="+p.arch, "GOAMD64=v1",
		"GOARM64=v8.0", "GOFLAGS=", "GOWORK=off", "PWD="+b.dir)
	if b.cache != "" {
		cmd.Env = append(cmd.Env, "GOCACHE="+b.cache)
	}
	if text, err := cmd.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("go build for %s/%s: %w\n%s", p.os, p.arch, err, text)
	}
	return os.ReadFile(file)
}

// write writes all files into a new folder, with their SHA-256 in SHA256SUMS, in the form that
// sha256sum -c reads.
func write(out string, files map[string][]byte) error {
	var sums strings.Builder
	for _, name := range sortedNames(files) {
		fmt.Fprintf(&sums, "%x  %s\n", sha256.Sum256(files[name]), name)
	}
	files["SHA256SUMS"] = []byte(sums.String())
	fresh := out + ".new"
	if err := os.MkdirAll(fresh, 0o755); err != nil {
		return err
	}
	defer os.RemoveAll(fresh)
	for name, content := range files {
		mode := os.FileMode(0o644)
		if strings.HasPrefix(name, "kerf_") && !strings.HasSuffix(name, ".json") {
			mode = 0o755
		}
		if err := os.WriteFile(filepath.Join(fresh, name), content, mode); err != nil {
			return err
		}
	}
	return os.Rename(fresh, out)
}

// versionLine matches the line of cmd/kerf/run.go that has the version.
var versionLine = regexp.MustCompile(`(?m)^const version = "([^"]+)"$`)

// versionOf returns the version in the source of a clone.
func versionOf(dir string) (string, error) {
	text, err := os.ReadFile(filepath.Join(dir, "cmd", "kerf", "run.go"))
	if err != nil {
		return "", err
	}
	found := versionLine.FindSubmatch(text)
	if found == nil {
		return "", errors.New("cmd/kerf/run.go does not say the version")
	}
	return string(found[1]), nil
}

// git runs git and returns its output without blanks around it.
func git(args ...string) (string, error) {
	text, err := exec.Command("git", args...).Output()
	if err != nil {
		return "", fmt.Errorf("git %s: %w", strings.Join(args, " "), err)
	}
	return strings.TrimSpace(string(text)), nil
}

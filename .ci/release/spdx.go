package main

import (
	"crypto/sha256"
	"debug/buildinfo"
	"encoding/json"
	"fmt"
	"os"
	"regexp"
	"runtime/debug"
	"strings"
	"time"
)

// The parts of an SPDX 2.3 document that a list of Go modules needs
// (spdx.github.io/spdx-spec/v2.3).
type (
	document struct {
		Version       string         `json:"spdxVersion"`
		DataLicence   string         `json:"dataLicense"`
		ID            string         `json:"SPDXID"`
		Name          string         `json:"name"`
		Namespace     string         `json:"documentNamespace"`
		Creation      creation       `json:"creationInfo"`
		Packages      []spdxPackage  `json:"packages"`
		Relationships []relationship `json:"relationships"`
	}
	creation struct {
		Created  string   `json:"created"`
		Creators []string `json:"creators"`
	}
	spdxPackage struct {
		Name      string      `json:"name"`
		ID        string      `json:"SPDXID"`
		Version   string      `json:"versionInfo"`
		File      string      `json:"packageFileName,omitempty"`
		Download  string      `json:"downloadLocation"`
		Analysed  bool        `json:"filesAnalyzed"`
		Concluded string      `json:"licenseConcluded"`
		Declared  string      `json:"licenseDeclared"`
		Copyright string      `json:"copyrightText"`
		Checksums []checksum  `json:"checksums,omitempty"`
		Refs      []reference `json:"externalRefs,omitempty"`
		Purpose   string      `json:"primaryPackagePurpose"`
		Comment   string      `json:"comment,omitempty"`
	}
	checksum struct {
		Algorithm string `json:"algorithm"`
		Value     string `json:"checksumValue"`
	}
	reference struct {
		Category string `json:"referenceCategory"`
		Type     string `json:"referenceType"`
		Locator  string `json:"referenceLocator"`
	}
	relationship struct {
		From string `json:"spdxElementId"`
		Type string `json:"relationshipType"`
		To   string `json:"relatedSpdxElement"`
	}
)

// noAssertion is the value of SPDX for a field about which the document says nothing.
const noAssertion = "NOASSERTION"

// billOfMaterials lists the sources of a binary, as the binary itself names them: its modules with
// their versions and checksums, and the Go standard library. Its only time is that of the commit,
// so that the same commit gives the same bytes. name is the file's name in the release. The second
// result are the modules.
func billOfMaterials(file, name, version string) ([]byte, []*debug.Module, error) {
	info, err := buildinfo.ReadFile(file)
	if err != nil {
		return nil, nil, err
	}
	content, err := os.ReadFile(file)
	if err != nil {
		return nil, nil, err
	}
	text, err := render(info, name, version, fmt.Sprintf("%x", sha256.Sum256(content)))
	return text, info.Deps, err
}

// render returns the bill of materials of a binary as JSON; sum is the SHA-256 of the binary in
// hexadecimal digits.
func render(info *debug.BuildInfo, name, version, sum string) ([]byte, error) {
	commit, created := setting(info, "vcs.revision"), setting(info, "vcs.time")
	if _, err := time.Parse(time.RFC3339, created); commit == "" || err != nil {
		return nil, fmt.Errorf("%s does not say its commit and the time of it", name)
	}
	binary := spdxPackage{
		Name: "kerf", ID: "SPDXRef-kerf", Version: version, File: name, Download: noAssertion,
		Concluded: "Apache-2.0", Declared: "Apache-2.0", Copyright: noAssertion,
		Checksums: []checksum{{"SHA256", sum}}, Purpose: "APPLICATION",
		Comment: fmt.Sprintf("commit %s, %s/%s", commit, setting(info, "GOOS"),
			setting(info, "GOARCH")),
	}
	d := document{
		Version: "SPDX-2.3", DataLicence: "CC0-1.0", ID: "SPDXRef-DOCUMENT", Name: name,
		// The specification asks for a namespace that no other document has.
		Namespace:     "urn:kerf:" + version + ":" + commit + ":" + name,
		Creation:      creation{created, []string{"Tool: kerf-release-" + version}},
		Packages:      []spdxPackage{binary},
		Relationships: []relationship{{"SPDXRef-DOCUMENT", "DESCRIBES", binary.ID}},
	}
	add := func(p spdxPackage) {
		p.ID = "SPDXRef-" + spdxName.ReplaceAllString(p.Name+"-"+p.Version, "-")
		p.Analysed, p.Concluded, p.Copyright, p.Purpose = false, noAssertion, noAssertion, "LIBRARY"
		d.Packages = append(d.Packages, p)
		d.Relationships = append(d.Relationships, relationship{binary.ID, "STATIC_LINK", p.ID})
	}
	goVersion := strings.TrimPrefix(strings.Fields(info.GoVersion)[0], "go")
	add(spdxPackage{Name: "std", Version: goVersion, Download: "https://go.dev/dl/",
		Declared: "BSD-3-Clause",
		Refs:     []reference{{"PACKAGE-MANAGER", "purl", "pkg:golang/std@" + goVersion}},
		Comment:  "the Go standard library and run time"})
	for _, m := range info.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		licence, _, err := licenceOf(m)
		if err != nil {
			return nil, err
		}
		add(spdxPackage{
			Name: m.Path, Version: m.Version, Download: "https://proxy.golang.org/" +
				escaped(m.Path) + "/@v/" + m.Version + ".zip", Declared: licence,
			Refs: []reference{{"PACKAGE-MANAGER", "purl", "pkg:golang/" + m.Path + "@" +
				m.Version}}, Comment: "checksum in go.sum: " + m.Sum,
		})
	}
	text, err := json.MarshalIndent(d, "", "  ")
	return append(text, '\n'), err
}

// spdxName matches a character that an SPDX identifier may not have.
var spdxName = regexp.MustCompile(`[^A-Za-z0-9.-]`)

// setting returns the value of a build setting, empty if the binary has none.
func setting(info *debug.BuildInfo, key string) string {
	for _, s := range info.Settings {
		if s.Key == key {
			return s.Value
		}
	}
	return ""
}

package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"go/types"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"kerf/budget"
	"kerf/recovery"
)

// valueTypes are the Go types of values in a job, as docs/job.md names them.
var valueTypes = map[string]string{
	"cost.Form": "text",
	"string":    "text", "Checked": "text", "ModelVersion": "text", "Resource": "text",
	"bool":    "true or false",
	"int":     "whole number",
	"float64": "number", "Bound": `number or "off"`, "Share": `share such as "5 %", or "off"`,
	"Percent": `share such as "80 %"`, "[]string": "list of texts", "UnitList": "list of units",
	"Counts":   "number, or list of numbers",
	"FileList": "file, or list of files", "Bytes": `size such as "24 KiB"`,
	"Seconds": `time such as "1 ms" or "30 s"`, "Span": `time such as "180 d"`, "Hertz": `"64 MHz"`,
	"Amperes": `"4 mA"`, "Volts": `"3 V"`, "Joules": `"50 uJ"`, "Coulombs": `"230 mAh"`,
	"SettleRule": `"5 s" or "50 steps"`, "BaselineRule": `number, or time such as "2 s"`,
	"Reading": `value such as "250 bar"`, "map[string]float64": "number per profile",
}

// jobPage writes the keys of a job, from the comments of the structs that it is decoded into.
type jobPage struct {
	t       *testing.T
	structs map[string]*ast.StructType
	shown   map[string]string // the heading of every struct that has one
	b       strings.Builder
}

func newJobPage(t *testing.T) *jobPage {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "budget", "*.go"))
	if err != nil || len(files) < 30 {
		t.Fatalf("%d files in package budget, %v", len(files), err)
	}
	p := &jobPage{t: t, structs: map[string]*ast.StructType{}, shown: map[string]string{}}
	for _, name := range files {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if spec, ok := n.(*ast.TypeSpec); ok {
				if s, ok := spec.Type.(*ast.StructType); ok {
					p.structs[spec.Name.Name] = s
				}
			}
			return true
		})
	}
	return p
}

// fieldDefault ends the first paragraph of a field's comment.
var fieldDefault = regexp.MustCompile(`^(.*\.) (?:(Required)|Default: (.*))\.$`)

// table writes the keys of one struct, and then the tables in it.
func (p *jobPage) table(name, path, heading, intro string) {
	p.shown[name] = heading
	fmt.Fprintf(&p.b, "\n### %s\n%s\n", heading, intro)
	p.b.WriteString("| key | value | default | meaning |\n|---|---|---|---|\n")
	var inner []func()
	p.rows(name, path, &inner)
	for _, table := range inner {
		table()
	}
}

func (p *jobPage) rows(name, path string, inner *[]func()) {
	for _, field := range p.structs[name].Fields.List {
		goType := strings.TrimPrefix(types.ExprString(field.Type), "*")
		if field.Names == nil {
			p.rows(goType, path, inner)
			continue
		}
		if field.Tag == nil {
			continue
		}
		key := reflect.StructTag(strings.Trim(field.Tag.Value, "`")).Get("toml")
		if key == "-" {
			continue
		}
		first, rest, _ := strings.Cut(strings.TrimSpace(field.Doc.Text()), "\n\n")
		said := fieldDefault.FindStringSubmatch(strings.ReplaceAll(first, "\n", " "))
		if said == nil {
			p.t.Errorf("%s.%s: the first paragraph of its comment does not end with "+
				"\"Required.\" or \"Default: ...\"", name, field.Names[0])
			continue
		}
		fallback := said[3]
		if said[2] != "" {
			fallback = "required"
		}
		shown := path + key
		heading, element := "["+shown+"]", goType
		if list, ok := strings.CutPrefix(goType, "[]"); ok {
			heading, element = "["+heading+"]", list
		} else if list, ok := strings.CutPrefix(goType, "map[string]"); ok {
			shown += ".NAME"
			heading, element = "["+shown+"]", list
		}
		heading = "`" + heading + "`"
		value := valueTypes[goType]
		switch {
		case value != "":
		case p.structs[element] == nil:
			p.t.Errorf("%s.%s: a value of type %s has no name", name, field.Names[0], goType)
		case p.shown[element] != "":
			value = heading + ", with the keys of " + linked(p.shown[element])
		default:
			value = linked(heading)
			if element == "Tolerance" {
				p.shown["Figures"] = heading // they stand among its keys
			}
			*inner = append(*inner, func() {
				p.table(element, shown+".", heading, markdown(rest))
			})
		}
		fmt.Fprintf(&p.b, "| `%s` | %s | %s | %s |\n", key, value, fallback, said[1])
	}
}

// linked returns a link to the heading of a table.
func linked(heading string) string {
	return "[" + heading + "](#" + strings.ToLower(strings.NewReplacer("[", "", "]", "", "`", "",
		".", "").Replace(heading)) + ")"
}

// markdown wraps the paragraphs of a comment to 100 columns. Indented ones are TOML.
func markdown(comment string) string {
	var b strings.Builder
	b.WriteString("\n")
	if comment == "" {
		return ""
	}
	for _, paragraph := range strings.Split(comment, "\n\n") {
		if code, ok := strings.CutPrefix(paragraph, "\t"); ok {
			b.WriteString("```toml\n" + strings.ReplaceAll(code, "\n\t", "\n") + "\n```\n\n")
			continue
		}
		column := 0
		for _, word := range strings.Fields(paragraph) {
			switch {
			case column == 0:
			case column+1+len(word) > 100:
				b.WriteString("\n")
				column = 0
			default:
				b.WriteString(" ")
				column++
			}
			b.WriteString(word)
			column += len(word)
		}
		b.WriteString("\n\n")
	}
	return strings.TrimSuffix(b.String(), "\n")
}

// docs/job.md lists every key of a job. KERF_UPDATE_JOB=1 writes the lists anew.
func TestJobPageListsEveryKey(t *testing.T) {
	path := filepath.Join("..", "..", "docs", "job.md")
	page, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	front, _, found := strings.Cut(string(page), "\n### ")
	if !found {
		t.Fatal("docs/job.md has no part with keys")
	}
	p := newJobPage(t)
	p.b.WriteString(strings.TrimRight(front, "\n") + "\n")
	p.table("Job", "", "The job", "")
	if t.Failed() {
		return
	}
	s := recovery.Defaults()
	for key, value := range map[string]any{
		"teacher": s.Share, "length": s.Length,
		"rate": s.Rate, "decay": s.Decay, "seed": s.Seed,
	} {
		row := regexp.MustCompile(fmt.Sprintf(`\| .%s. \| [a-z ]+ \| %v \|`, key, value))
		if !row.MatchString(p.b.String()) {
			t.Errorf("docs/job.md does not say that the default of recovery.%s is %v", key, value)
		}
	}
	samePage(t, path, p.b.String(), "KERF_UPDATE_JOB")
}

// Jobs that the README and docs/job.md show have no unknown key and no value of the wrong kind.
func TestShownJobsAreJobs(t *testing.T) {
	job := regexp.MustCompile("(?s)```toml\n(name = .*?)```")
	jobs := 0
	for _, name := range []string{"README.md", filepath.Join("docs", "job.md")} {
		text, err := os.ReadFile(filepath.Join("..", "..", name))
		if err != nil {
			t.Fatal(err)
		}
		for _, block := range job.FindAllSubmatch(text, -1) {
			jobs++
			file := filepath.Join(t.TempDir(), "job.toml")
			if err := os.WriteFile(file, block[1], 0o644); err != nil {
				t.Fatal(err)
			}
			if _, err := budget.ReadJob(file); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
	if jobs != 2 {
		t.Errorf("%d jobs found, want one per page", jobs)
	}
}

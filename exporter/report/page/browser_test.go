//go:build browser

package page

import (
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"kerf/dataset"
	"kerf/exporter/report"
)

// One browser shows every page, each in a tab of its own. It has to be there: this
// test is only compiled where it is asked for (make page).
func TestBrowser(t *testing.T) {
	if _, err := exec.LookPath("chromium"); err != nil {
		t.Fatalf("signoff.html is NOT tested in a browser: %v\ninstall the Debian package chromium",
			err)
	}
	root, cancel := chromedp.NewContext(context.Background(),
		chromedp.WithAllocatorOptions(chromedp.ExecPath("chromium"), chromedp.NoSandbox,
			chromedp.DisableGPU))
	t.Cleanup(cancel)
	if err := chromedp.Do(root, chromedp.Navigate("about:blank")); err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		name string
		run  func(t *testing.T, root context.Context)
	}{
		{"moves limits", movesLimits}, {"tells candidates", tellsCandidates},
		{"without script", withoutScript},
		{"hostile names", keepsOutNames}, {"themes and widths", hasThemesAndWidths},
		{"prints", prints}, {"prints the first page", printsSheet}, {"prints the demo", printsDemo},
		{"texts in pictures", keepsTextsInPictures}, {"nearest candidates", listsNearest},
	} {
		t.Run(test.name, func(t *testing.T) { test.run(t, root) })
	}
}

// tab shows one page.
type tab struct {
	t   *testing.T
	ctx context.Context

	mutex    sync.Mutex
	problems []string // what the browser complained about
}

// set is a command of the browser as a step.
func set[P any](command cdp.Command[P, cdp.Empty], params P) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, command, params)
		return err
	})
}

// open shows a page in a window of a width, after some steps.
func open(t *testing.T, root context.Context, html string, width int64,
	before ...chromedp.Action[chromedp.Void]) *tab {
	t.Helper()
	file := filepath.Join(t.TempDir(), "signoff.html")
	if err := os.WriteFile(file, []byte(html), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := chromedp.NewContext(root)
	t.Cleanup(cancel)
	b := &tab{t: t, ctx: ctx}
	if err := chromedp.Listen(ctx, func(event any) {
		switch e := event.(type) {
		case *runtime.EventExceptionThrown:
			b.complain(e.ExceptionDetails.Text)
		case *runtime.EventConsoleAPICalled:
			b.complain(fmt.Sprintf("console %s", e.Type))
		case *cdplog.EventEntryAdded:
			b.complain(e.Entry.Text)
		}
	}); err != nil {
		t.Fatal(err)
	}
	b.do(set(cdplog.Enable, cdp.Empty{}), chromedp.EmulateViewport(width, 900))
	b.do(before...)
	b.do(chromedp.Navigate("file://" + file))
	return b
}

func (b *tab) complain(text string) {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	b.problems = append(b.problems, text)
}

// stepLimit ends a step that hangs; one takes some tenths of a second.
const stepLimit = 30 * time.Second

func (b *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, stepLimit)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		b.t.Fatal(err)
	}
}

// act runs statements in the page.
func (b *tab) act(statements string) {
	b.t.Helper()
	ask[bool](b, "(() => { "+statements+"; return true; })()")
}

// ask evaluates an expression in the page.
func ask[T any](b *tab, expression string) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, stepLimit)
	defer cancel()
	answer, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	return answer
}

func (b *tab) hasNoProblem() {
	b.t.Helper()
	b.mutex.Lock()
	defer b.mutex.Unlock()
	for _, p := range b.problems {
		b.t.Errorf("the browser says: %s", p)
	}
}

// within counts the candidates of the input that are within limits on a target.
func within(t *testing.T, target string, flash, tolerance float64) int {
	t.Helper()
	search, n := &pageSignoff(t).Frontier, 0
	for k, c := range search.Candidates {
		if *candidateCost(search, k, target, "flash") <= flash && c.ToleranceUsed != nil &&
			*c.ToleranceUsed <= tolerance {
			n++
		}
	}
	return n
}

const shownTarget = `document.querySelector(".target:not([hidden])")`

func movesLimits(t *testing.T, root context.Context) {
	b := open(t, root, makePage(t, pageInput(t)), 1100)
	count := func() string {
		return ask[string](b, shownTarget+`.querySelector(".count").textContent`)
	}
	filled := func() int {
		return ask[int](b, `new Set(Array.from(`+shownTarget+`.querySelectorAll("path.fits"), `+
			`(p) => p.dataset.id)).size`)
	}
	said := func(target string, n int) string {
		return fmt.Sprintf("%d of 39 candidates are within these limits on %s.", n, target)
	}
	check := func(target string, flash, tolerance float64) {
		t.Helper()
		want := within(t, target, flash, tolerance)
		if got := count(); got != said(target, want) {
			t.Errorf("the page says %q, want %q", got, said(target, want))
		}
		if got := filled(); got != want {
			t.Errorf("%d marks are filled, want %d", got, want)
		}
		if got := ask[int](b, `document.querySelectorAll("#nearest tr[data-id]").length`); got !=
			nearCandidates {
			t.Errorf("%d candidates in the table, want %d", got, nearCandidates)
		}
		wrong := ask[[]string](b, `Array.from(document.querySelectorAll("#nearest tr[data-id]"))`+
			`.filter((r) => (r.querySelector('[data-head="fits"]').textContent === "yes") !== `+
			shownTarget+`.querySelector('path[data-id="' + r.dataset.id + '"]').classList`+
			`.contains("fits")).map((r) => r.dataset.id)`)
		if len(wrong) > 0 {
			t.Errorf("table and picture differ on candidates %v", wrong)
		}
	}
	check("cortex-m4f", 24*1024, 1)

	move := func(index int, resource string, value float64) {
		b.act(fmt.Sprintf(`const l = document.getElementById("limit-%d-%s"); l.value = %g; `+
			`l.dispatchEvent(new Event("input"))`, index, resource, value))
	}
	line := shownTarget + `.querySelector('line[data-limit="flash"]').getAttribute("x1")`
	before := ask[string](b, line)
	move(0, "flash", 8000)
	check("cortex-m4f", 8000, 1)
	if after := ask[string](b, line); after == before {
		t.Error("the line of the limit has not moved")
	}
	move(0, "tolerance", 0.5)
	check("cortex-m4f", 8000, 0.5)
	if within(t, "cortex-m4f", 8000, 0.5) == within(t, "cortex-m4f", 24*1024, 1) {
		t.Error("the limits of this test change nothing")
	}
	b.do(chromedp.Click(".target:not([hidden]) button"))
	check("cortex-m4f", 24*1024, 1)

	// By keyboard: the list of targets, then the frontier, then a limit.
	b.do(chromedp.Focus("#target"), chromedp.KeyEvent(kb.ArrowDown))
	if got := ask[string](b, shownTarget+`.dataset.target`); got != "cortex-m0plus" {
		t.Errorf("target %s is shown, want cortex-m0plus", got)
	}
	check("cortex-m0plus", 24*1024, 1)
	b.hasNoProblem()
}

func tellsCandidates(t *testing.T, root context.Context) {
	b := open(t, root, makePage(t, pageInput(t)), 1100)
	detail := func() string {
		return ask[string](b, shownTarget+`.querySelector(".detail").textContent`)
	}
	b.do(chromedp.ScrollIntoView(".target:not([hidden]) svg"))
	place := ask[map[string]float64](b,
		`(() => { const r = `+shownTarget+`.querySelector('path.frontier[data-id="31"]').`+
			`getBoundingClientRect(); `+
			`return { x: r.x + r.width / 2, y: r.y + r.height / 2 }; })()`)
	b.do(chromedp.MouseEvent("mouseMoved", place["x"], place["y"]))
	if got := detail(); !strings.HasPrefix(got, "Number ") ||
		!strings.Contains(got, " features, ") || !strings.Contains(got, "KiB") ||
		!strings.Contains(got, " % of the tolerance may be used") {
		t.Errorf("pointing at a mark says %q", got)
	}
	b.act(shownTarget + `.querySelector("svg").focus()`)
	seen := map[string]bool{}
	for range 4 {
		b.do(chromedp.KeyEvent(kb.ArrowRight))
		seen[detail()] = true
	}
	if len(seen) != 4 {
		t.Errorf("four arrow keys show %d candidates", len(seen))
	}
	if n := ask[int](b, shownTarget+`.querySelectorAll("path.pointed").length`); n != 4 {
		t.Errorf("%d marks are pointed at, want one per panel, 4", n)
	}
	b.hasNoProblem()
}

func withoutScript(t *testing.T, root context.Context) {
	b := open(t, root, makePage(t, pageInput(t)), 1100,
		set(emulation.SetScriptExecutionDisabled,
			emulation.SetScriptExecutionDisabledParams{Value: true}))
	hidden := ask[int](b, `document.querySelectorAll(".target[hidden], .space[hidden]").length`)
	controls := ask[int](b, `Array.from(document.querySelectorAll(".controls")).filter((c) => `+
		`getComputedStyle(c).display !== "none").length`)
	if hidden != 0 || controls != 0 {
		t.Errorf("without script %d sections are hidden and %d controls shown", hidden, controls)
	}
	b.hasNoProblem()
}

// Names of the user's reach neither the page's script nor its elements.
func keepsOutNames(t *testing.T, root context.Context) {
	b := open(t, root, makePage(t, hostileSignoff(t)), 1100)
	if title := ask[string](b, `document.title`); !strings.HasPrefix(title, "Sign-off: ") {
		t.Errorf("a name has set the title to %q", title)
	}
	if n := ask[int](b, `document.images.length`); n != 0 {
		t.Errorf("a name has become %d images", n)
	}
	if !ask[bool](b, `document.querySelector("#signatures") !== null && `+
		`document.querySelectorAll(".sign tbody tr").length === 3`) {
		t.Error("the signatures are gone")
	}
	b.act(`document.querySelectorAll("path[data-id]").forEach((p) => p.dispatchEvent(new ` +
		`Event("click")))`)
	b.hasNoProblem()
}

func hasThemesAndWidths(t *testing.T, root context.Context) {
	for _, look := range []struct {
		theme string
		width int64
	}{{"light", 360}, {"dark", 390}, {"dark", 1280}, {"light", 1400}} {
		theme, width := look.theme, look.width
		t.Run(fmt.Sprintf("%s %d", theme, width), func(t *testing.T) {
			b := open(t, root, makePage(t, pageInput(t)), width,
				set(emulation.SetEmulatedMedia,
					emulation.SetEmulatedMediaParams{
						Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme",
							Value: theme}}}))
			if beyond := ask[int](b,
				`document.documentElement.scrollWidth - window.innerWidth`); beyond > 0 {
				t.Errorf("the page is %d pixels wider than the window", beyond)
			}
			b.act(`document.querySelectorAll("details").forEach((d) => { d.open = true; })`)
			if wide := ask[[]string](b, `Array.from(document.querySelectorAll("table")).filter(`+
				`(t) => t.getBoundingClientRect().right > window.innerWidth || t.scrollWidth > `+
				`t.parentElement.clientWidth + 1).map((t) => t.textContent.slice(0, 80))`); len(
				wide) > 0 {
				t.Errorf("tables wider than the page: %q", wide)
			}
			var colours []string
			for _, m := range regexp.MustCompile(`--page: (#[0-9a-f]{6})`).FindAllStringSubmatch(
				styleText, 2) {
				colours = append(colours, m[1])
			}
			want := colours[map[string]int{"light": 0, "dark": 1}[theme]]
			got := ask[string](b, `getComputedStyle(document.documentElement).`+
				`getPropertyValue("--page").trim()`)
			if got != want {
				t.Errorf("the page is %s, want %s", got, want)
			}
			b.hasNoProblem()
		})
	}
}

// papers are sizes of ISO 216 and ANSI/ASME Y14.1 in mm.
var papers = []struct {
	name          string
	width, height float64
}{{"A4", 210, 297}, {"Letter", 215.9, 279.4}}

// Margins of @page in signoff.css, both sides together, and the width of a pixel, in mm.
const marginsAcross, marginsAlong, pixel = 28, 23, 25.4 / 96

// printing shows a page as print does, between the margins of a paper.
func printing(t *testing.T, root context.Context, page string, width float64) *tab {
	t.Helper()
	return open(t, root, page, int64((width-marginsAcross)/pixel),
		set(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"}))
}

// pdfPages prints the page and counts the pages of the PDF.
func (b *tab) pdfPages(width, height float64) int {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, stepLimit)
	defer cancel()
	pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPaper(
		chromedp.PaperSize{Width: width / 25.4, Height: height / 25.4})))
	if err != nil {
		b.t.Fatal(err)
	}
	return len(regexp.MustCompile(`/Type /Page\b`).FindAll(pdf, -1))
}

func prints(t *testing.T, root context.Context) {
	for name, page := range map[string]string{"demo": makePage(t, pageInput(t)),
		"large": makePage(t, asJSON(t, large(t)))} {
		printsJob(t, root, name, page)
	}
}

// printsJob prints a page on every paper.
func printsJob(t *testing.T, root context.Context, name, page string) {
	for _, paper := range papers {
		t.Run(name+" on "+paper.name, func(t *testing.T) {
			b := printing(t, root, page, paper.width)
			// What may not be cut by a page break is shorter than a page.
			tall := ask[[]string](b, fmt.Sprintf(`Array.from(document.querySelectorAll("figure, `+
				`tr, .sheet")).filter((f) => f.getBoundingClientRect().height > `+
				`%g).map((f) => f.textContent.slice(0, 40))`, (paper.height-marginsAlong)/pixel))
			for _, text := range tall {
				t.Errorf("higher than a page: %s", text)
			}
			wide := ask[[]string](b, `Array.from(document.querySelectorAll("table, `+
				`svg:not(.defs)")).filter((f) => f.getBoundingClientRect().right > `+
				`window.innerWidth + 1).map((f) => f.textContent.slice(0, 40))`)
			for _, text := range wide {
				t.Errorf("wider than the paper: %s", text)
			}
			for selector, want := range map[string]bool{".controls": false, ".sign": true,
				".sheet .caution": true, "#nearest": true, ".target.main": true,
				".target:not(.main)": false, "details:not([open])": false, ".printed": true} {
				if !ask[bool](b, `document.querySelector("`+selector+`") !== null`) {
					if name != "large" { // which has no search
						t.Errorf("%s is not on the page", selector)
					}
					continue
				}
				got := ask[bool](b, `getComputedStyle(document.querySelector("`+selector+
					`")).display !== "none"`)
				if got != want {
					t.Errorf("%s is printed: %v, want %v", selector, got, want)
				}
			}
			b.hasNoProblem()
		})
	}
}

// The first page is one sheet of either paper: the part is not higher than a page, and the page
// that holds it alone has one.
func printsSheet(t *testing.T, root context.Context) {
	for name, s := range map[string]*report.Signoff{"demo": pageSignoff(t), "broken": broken(t),
		"large": large(t)} {
		page := makePage(t, asJSON(t, s))
		for _, paper := range papers {
			t.Run(name+" on "+paper.name, func(t *testing.T) {
				b := printing(t, root, page, paper.width)
				most := (paper.height - marginsAlong) / pixel
				if high := ask[float64](b, `document.querySelector(".sheet")`+
					`.getBoundingClientRect().height`); high > most {
					t.Errorf("the first page is %.0f pixels high, the paper has %.0f", high, most)
				}
				cut := ask[[]string](b, `Array.from(document.querySelectorAll(".sheet *"))`+
					`.filter((e) => e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0)`+
					`.map((e) => e.textContent.slice(0, 60))`)
				for _, text := range cut {
					t.Errorf("cut off: %s", text)
				}
				b.act(`document.querySelectorAll("body > :not(.sheet):not(.defs)").forEach(` +
					`(e) => e.remove()); ` +
					`document.querySelector(".sheet").style.breakAfter = "auto"`)
				if n := b.pdfPages(paper.width, paper.height); n != 1 {
					t.Errorf("the first page takes %d sheets", n)
				}
			})
		}
	}
}

// The demo of today, with every picture, has eight pages at most.
func printsDemo(t *testing.T, root context.Context) {
	dir := t.TempDir()
	kerf := filepath.Join(dir, "kerf")
	if out, err := exec.Command("go", "build", "-o", kerf, "kerf/cmd/kerf").CombinedOutput(); err !=
		nil {
		t.Fatalf("%v\n%s", err, out)
	}
	demo := exec.Command(kerf, "demo")
	demo.Dir = dir
	if out, err := demo.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	page, err := os.ReadFile(filepath.Join(dir, "kerf-demo", "handoff", "signoff.html"))
	if err != nil {
		t.Fatal(err)
	}
	for _, paper := range papers {
		b := printing(t, root, string(page), paper.width)
		if n := b.pdfPages(paper.width, paper.height); n < 4 || n > 8 {
			t.Errorf("%d pages of %s, want 4 to 8", n, paper.name)
		}
		b.hasNoProblem()
	}
}

// No text of a picture lies beyond its frame: the legend of the largest job, and of long names.
func keepsTextsInPictures(t *testing.T, root context.Context) {
	for name, s := range map[string]*report.Signoff{"demo": pageSignoff(t), "large": large(t),
		"max error": failing(t, dataset.MaxError), "bias": failing(t, dataset.Bias)} {
		b := open(t, root, makePage(t, asJSON(t, s)), 1280)
		b.act(`document.querySelectorAll("details").forEach((d) => { d.open = true; })`)
		beyond := ask[[]string](b, `Array.from(document.querySelectorAll("svg:not(.defs) text"))`+
			`.filter((t) => { const v = t.ownerSVGElement.viewBox.baseVal, r = t.getBBox(); `+
			`return r.width > 0 && (r.x < -1 || r.y < -1 || r.x + r.width > v.width + 1 || `+
			`r.y + r.height > v.height + 1); }).map((t) => t.textContent)`)
		for _, text := range beyond {
			t.Errorf("%s: beyond the picture: %s", name, text)
		}
	}
}

// The table has the choice first, and of all others those that are nearest to it.
func listsNearest(t *testing.T, root context.Context) {
	b := open(t, root, makePage(t, pageInput(t)), 1100)
	got := ask[[]string](b, `Array.from(document.querySelectorAll("#nearest tr[data-id]"), (r) => `+
		`r.dataset.id)`)
	f := pageSignoff(t).Frontier
	var choice report.CandidateRow
	listed := map[string]bool{}
	for _, id := range got {
		listed[id] = true
	}
	for _, c := range f.Candidates {
		if c.Chosen {
			choice = c
		}
	}
	if len(got) == 0 || got[0] != fmt.Sprint(choice.ID) {
		t.Fatalf("candidates %v, want the choice, %d, first", got, choice.ID)
	}
	far := func(c report.CandidateRow) float64 {
		if c.ToleranceUsed == nil {
			return math.Inf(1)
		}
		return math.Hypot(*c.ToleranceUsed-*choice.ToleranceUsed,
			c.ObjectiveUsed-choice.ObjectiveUsed)
	}
	farthest, nearest := 0.0, math.Inf(1)
	for _, c := range f.Candidates {
		if listed[fmt.Sprint(c.ID)] {
			farthest = max(farthest, far(c))
		} else {
			nearest = min(nearest, far(c))
		}
	}
	if farthest > nearest {
		t.Errorf("a candidate at %g is listed, one at %g is not", farthest, nearest)
	}
}

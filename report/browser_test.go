package report_test

import (
	"context"
	_ "embed"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"nilvolt/report"
)

var screens = flag.String("screens", "", "`folder` to keep pictures of all pages in, to be looked at")

//go:embed testdata/look.js
var look string

// axePath is where npm puts the accessibility rules.
var axePath = filepath.Join("axe", "node_modules", "axe-core", "axe.min.js")

// A browser is a tab of Chromium, and the accessibility rules.
type browser struct {
	tab context.Context
	axe string
}

// openBrowser starts Chromium for a test. Without it, or without the rules, the test is
// skipped, but never where .ci/test runs it.
func openBrowser(t *testing.T) *browser {
	t.Helper()
	path, err := exec.LookPath("chromium")
	axe, axeErr := os.ReadFile(axePath)
	if axeErr != nil && err == nil {
		err = fmt.Errorf("%w; run npm ci --prefix report/axe", axeErr)
	}
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	// With a sandbox it does not start as root, and the pages are our own.
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox)
	allocator, stop := chromedp.NewExecAllocator(t.Context(), options...)
	t.Cleanup(stop)
	tab, closeTab := chromedp.NewContext(allocator)
	t.Cleanup(closeTab)
	if err := chromedp.Do(tab); err != nil {
		t.Fatal(err)
	}
	return &browser{tab: tab, axe: string(axe)}
}

// do takes steps in the tab.
func (b *browser) do(t *testing.T, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(b.tab, steps...); err != nil {
		t.Fatal(err)
	}
}

// evaluate returns what a script returns.
func evaluate[T any](t *testing.T, b *browser, script string, options ...chromedp.EvaluateOption) T {
	t.Helper()
	v, err := chromedp.Run(b.tab, chromedp.Evaluate[T](script, options...))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// A screen is what a page is looked at on. Source of the phone's width: WCAG 2.2, 1.4.10
// asks for 320 CSS pixels without scrolling to the side.
type screen struct {
	name  string
	shape chromedp.Action[chromedp.Void]
}

func screenSizes() []screen {
	return []screen{
		{"narrow", chromedp.EmulateViewport(320, 568, chromedp.EmulateMobile, chromedp.EmulateScale(2))},
		{"phone", chromedp.EmulateViewport(390, 844, chromedp.EmulateMobile, chromedp.EmulateScale(2))},
		{"desktop", chromedp.EmulateViewport(1280, 900)},
	}
}

// pages are one of every kind of page, and those that are hard to fit, by file name.
func pages(t *testing.T) map[string]*report.Document {
	t.Helper()
	pages := map[string]*report.Document{
		"record-names.html":     oddNames().sheet(t, "R1").Document(),
		"record-pairs.html":     conductors(10).sheet(t, "R1").Document(),
		"record-steps.html":     broadReadings().sheet(t, "R1").Document(),
		"record-bare.html":      noReading().sheet(t, "R1").Document(),
		"record-doubt.html":     inDoubt(t).Document(),
		"week-bad.html":         badWeek(t).Document(),
		"week-quiet.html":       quietWeek(t).Document(),
		"week-empty.html":       week(t, "2026-W53", "UTC").Document(),
		"week-names.html":       week(t, "2026-W12", "UTC", oddDeeds()...).Document(),
		"week-instruments.html": instrumentsWeek(t).Document(),
		"plan.html":             servicePlan().Document(),
	}
	d := demoDay(t)
	for _, id := range []string{"R1", "R2", "R3", "R4", "R5", "R6"} {
		r := d.sheet(t, id)
		if id == "R3" {
			r.Kept = inLedger()
		}
		pages["record-"+id+".html"] = r.Document()
	}
	return pages
}

// In a browser, on a phone and on a desk, every page can be read: nothing stands beside
// the screen, no word is torn, no two texts lie on each other, nothing is fetched, no link
// within the page leads nowhere, and the rules of WCAG 2.2 and of good practice that
// axe-core can check hold.
func TestPages(t *testing.T) {
	b := openBrowser(t)
	dir := t.TempDir()
	for name, d := range pages(t) {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, d.HTML(), 0o600); err != nil {
			t.Fatal(err)
		}
		for _, s := range screenSizes() {
			t.Run(strings.TrimSuffix(name, ".html")+"/"+s.name, func(t *testing.T) {
				b.do(t, s.shape, chromedp.Navigate("file://"+path))
				for _, complaint := range evaluate[[]string](t, b, look) {
					t.Error(complaint)
				}
				for _, complaint := range b.accessibility(t) {
					t.Error(complaint)
				}
				b.keep(t, strings.TrimSuffix(name, ".html")+"-"+s.name)
			})
		}
	}
}

// accessibility returns what axe-core has against the page.
func (b *browser) accessibility(t *testing.T) []string {
	t.Helper()
	b.do(t, chromedp.Evaluate[chromedp.Void](b.axe))
	return evaluate[[]string](t, b, `axe.run(document, {resultTypes: ["violations"]}).then(found =>
		found.violations.map(v => v.id + ": " + v.help + ": " + v.nodes.slice(0, 3).map(n => n.html.slice(0, 200)).join("; ")))`,
		chromedp.EvalAwaitPromise)
}

// keep keeps a picture of the page, if somebody wants to see it.
func (b *browser) keep(t *testing.T, name string) {
	t.Helper()
	if *screens == "" {
		return
	}
	picture, err := chromedp.Run(b.tab, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.WriteFile(filepath.Join(*screens, name+".png"), picture, 0o600)
	}
	if err != nil {
		t.Error(err)
	}
}

// What the browser prints has the paper of the PDF and its first lines on the first page.
func TestPagesPrint(t *testing.T) {
	b := openBrowser(t)
	dir := t.TempDir()
	for name, d := range pages(t) {
		t.Run(strings.TrimSuffix(name, ".html"), func(t *testing.T) {
			path := filepath.Join(dir, name)
			if err := os.WriteFile(path, d.HTML(), 0o600); err != nil {
				t.Fatal(err)
			}
			b.do(t, chromedp.EmulateReset(), chromedp.Navigate("file://"+path))
			data, err := chromedp.Run(b.tab, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
			if err != nil {
				t.Fatal(err)
			}
			printed := filepath.Join(dir, "printed.pdf")
			if err := os.WriteFile(printed, data, 0o600); err != nil {
				t.Fatal(err)
			}
			if info := poppler(t, "pdfinfo", printed); !strings.Contains(info, "(A4)") {
				t.Errorf("not printed on A4:\n%s", info)
			}
			checkWithin(t, printed)
		})
	}
}

// A click on the worst record of the week leads to its sheet.
func TestLinks(t *testing.T) {
	b := openBrowser(t)
	dir := t.TempDir()
	d := demoDay(t)
	w := week(t, "2026-W10", "UTC", deed{id: "R3", began: "2026-03-02T09:20:31Z", status: d.sheet(t, "R3").Status}).Document()
	for name, page := range map[string][]byte{"week.html": w.HTML(), "record-R3.html": d.sheet(t, "R3").Document().HTML()} {
		if err := os.WriteFile(filepath.Join(dir, name), page, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	b.do(t, chromedp.Navigate("file://"+filepath.Join(dir, "week.html")))
	if _, err := chromedp.RunResponse(b.tab, chromedp.Click(`.verdict a`)); err != nil { // until the sheet is there
		t.Fatal(err)
	}
	if got := evaluate[string](t, b, `document.querySelector(".verdict strong").textContent + " " + document.title`); !regexp.MustCompile(`^LIVE .*R3`).MatchString(got) {
		t.Errorf("the link of the week's worst record leads to %q", got)
	}
}

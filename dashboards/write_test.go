package dashboards

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"scanledger/queries"
)

// safeFile is a name that every common file system and an unescaped relative link can hold.
var safeFile = regexp.MustCompile(`^[a-z]+-[a-z0-9-]*-[0-9a-f]{16}\.html$`)

func TestPageFile(t *testing.T) {
	if got, want := pageFile("inspection", "I000123"), "inspection-i000123-e71b1b9152b84606.html"; got != want {
		t.Errorf("got %s, want %s: links from outside would break", got, want)
	}
	seen := map[string]string{}
	for _, id := range []string{"a", "A", "a/b", "a\\b", "a-b", "..", ".", " ", "con", "é", "e\u0301", "É", "李", "%41", strings.Repeat("x", 64), strings.Repeat("x", 63) + "X", strings.Repeat("𐍈", 64), "\x00", "<a>"} {
		name := pageFile("site", id)
		if other, ok := seen[name]; ok {
			t.Errorf("%q and %q share the page %s", id, other, name)
		}
		seen[name] = id
	}
}

func TestPageFileIsSafeStableAndUnique(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.StringN(1, 64, -1).Draw(t, "a"), rapid.StringN(1, 64, -1).Draw(t, "b")
		name := pageFile("site", a)
		if !safeFile.MatchString(name) || len(name) > 100 {
			t.Fatalf("%q: unsafe name %q", a, name)
		}
		if name != pageFile("site", a) || (a != b) != (name != strings.ToLower(pageFile("site", b))) || name == pageFile("technician", a) {
			t.Fatalf("%q and %q: %q and %q", a, b, name, pageFile("site", b))
		}
	})
}

// TestPagesAboutOneSubject: they are written with the rest, carry the navigation with the page above them
// marked, and stand in it nowhere.
func TestPagesAboutOneSubject(t *testing.T) {
	kept := sets
	t.Cleanup(func() { sets = kept })
	sets = []pageSet{{"technicians.html", func(*queries.Book, Business) []Page {
		return []Page{{File: pageFile("technician", "T1"), Heading: "One"}, {File: pageFile("technician", "t1"), Heading: "Another"}}
	}}}
	dir := t.TempDir()
	if err := Write(dir, level(), Business{}); err != nil {
		t.Fatal(err)
	}
	names, err := filepath.Glob(filepath.Join(dir, "technician-*.html"))
	if err != nil || len(names) != 2 {
		t.Fatalf("%d pages (%v)", len(names), err)
	}
	raw, err := os.ReadFile(names[0])
	if err != nil {
		t.Fatal(err)
	}
	nav := regexp.MustCompile(`<li><a href="([^"]*)"( aria-current="[a-z]*")?>`).FindAllStringSubmatch(string(raw), -1)
	if len(nav) != len(pages) || slices.ContainsFunc(nav, func(m []string) bool { return (m[2] == ` aria-current="true"`) != (m[1] == "technicians.html") }) {
		t.Errorf("navigation: %v", nav)
	}
}
